-- In which bars does a work stay in a register, and in which does it shift?
--
-- In the order of the score, with the bar numbers that are printed.
--
-- Parameters:
--   $work VARCHAR             id of the work
-- Columns:
--   about VARCHAR             stay or shift
--   part VARCHAR              name of the part; NULL for the whole texture
--   start_bar VARCHAR         printed number of the first bar
--   end_bar VARCHAR           printed number of the last bar of a stay
--   bars INTEGER              length of a stay as played [bars]
--   low DOUBLE                lower edge of a stay [MIDI note number]
--   high DOUBLE               upper edge of a stay [MIDI note number]
--   size DOUBLE               size of a shift [semitones]
--   words VARCHAR             width and rank of a stay; direction of a shift and what moved
WITH found AS (
    SELECT
        first AS position, 1 AS kind, stay AS place, 'stay' AS about, part, start_bar, end_bar,
        bars, low, high, NULL AS size, width || ', rank ' || rank AS words
    FROM stays
    WHERE work = $work
    UNION ALL
    SELECT
        position, 2, shift, 'shift', NULL, bar, NULL, NULL, NULL, NULL, size,
        concat_ws(', ', direction, 'by ' || "by", if(at_section, 'at a section', NULL))
    FROM shifts
    WHERE work = $work
)
SELECT
    f.about, p.name AS part, f.start_bar, f.end_bar, f.bars, f.low, f.high, f.size, f.words
FROM found AS f
LEFT JOIN parts AS p ON p.work = $work AND p.part = f.part
ORDER BY f.position, f.kind, f.part NULLS FIRST, f.place
