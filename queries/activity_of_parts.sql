-- Which parts have more notes, the higher or the lower ones?
--
-- An onset of a part is counted once, however many notes it has; the parts of one
-- instrument are told apart by their order from the top of the score, so that the
-- first violin is number 1 (Broze and Huron 2013, Music Perception 31(1):19-31).
--
-- Parameters:
--   $collections VARCHAR = NULL  collections, a regular expression; NULL for all
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $players INTEGER = NULL   only works with so many parts; NULL for all [parts]
-- Columns:
--   instrument VARCHAR        instrument or voice
--   number BIGINT             which part of this instrument, from the top of the score [from 1]
--   works BIGINT              works in which it plays, copies left out [works]
--   onsets BIGINT             onsets as played [onsets]
--   rate DOUBLE               onsets in a bar [onsets per bar]
--   mean_pitch DOUBLE         mean pitch of its notes [MIDI note number]
WITH players AS (
    SELECT
        w.work, w.bars, p.part, p.instrument, p.notes, p.mean_pitch,
        row_number() OVER (PARTITION BY w.work, p.instrument ORDER BY p.part) AS number
    FROM works AS w
    JOIN parts AS p USING (work)
    WHERE w.same_as IS NULL
        AND p.notes > 0
        AND p.instrument IS NOT NULL
        AND (CAST($collections AS VARCHAR) IS NULL OR regexp_matches(w.collection, $collections))
        AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
        AND (CAST($players AS INTEGER) IS NULL OR w.parts = CAST($players AS INTEGER))
),
counted AS (
    -- A line of n onsets has n - 1 intervals from one to the next.
    SELECT p.*, 1 + coalesce(s.times, 0) AS onsets
    FROM players AS p
    LEFT JOIN (SELECT work, part, sum(times) AS times FROM steps GROUP BY work, part) AS s
        USING (work, part)
)
SELECT
    instrument, number, count(*) AS works, CAST(sum(onsets) AS BIGINT) AS onsets,
    sum(onsets) / sum(bars) AS rate,
    sum(mean_pitch * notes) / sum(notes) AS mean_pitch
FROM counted
GROUP BY instrument, number
ORDER BY works DESC, onsets DESC, instrument, number
