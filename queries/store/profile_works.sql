-- Works of a rung as points, some left out by their ids. A title that is only the name of
-- a file is told with its collection.
SELECT
    p.work,
    coalesce(
        coalesce(c.title || ': ', '') || nullif(
            regexp_extract(w.title, '^(.+)[.](mxl|xml|musicxml|krn|mei|mid|midi|abc|ly)$', 1), ''
        ),
        w.title
    ) AS title,
    coalesce(w.composer_name, c.title, w.unit) AS composer,
    m.unit_number, p.position
FROM profile_works AS p
JOIN matrix AS m USING (work)
JOIN works AS w USING (work)
LEFT JOIN corpora AS c ON c.corpus = w.collection
WHERE p.rung = $rung AND NOT list_contains($leave_out::VARCHAR[], p.work)
ORDER BY p.work;
