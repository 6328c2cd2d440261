-- Which works are behind the figures of an instrument or voice?
--
-- One row a part, the widest first: its range, its activity, its distance from the
-- part below it in the score, and how often its small intervals rise.
--
-- Parameters:
--   $instrument VARCHAR = NULL  only this instrument or voice; NULL for all
--   $collections VARCHAR = NULL  collections, a regular expression; NULL for all
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $rows INTEGER = 20        how many [rows]
-- Columns:
--   composer VARCHAR          composer as a name; the source for anonymous works
--   title VARCHAR             title of the work
--   part VARCHAR              name of the part in the score
--   instrument VARCHAR        instrument or voice; NULL where not recognised
--   notes INTEGER             notes as played [notes]
--   lowest INTEGER            lowest note [MIDI note number]
--   highest INTEGER           highest note [MIDI note number]
--   mean_pitch DOUBLE         mean pitch [MIDI note number]
--   gap_below DOUBLE          mean interval to the part below in the score [semitones]
--   rising DOUBLE             share of its intervals of up to a third that rises [0-1]
--   work VARCHAR              id of the work
WITH small AS (
    SELECT
        work, part,
        coalesce(sum(times) FILTER (step > 0), 0) / sum(times) AS rising
    FROM steps
    WHERE step <> 0 AND abs(step) <= 4
    GROUP BY work, part
)
SELECT
    coalesce(w.composer_name, w.unit) AS composer, w.title, p.name AS part, p.instrument,
    p.notes, p.lowest, p.highest, p.mean_pitch, g.mean AS gap_below, s.rising, w.work
FROM works AS w
JOIN parts AS p USING (work)
LEFT JOIN small AS s USING (work, part)
LEFT JOIN part_gaps AS g ON g.work = w.work AND g.upper = p.part
WHERE w.same_as IS NULL
    AND p.notes > 0
    AND (CAST($instrument AS VARCHAR) IS NULL OR p.instrument = $instrument)
    AND (CAST($collections AS VARCHAR) IS NULL OR regexp_matches(w.collection, $collections))
    AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
ORDER BY p.highest - p.lowest DESC, w.work, p.part
LIMIT CAST($rows AS INTEGER)
