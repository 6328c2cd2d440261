-- How many works and composers has each ensemble in each period, and are they enough to place a piece?
--
-- Parameters:
--   $works INTEGER = 30       works from which a group can place a piece [works]
--   $composers INTEGER = 8    composers from which it can [units]
-- Columns:
--   ensemble VARCHAR          ensemble
--   period VARCHAR            period by year of composition; 'all' for all works of the ensemble; NULL where no year is known
--   works BIGINT              works that count, copies left out [works]
--   composers BIGINT          composers, or sources of anonymous works [units]
--   enough BOOLEAN            has both as many works and as many composers
SELECT
    ensemble,
    CASE WHEN grouping(period) = 1 THEN 'all' ELSE period END AS period,
    count(*) AS works,
    count(DISTINCT unit) AS composers,
    count(*) >= CAST($works AS INTEGER)
    AND count(DISTINCT unit) >= CAST($composers AS INTEGER) AS enough
FROM works
WHERE same_as IS NULL
GROUP BY GROUPING SETS ((ensemble, period), (ensemble))
ORDER BY ensemble NULLS LAST, grouping(period) DESC, period NULLS LAST
