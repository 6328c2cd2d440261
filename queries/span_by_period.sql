-- How wide is the music of each period, from the lowest to the highest note?
--
-- Each composer counts once, by the median of his or her works, so that one
-- well-edited composer does not speak for a period. Copies are left out.
--
-- Parameters:
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
-- Columns:
--   period VARCHAR            period by year of composition
--   works BIGINT              works that have a span [works]
--   composers BIGINT          composers, or sources of anonymous works [units]
--   low_quarter DOUBLE        a quarter of the composers is narrower than this [semitones]
--   middle DOUBLE             half of the composers is narrower than this [semitones]
--   high_quarter DOUBLE       a quarter of the composers is wider than this [semitones]
WITH by_composer AS (
    SELECT w.period, w.unit, count(*) AS works, median(m.value) AS span
    FROM works AS w
    JOIN measures AS m ON m.work = w.work AND m.name = 'span' AND m.value IS NOT NULL AND m.reason IS NULL
    WHERE w.same_as IS NULL
        AND w.period IS NOT NULL
        AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
    GROUP BY w.period, w.unit
)
SELECT
    period,
    CAST(sum(works) AS BIGINT) AS works,
    count(*) AS composers,
    quantile_cont(span, 0.25) AS low_quarter,
    quantile_cont(span, 0.5) AS middle,
    quantile_cont(span, 0.75) AS high_quarter
FROM by_composer
GROUP BY period
ORDER BY period
