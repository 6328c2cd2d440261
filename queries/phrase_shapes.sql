-- Which shapes do the phrases of tunes have?
--
-- A phrase by its first note, the mean of those between, and its last note (Huron
-- 1996, Computing in Musicology 10:3-23), for sources that mark phrases. Phrases of
-- fewer than three notes have no middle and are left out.
--
-- Parameters:
--   $collections VARCHAR = NULL  collections, a regular expression; NULL for all
--   $without VARCHAR = NULL   files to leave out, a regular expression; NULL for none
-- Columns:
--   shape VARCHAR             convex, descending, ascending, concave, or with a level half
--   phrases BIGINT            phrases as written [phrases]
--   share DOUBLE              share of the phrases [0-1]
--   works BIGINT              works that have such a phrase [works]
WITH moves AS (
    SELECT
        w.work, sign(p.middle - p.first) AS opening, sign(p.last - p.middle) AS closing
    FROM works AS w
    JOIN phrases AS p USING (work)
    WHERE w.same_as IS NULL
        AND p.middle IS NOT NULL
        AND (CAST($collections AS VARCHAR) IS NULL OR regexp_matches(w.collection, $collections))
        AND (CAST($without AS VARCHAR) IS NULL OR NOT regexp_matches(w.path, $without))
)
SELECT
    CASE
        WHEN opening > 0 AND closing < 0 THEN 'convex'
        WHEN opening < 0 AND closing < 0 THEN 'descending'
        WHEN opening > 0 AND closing > 0 THEN 'ascending'
        WHEN opening < 0 AND closing > 0 THEN 'concave'
        WHEN opening = 0 AND closing = 0 THEN 'level'
        WHEN opening = 0 THEN if(closing > 0, 'level, ascending', 'level, descending')
        ELSE if(opening > 0, 'ascending, level', 'descending, level')
    END AS shape,
    count(*) AS phrases,
    count(*) / sum(count(*)) OVER () AS share,
    count(DISTINCT work) AS works
FROM moves
GROUP BY shape
ORDER BY phrases DESC, shape
