-- Which stays in one register are the longest, and in which bars?
--
-- Parameters:
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $width VARCHAR = 'narrow' narrow or wide stays; NULL for both
--   $rows INTEGER = 20        how many [rows]
-- Columns:
--   composer VARCHAR          composer as a name
--   title VARCHAR             title of the work
--   ensemble VARCHAR          ensemble of the work
--   start_bar VARCHAR         printed number of the first bar
--   end_bar VARCHAR           printed number of the last bar
--   bars INTEGER              length as played [bars]
--   share DOUBLE              share of the work as played [0-1]
--   low DOUBLE                lower edge [MIDI note number]
--   high DOUBLE               upper edge [MIDI note number]
--   width VARCHAR             narrow or wide
--   bands INTEGER[]           octave bands occupied [octave number]
--   work VARCHAR              id of the work
SELECT
    w.composer_name AS composer, w.title, w.ensemble,
    s.start_bar, s.end_bar, s.bars, round(s.bars / nullif(w.bars, 0), 3) AS share,
    s.low, s.high, s.width, s.bands, w.work
FROM stays AS s
JOIN works AS w USING (work)
WHERE s.part IS NULL
    AND w.same_as IS NULL
    AND (CAST($width AS VARCHAR) IS NULL OR s.width = $width)
    AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
ORDER BY s.bars DESC, w.work, s.stay
LIMIT CAST($rows AS INTEGER)
