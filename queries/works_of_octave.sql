-- Which works use an octave most, and how far do they fill it?
--
-- What is behind one row of `register_use_by_period`.
--
-- Parameters:
--   $band INTEGER = 3         octave C to B [octave number, 4 = C4 to B4]
--   $period VARCHAR = NULL    only this period, 'none' for no known year; NULL for all
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $rows INTEGER = 20        how many [rows]
-- Columns:
--   composer VARCHAR          composer as a name; the source for anonymous works
--   title VARCHAR             title of the work
--   period VARCHAR            period by year of composition; NULL where no year is known
--   ensemble VARCHAR          ensemble of the work
--   share DOUBLE              share of the sound of the work in this octave [0-1]
--   peak DOUBLE               highest saturation of the octave [0-1]
--   saturated BOOLEAN         saturated at all three time constants
--   work VARCHAR              id of the work
SELECT
    coalesce(w.composer_name, w.unit) AS composer, w.title, w.period, w.ensemble,
    b.share, s.peak, s.saturated, w.work
FROM works AS w
JOIN band_weights AS b USING (work)
LEFT JOIN saturation AS s ON s.work = w.work AND s.band = b.band AND s.stay IS NULL
WHERE w.same_as IS NULL
    AND b.band = CAST($band AS INTEGER)
    AND (CAST($period AS VARCHAR) IS NULL OR coalesce(w.period, 'none') = $period)
    AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
ORDER BY b.share DESC, w.work
LIMIT CAST($rows AS INTEGER)
