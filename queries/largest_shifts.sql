-- Where are the largest shifts of register?
--
-- Parameters:
--   $direction VARCHAR = NULL up, down, opening or closing; NULL for all
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $rows INTEGER = 20        how many [rows]
-- Columns:
--   composer VARCHAR          composer as a name
--   title VARCHAR             title of the work
--   ensemble VARCHAR          ensemble of the work
--   bar VARCHAR               printed number of the bar in which the new register begins
--   size DOUBLE               size [semitones]
--   direction VARCHAR         up, down, opening or closing
--   by VARCHAR                what moved: mass, top or bottom
--   at_section BOOLEAN        it falls on the beginning of a section
--   work VARCHAR              id of the work
SELECT
    w.composer_name AS composer, w.title, w.ensemble,
    s.bar, s.size, s.direction, s.by AS "by", s.at_section, w.work
FROM shifts AS s
JOIN works AS w USING (work)
WHERE w.same_as IS NULL AND s.clear
    AND (CAST($direction AS VARCHAR) IS NULL OR s.direction = $direction)
    AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
ORDER BY abs(s.size) DESC, w.work, s.shift
LIMIT CAST($rows AS INTEGER)
