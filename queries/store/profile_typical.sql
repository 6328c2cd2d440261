-- Typical works of the profiles of a rung, the nearest to the centre first. A title that is
-- only the name of a file is told with its collection.
SELECT t.profile, t.work,
    coalesce(
        coalesce(c.title || ': ', '') || nullif(
            regexp_extract(w.title, '^(.+)[.](mxl|xml|musicxml|krn|mei|mid|midi|abc|ly)$', 1), ''
        ),
        w.title
    ) AS title,
    coalesce(w.composer_name, c.title, w.unit) AS composer
FROM (
    SELECT profile, unnest(typical) AS work, generate_subscripts(typical, 1) AS place
    FROM profiles
    WHERE rung = $rung
) AS t
JOIN works AS w USING (work)
LEFT JOIN corpora AS c ON c.corpus = w.collection
ORDER BY t.profile, t.place;
