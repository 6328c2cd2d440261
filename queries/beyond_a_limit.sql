-- Which works go beyond a limit with an instrument or voice, and on which notes?
--
-- Parameters:
--   $instrument VARCHAR = NULL  only this instrument or voice; NULL for all
--   $below INTEGER = 21       notes lower than this [MIDI note number]
--   $above INTEGER = 108      notes higher than this [MIDI note number]
--   $collections VARCHAR = NULL  collections, a regular expression; NULL for all
-- Columns:
--   instrument VARCHAR        instrument or voice; NULL where not recognised
--   part VARCHAR              name of the part in the score
--   pitch INTEGER             the note [MIDI note number]
--   notes INTEGER             how often, as played [notes]
--   composer VARCHAR          composer as a name
--   title VARCHAR             title of the work
--   work VARCHAR              id of the work
SELECT
    p.instrument, p.name AS part, c.pitch, c.notes, w.composer_name AS composer, w.title, w.work
FROM works AS w
JOIN parts AS p USING (work)
JOIN part_pitches AS c USING (work, part)
WHERE w.same_as IS NULL
    AND (c.pitch < CAST($below AS INTEGER) OR c.pitch > CAST($above AS INTEGER))
    AND (CAST($instrument AS VARCHAR) IS NULL OR p.instrument = $instrument)
    AND (CAST($collections AS VARCHAR) IS NULL OR regexp_matches(w.collection, $collections))
ORDER BY c.pitch, w.work, p.part
