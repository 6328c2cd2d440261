-- What heights are written for each instrument, period by period, and what was high then?
--
-- 'High' for an instrument is the top tenth of what is written for it in the period,
-- whatever tables of ranges say today. Every composer counts the same: the notes of
-- his or her parts share one weight. Pitches are sounding.
--
-- Parameters:
--   $instrument VARCHAR = NULL  only this instrument; NULL for all
--   $least INTEGER = 3        fewest composers a row must have [units]
-- Columns:
--   instrument VARCHAR        instrument or voice
--   period VARCHAR            period by year of composition; NULL where no year is known
--   works BIGINT              works [works]
--   composers BIGINT          composers, or sources of anonymous works [units]
--   notes BIGINT              notes as played [notes]
--   lowest INTEGER            lowest note of all [MIDI note number]
--   low INTEGER               one note in ten lies here or below [MIDI note number]
--   middle INTEGER            half of the notes lie here or below [MIDI note number]
--   high INTEGER              nine notes in ten lie here or below: above it is high [MIDI note number]
--   highest INTEGER           highest note of all [MIDI note number]
WITH written AS (
    SELECT p.instrument, w.period, w.unit, w.work, n.pitch, n.notes
    FROM part_pitches AS n
    JOIN parts AS p USING (work, part)
    JOIN works AS w USING (work)
    WHERE w.same_as IS NULL
        AND p.instrument IS NOT NULL
        AND (CAST($instrument AS VARCHAR) IS NULL OR p.instrument = $instrument)
),
shared AS (
    SELECT *, notes / sum(notes) OVER (PARTITION BY instrument, period, unit) AS share
    FROM written
),
by_pitch AS (
    SELECT instrument, period, pitch, sum(share) AS share
    FROM shared
    GROUP BY instrument, period, pitch
),
reached AS (
    -- The small amount keeps a share that is met exactly from being missed by rounding.
    SELECT
        instrument, period, pitch,
        1e-9 + sum(share) OVER (PARTITION BY instrument, period ORDER BY pitch)
            / sum(share) OVER (PARTITION BY instrument, period) AS reached
    FROM by_pitch
),
heights AS (
    SELECT
        instrument, period,
        min(pitch) AS lowest,
        min(pitch) FILTER (reached >= 0.1) AS low,
        min(pitch) FILTER (reached >= 0.5) AS middle,
        min(pitch) FILTER (reached >= 0.9) AS high,
        max(pitch) AS highest
    FROM reached
    GROUP BY instrument, period
),
counts AS (
    SELECT
        instrument, period,
        count(DISTINCT work) AS works, count(DISTINCT unit) AS composers,
        CAST(sum(notes) AS BIGINT) AS notes
    FROM written
    GROUP BY instrument, period
)
SELECT
    h.instrument, h.period, c.works, c.composers, c.notes,
    h.lowest, h.low, h.middle, h.high, h.highest
FROM heights AS h
JOIN counts AS c ON c.instrument = h.instrument AND c.period IS NOT DISTINCT FROM h.period
WHERE c.composers >= CAST($least AS INTEGER)
ORDER BY h.instrument, h.period NULLS LAST
