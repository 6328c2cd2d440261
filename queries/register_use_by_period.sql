-- How much of the sound lies in each octave, period by period?
--
-- Shares are averaged over the works of a composer, then over composers.
--
-- Parameters:
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
-- Columns:
--   period VARCHAR            period by year of composition
--   band INTEGER              octave C to B [octave number, 4 = C4 to B4]
--   share DOUBLE              share of the sound [0-1]
--   composers BIGINT          composers, or sources of anonymous works [units]
WITH chosen AS (
    SELECT work, period, unit
    FROM works
    WHERE same_as IS NULL
        AND period IS NOT NULL
        AND (CAST($ensemble AS VARCHAR) IS NULL OR ensemble = $ensemble)
),
sizes AS (
    SELECT period, unit, count(*) AS works FROM chosen GROUP BY period, unit
),
by_composer AS (
    -- A band that a work does not use has no row: divide by all works, not by rows.
    SELECT c.period, c.unit, b.band, sum(b.share) / any_value(s.works) AS share
    FROM chosen AS c
    JOIN sizes AS s ON s.period = c.period AND s.unit IS NOT DISTINCT FROM c.unit
    JOIN band_weights AS b USING (work)
    GROUP BY c.period, c.unit, b.band
),
composers AS (
    SELECT period, count(*) AS composers FROM sizes GROUP BY period
)
SELECT
    b.period, b.band, sum(b.share) / any_value(c.composers) AS share,
    any_value(c.composers) AS composers
FROM by_composer AS b
JOIN composers AS c USING (period)
GROUP BY b.period, b.band
ORDER BY b.period, b.band
