-- How many of each part's notes lie in one octave, or in a range that is asked for?
--
-- The fullest range of a given width, or the one that begins at a given note; both
-- limits belong to it, so that an octave has thirteen keys. Every note counts alike,
-- as played. Parts of one instrument are told apart by their order from the top of
-- the score, so that the first violin is number 1.
--
-- Parameters:
--   $width INTEGER = 12       width of the range [semitones]
--   $low INTEGER = NULL       its lowest note; NULL for where it holds most [MIDI note number]
--   $collections VARCHAR = NULL  collections, a regular expression; NULL for all
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $players INTEGER = NULL   only works with so many parts; NULL for all [parts]
--   $instrument VARCHAR = NULL  only this instrument or voice; NULL for all
-- Columns:
--   instrument VARCHAR        instrument or voice
--   number BIGINT             which part of this instrument, from the top of the score [from 1]
--   notes BIGINT              notes [notes]
--   low INTEGER               lowest note of the range [MIDI note number]
--   high INTEGER              highest note of the range [MIDI note number]
--   share DOUBLE              share of the notes in it [0-1]
WITH players AS (
    SELECT
        w.work, p.part, p.instrument,
        row_number() OVER (PARTITION BY w.work, p.instrument ORDER BY p.part) AS number
    FROM works AS w
    JOIN parts AS p USING (work)
    WHERE w.same_as IS NULL
        AND p.notes > 0
        AND p.instrument IS NOT NULL
        AND (CAST($collections AS VARCHAR) IS NULL OR regexp_matches(w.collection, $collections))
        AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
        AND (CAST($players AS INTEGER) IS NULL OR w.parts = CAST($players AS INTEGER))
        AND (CAST($instrument AS VARCHAR) IS NULL OR p.instrument = $instrument)
),
counts AS (
    SELECT v.instrument, v.number, c.pitch, sum(c.notes) AS notes
    FROM players AS v
    JOIN part_pitches AS c USING (work, part)
    GROUP BY v.instrument, v.number, c.pitch
),
starts AS (
    SELECT DISTINCT instrument, number, coalesce(CAST($low AS INTEGER), pitch) AS low FROM counts
)
SELECT
    s.instrument, s.number, CAST(sum(c.notes) AS BIGINT) AS notes,
    s.low, s.low + CAST($width AS INTEGER) AS high,
    coalesce(
        sum(c.notes) FILTER (c.pitch BETWEEN s.low AND s.low + CAST($width AS INTEGER)), 0
    ) / sum(c.notes) AS share
FROM starts AS s
JOIN counts AS c USING (instrument, number)
GROUP BY s.instrument, s.number, s.low
QUALIFY row_number() OVER (PARTITION BY s.instrument, s.number ORDER BY share DESC, s.low) = 1
ORDER BY notes DESC, s.instrument, s.number
