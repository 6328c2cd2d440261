-- How high does the music of each collection lie, and how much of it between two notes?
--
-- Counted by notes and not by duration, every note of a collection alike, as studies
-- of the centre of notated music do. The limits asked for are those of the
-- medieval gamut, G2 to E5.
--
-- Parameters:
--   $low INTEGER = 43         lower limit of the share [MIDI note number]
--   $high INTEGER = 76        upper limit of the share [MIDI note number]
-- Columns:
--   corpus VARCHAR            corpus
--   collection VARCHAR        edition, tune book or series in it
--   ensemble VARCHAR          ensemble
--   works BIGINT              works that count, copies left out [works]
--   notes BIGINT              notes [notes]
--   mean DOUBLE               mean pitch [MIDI note number]
--   inside DOUBLE             share of the notes between the limits, both included [0-1]
SELECT
    w.corpus, w.collection, w.ensemble,
    count(DISTINCT w.work) AS works,
    CAST(sum(p.notes) AS BIGINT) AS notes,
    sum(p.pitch * p.notes) / sum(p.notes) AS mean,
    sum(p.notes) FILTER (p.pitch BETWEEN CAST($low AS INTEGER) AND CAST($high AS INTEGER))
        / sum(p.notes) AS inside
FROM works AS w
JOIN pitch_weights AS p USING (work)
WHERE w.same_as IS NULL
GROUP BY w.corpus, w.collection, w.ensemble
HAVING sum(p.notes) > 0
ORDER BY w.corpus, w.collection, w.ensemble
