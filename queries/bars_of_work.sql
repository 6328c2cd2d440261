-- In which bars does a work stay in a register, shift, or have something happen in one?
--
-- The whole texture and its parts, in the order of the score, with the bar numbers
-- that are printed. A shift is clear, counted in the shift rate, or both.
--
-- Parameters:
--   $work VARCHAR             id of the work
-- Columns:
--   about VARCHAR             stay, shift, or the kind of event, as in events.kind
--   part VARCHAR              name of the part; NULL for the whole texture
--   start_bar VARCHAR         printed number of the first bar
--   end_bar VARCHAR           printed number of the last bar of a stay
--   bars INTEGER              length of a stay or event as played [bars]
--   low DOUBLE                lower edge of the register [MIDI note number]
--   high DOUBLE               upper edge of the register [MIDI note number]
--   size DOUBLE               size of a shift [semitones]
--   strength DOUBLE           strength of an event [0-100]
--   words VARCHAR             width and rank of a stay; direction of a shift, what moved, and whether it is clear and counted
WITH found AS (
    SELECT
        first AS position, 1 AS sort, stay AS place, 'stay' AS about, part, start_bar, end_bar,
        bars, low, high, NULL AS size, NULL AS strength, width || ', rank ' || rank AS words
    FROM stays
    WHERE work = $work
    UNION ALL
    SELECT
        position, 2, shift, 'shift', NULL, bar, NULL, NULL, NULL, NULL, size, NULL,
        concat_ws(
            ', ', direction, 'by ' || "by", if(at_section, 'at a section', NULL),
            if(clear, 'clear', NULL), if(counted, 'counted', NULL)
        )
    FROM shifts
    WHERE work = $work
    UNION ALL
    SELECT
        position, 3, event, kind, part, bar, NULL, played_last - played_first, low, high,
        NULL, strength, NULL
    FROM events
    WHERE work = $work AND kind <> 'shift'
)
SELECT
    f.about, coalesce(p.name, 'part ' || (f.part + 1)) AS part, f.start_bar, f.end_bar, f.bars,
    f.low, f.high, f.size, f.strength, f.words
FROM found AS f
LEFT JOIN parts AS p ON p.work = $work AND p.part = f.part
ORDER BY f.position, f.part NULLS FIRST, f.sort, f.place
