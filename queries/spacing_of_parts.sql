-- How far apart are neighbouring parts?
--
-- Parts that follow each other in the score, at the onsets of the work at which
-- both sound; every onset counts alike, as played.
--
-- Parameters:
--   $collections VARCHAR = NULL  collections, a regular expression; NULL for all
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $players INTEGER = NULL   only works with so many parts; NULL for all [parts]
-- Columns:
--   upper VARCHAR             instrument or voice of the part above in the score
--   lower VARCHAR             instrument or voice of the part below
--   works BIGINT              works, copies left out [works]
--   onsets BIGINT             onsets counted [onsets]
--   mean DOUBLE               mean interval between them, negative where they cross [semitones]
--   over_octave DOUBLE        share of onsets with more than an octave between them [0-1]
SELECT
    a.instrument AS upper, b.instrument AS lower,
    count(DISTINCT w.work) AS works,
    CAST(sum(g.onsets) AS BIGINT) AS onsets,
    sum(g.mean * g.onsets) / sum(g.onsets) AS mean,
    sum(g.over_octave * g.onsets) / sum(g.onsets) AS over_octave
FROM works AS w
JOIN part_gaps AS g USING (work)
JOIN parts AS a ON a.work = w.work AND a.part = g.upper
JOIN parts AS b ON b.work = w.work AND b.part = g.lower
WHERE w.same_as IS NULL
    AND (CAST($collections AS VARCHAR) IS NULL OR regexp_matches(w.collection, $collections))
    AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
    AND (CAST($players AS INTEGER) IS NULL OR w.parts = CAST($players AS INTEGER))
GROUP BY a.instrument, b.instrument
ORDER BY works DESC, upper NULLS LAST, lower NULLS LAST
