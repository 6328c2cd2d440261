-- Which works were found twice, and which copy counts?
--
-- Parameters:
--   $across BOOLEAN = false   only copies in another corpus than the one that counts
-- Columns:
--   title VARCHAR             title of the work that counts
--   composer VARCHAR          its composer as a name
--   counts VARCHAR            id of the work that counts
--   copy VARCHAR              id of the copy that does not
--   copy_title VARCHAR        title of the copy
SELECT
    kept.title, kept.composer_name AS composer, kept.work AS counts,
    twin.work AS copy, twin.title AS copy_title
FROM works AS twin
JOIN works AS kept ON kept.work = twin.same_as
WHERE NOT CAST($across AS BOOLEAN) OR kept.corpus <> twin.corpus
ORDER BY counts, copy
