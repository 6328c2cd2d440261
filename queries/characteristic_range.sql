-- What is the characteristic range of each part: the shortest one that holds most of its notes?
--
-- Of several ranges of the same width the one with more of the notes, then the
-- lowest (Aarden and von Hippel 2004, Music Theory Online 10.2). Every note counts
-- alike, as played. Parts of one instrument are told apart by their order from the
-- top of the score, so that the first violin is number 1.
--
-- Parameters:
--   $share DOUBLE = 0.95      share of the notes that it must hold [0-1]
--   $collections VARCHAR = NULL  collections, a regular expression; NULL for all
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $players INTEGER = NULL   only works with so many parts; NULL for all [parts]
--   $instrument VARCHAR = NULL  only this instrument or voice; NULL for all
-- Columns:
--   instrument VARCHAR        instrument or voice
--   number BIGINT             which part of this instrument, from the top of the score [from 1]
--   works BIGINT              works in which it plays, copies left out [works]
--   notes BIGINT              notes [notes]
--   low INTEGER               lowest note of the range [MIDI note number]
--   high INTEGER              highest note of the range [MIDI note number]
--   width INTEGER             width of the range [semitones]
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
sizes AS (
    SELECT instrument, number, count(DISTINCT work) AS works FROM players GROUP BY instrument, number
),
counts AS (
    SELECT v.instrument, v.number, c.pitch, sum(c.notes) AS notes
    FROM players AS v
    JOIN part_pitches AS c USING (work, part)
    GROUP BY v.instrument, v.number, c.pitch
),
reach AS (
    SELECT
        *, sum(notes) OVER (PARTITION BY instrument, number ORDER BY pitch) AS up_to,
        sum(notes) OVER (PARTITION BY instrument, number) AS total
    FROM counts
),
ranges AS (
    SELECT
        a.instrument, a.number, a.total, a.pitch AS low, b.pitch AS high,
        (b.up_to - a.up_to + a.notes) / a.total AS share
    FROM reach AS a
    JOIN reach AS b ON b.instrument = a.instrument AND b.number = a.number AND b.pitch >= a.pitch
)
SELECT
    r.instrument, r.number, s.works, CAST(r.total AS BIGINT) AS notes,
    r.low, r.high, r.high - r.low AS width, r.share
FROM ranges AS r
JOIN sizes AS s USING (instrument, number)
WHERE r.share >= CAST($share AS DOUBLE)
QUALIFY row_number() OVER (
    PARTITION BY r.instrument, r.number ORDER BY r.high - r.low, r.share DESC, r.low
) = 1
ORDER BY s.works DESC, r.instrument, r.number
