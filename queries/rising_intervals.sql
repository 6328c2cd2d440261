-- Which melodic intervals rise and which fall?
--
-- Intervals in the line of each part, the highest note of each onset; a rest does not
-- break the line. Small intervals tend to fall and large ones to rise (Vos and
-- Troost 1989, Music Perception 6(4):383-396).
--
-- Parameters:
--   $small INTEGER = 4        widest interval that is called small [semitones]
--   $collections VARCHAR = NULL  collections, a regular expression; NULL for all
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $players INTEGER = NULL   only works with so many parts; NULL for all [parts]
--   $instrument VARCHAR = NULL  only this instrument or voice; NULL for all
-- Columns:
--   size INTEGER              size of the interval [semitones]
--   times BIGINT              how often [times]
--   rising DOUBLE             share that rises [0-1]
--   kind VARCHAR              small or large
--   times_of_kind BIGINT      intervals of this kind [times]
--   rising_of_kind DOUBLE     share of them that rises [0-1]
WITH sizes AS (
    SELECT
        abs(s.step) AS size, sum(s.times) AS times,
        coalesce(sum(s.times) FILTER (s.step > 0), 0) AS up,
        if(abs(s.step) <= CAST($small AS INTEGER), 'small', 'large') AS kind
    FROM works AS w
    JOIN parts AS p USING (work)
    JOIN steps AS s USING (work, part)
    WHERE w.same_as IS NULL
        AND s.step <> 0
        AND (CAST($collections AS VARCHAR) IS NULL OR regexp_matches(w.collection, $collections))
        AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
        AND (CAST($players AS INTEGER) IS NULL OR w.parts = CAST($players AS INTEGER))
        AND (CAST($instrument AS VARCHAR) IS NULL OR p.instrument = $instrument)
    GROUP BY abs(s.step)
)
SELECT
    size, CAST(times AS BIGINT) AS times, up / times AS rising, kind,
    CAST(sum(times) OVER (PARTITION BY kind) AS BIGINT) AS times_of_kind,
    sum(up) OVER (PARTITION BY kind) / sum(times) OVER (PARTITION BY kind) AS rising_of_kind
FROM sizes
ORDER BY size
