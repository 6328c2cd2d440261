-- Where is the reference thin: how many works and composers has each ensemble in each period?
--
-- Parameters:
--   $enough INTEGER = 8       composers from which a group is not thin [units]
-- Columns:
--   ensemble VARCHAR          ensemble
--   period VARCHAR            period by year of composition; NULL where no year is known
--   works BIGINT              works that count, copies left out [works]
--   composers BIGINT          composers, or sources of anonymous works [units]
--   collections BIGINT        editions, tune books or series they come from [collections]
--   largest_share DOUBLE      share of the works by the most frequent composer [0-1]
--   thin BOOLEAN              fewer composers than enough, or a single collection
WITH by_composer AS (
    SELECT ensemble, period, unit, count(*) AS works
    FROM works
    WHERE same_as IS NULL
    GROUP BY ensemble, period, unit
),
collections_of AS (
    SELECT ensemble, period, count(DISTINCT (corpus, collection)) AS collections
    FROM works
    WHERE same_as IS NULL
    GROUP BY ensemble, period
)
SELECT
    b.ensemble, b.period,
    CAST(sum(b.works) AS BIGINT) AS works,
    count(*) AS composers,
    any_value(c.collections) AS collections,
    max(b.works) / sum(b.works) AS largest_share,
    count(*) < CAST($enough AS INTEGER) OR any_value(c.collections) = 1 AS thin
FROM by_composer AS b
JOIN collections_of AS c
    ON c.ensemble IS NOT DISTINCT FROM b.ensemble AND c.period IS NOT DISTINCT FROM b.period
GROUP BY b.ensemble, b.period
ORDER BY b.ensemble NULLS LAST, b.period NULLS LAST
