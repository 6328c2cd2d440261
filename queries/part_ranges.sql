-- What range is written for each instrument or voice, period by period?
--
-- Ranges are sounding. 'Usual' leaves out a tenth of the parts at each end, so
-- that one daring part does not set the range.
--
-- Parameters:
--   $instrument VARCHAR = NULL  only this instrument; NULL for all
--   $least INTEGER = 5        fewest parts a row must have [parts]
-- Columns:
--   instrument VARCHAR        instrument or voice
--   period VARCHAR            period by year of composition; NULL where no year is known
--   parts BIGINT              parts [parts]
--   composers BIGINT          composers, or sources of anonymous works [units]
--   lowest INTEGER            lowest note of all [MIDI note number]
--   usual_low DOUBLE          nine parts in ten stay above [MIDI note number]
--   usual_high DOUBLE         nine parts in ten stay below [MIDI note number]
--   highest INTEGER           highest note of all [MIDI note number]
--   middle DOUBLE             median of the parts' mean pitch [MIDI note number]
SELECT
    p.instrument, w.period,
    count(*) AS parts, count(DISTINCT w.unit) AS composers,
    min(p.lowest) AS lowest,
    quantile_cont(CAST(p.lowest AS DOUBLE), 0.1) AS usual_low,
    quantile_cont(CAST(p.highest AS DOUBLE), 0.9) AS usual_high,
    max(p.highest) AS highest,
    median(p.mean_pitch) AS middle
FROM parts AS p
JOIN works AS w USING (work)
WHERE w.same_as IS NULL
    AND p.instrument IS NOT NULL
    AND p.notes > 0
    AND (CAST($instrument AS VARCHAR) IS NULL OR p.instrument = $instrument)
GROUP BY p.instrument, w.period
HAVING count(*) >= CAST($least AS INTEGER)
ORDER BY p.instrument, w.period NULLS LAST
