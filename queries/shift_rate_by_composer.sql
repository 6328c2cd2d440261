-- Which composers change register most often?
--
-- Columns of 'still' count the works without any shift, which a median hides.
--
-- Parameters:
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $least INTEGER = 3        fewest works a composer must have [works]
-- Columns:
--   composer VARCHAR          composer as a name; the source of anonymous works and tunes
--   works BIGINT              works long enough to have a rate [works]
--   middle DOUBLE             median rate [shifts per 100 bars]
--   highest DOUBLE            highest rate [shifts per 100 bars]
--   still DOUBLE              share of works without any shift [0-1]
SELECT
    if(
        count(*) = count(w.composer_name) AND count(DISTINCT w.composer) <= 1,
        min(w.composer_name), w.unit
    ) AS composer,
    count(*) AS works,
    median(m.value) AS middle,
    max(m.value) AS highest,
    avg(CAST(m.value = 0 AS INTEGER)) AS still
FROM works AS w
JOIN measures AS m ON m.work = w.work AND m.name = 'shift_rate' AND m.value IS NOT NULL AND m.reason IS NULL
WHERE w.same_as IS NULL
    AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
GROUP BY w.unit
HAVING count(*) >= CAST($least AS INTEGER)
ORDER BY middle DESC, composer
