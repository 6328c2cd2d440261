-- How far down does the music go, decade by decade?
--
-- Only works with a stated or estimated year. Each composer counts once in a
-- decade, by the median of the lowest notes of his or her works.
--
-- Parameters:
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
-- Columns:
--   decade INTEGER            first year of the decade [year]
--   works BIGINT              works [works]
--   composers BIGINT          composers, or sources of anonymous works [units]
--   usual_bass DOUBLE         median lowest note [MIDI note number]
--   lowest INTEGER            lowest note of all [MIDI note number]
WITH by_composer AS (
    SELECT
        CAST(10 * (year // 10) AS INTEGER) AS decade, unit,
        count(*) AS works, median(lowest) AS bass, min(lowest) AS lowest
    FROM works
    WHERE same_as IS NULL
        AND year IS NOT NULL
        AND lowest IS NOT NULL
        AND (CAST($ensemble AS VARCHAR) IS NULL OR ensemble = $ensemble)
    GROUP BY decade, unit
)
SELECT
    decade, CAST(sum(works) AS BIGINT) AS works, count(*) AS composers,
    median(bass) AS usual_bass, min(lowest) AS lowest
FROM by_composer
GROUP BY decade
ORDER BY decade
