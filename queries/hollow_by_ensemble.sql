-- Which ensembles are written hollow, with an empty octave inside the texture?
--
-- Each composer counts once in an ensemble, by the mean of his or her works.
--
-- Columns:
--   ensemble VARCHAR          ensemble
--   works BIGINT              works that have the measure [works]
--   composers BIGINT          composers, or sources of anonymous works [units]
--   hollow DOUBLE             share of bars that are hollow [0-1]
--   hollow_at_all DOUBLE      share of works with at least one such bar [0-1]
WITH by_composer AS (
    SELECT
        w.ensemble, w.unit, count(*) AS works,
        avg(m.value) AS hollow, avg(CAST(m.value > 0 AS INTEGER)) AS hollow_at_all
    FROM works AS w
    JOIN measures AS m ON m.work = w.work AND m.name = 'hollow_share' AND m.value IS NOT NULL AND m.reason IS NULL
    WHERE w.same_as IS NULL
    GROUP BY w.ensemble, w.unit
)
SELECT
    ensemble, CAST(sum(works) AS BIGINT) AS works, count(*) AS composers,
    avg(hollow) AS hollow, avg(hollow_at_all) AS hollow_at_all
FROM by_composer
GROUP BY ensemble
ORDER BY hollow DESC, ensemble
