-- Is the space above the bass wider when the bass is lower?
--
-- Spearman's rank correlation between the lowest sounding pitch and the interval to
-- the next higher one, over all onsets at which something sounds above the bass.
-- Below 0 the space is wider over lower basses (Huron and Sellmer 1992, Music
-- Perception 10(2):129-149).
--
-- Parameters:
--   $collections VARCHAR = NULL  collections, a regular expression; NULL for all
--   $players INTEGER = NULL   only works with so many parts; NULL for all [parts]
-- Columns:
--   ensemble VARCHAR          ensemble
--   works BIGINT              works, copies left out [works]
--   onsets BIGINT             onsets with something above the bass [onsets]
--   mean_bass DOUBLE          mean bass pitch [MIDI note number]
--   mean_gap DOUBLE           mean interval above it [semitones]
--   rho DOUBLE                rank correlation of the two [-1 to 1]
WITH cells AS (
    SELECT w.ensemble, w.work, g.bass, g.gap, g.onsets
    FROM works AS w
    JOIN bass_gaps AS g USING (work)
    WHERE w.same_as IS NULL
        AND (CAST($collections AS VARCHAR) IS NULL OR regexp_matches(w.collection, $collections))
        AND (CAST($players AS INTEGER) IS NULL OR w.parts = CAST($players AS INTEGER))
),
ranks AS (
    -- Mid-rank of a value that occurs many times: what is below it and half of itself.
    SELECT
        *,
        sum(onsets) OVER (PARTITION BY ensemble ORDER BY bass)
            - sum(onsets) OVER (PARTITION BY ensemble, bass) / 2 AS x,
        sum(onsets) OVER (PARTITION BY ensemble ORDER BY gap)
            - sum(onsets) OVER (PARTITION BY ensemble, gap) / 2 AS y
    FROM cells
),
centred AS (
    SELECT
        *,
        x - sum(onsets) OVER (PARTITION BY ensemble) / 2 AS dx,
        y - sum(onsets) OVER (PARTITION BY ensemble) / 2 AS dy
    FROM ranks
)
SELECT
    ensemble, count(DISTINCT work) AS works, CAST(sum(onsets) AS BIGINT) AS onsets,
    sum(bass * onsets) / sum(onsets) AS mean_bass,
    sum(gap * onsets) / sum(onsets) AS mean_gap,
    sum(onsets * dx * dy) / nullif(sqrt(sum(onsets * dx * dx) * sum(onsets * dy * dy)), 0) AS rho
FROM centred
GROUP BY ensemble
ORDER BY onsets DESC, ensemble
