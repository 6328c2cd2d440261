-- What is said of works beside a passage from them, with where their files are. A title that
-- is only the name of a file is told with its collection.
SELECT
    w.work, w.corpus, w.path, w.number, w.content, w.tier, w.statement,
    coalesce(
        coalesce(c.title || ': ', '') || nullif(
            regexp_extract(w.title, '^(.+)[.](mxl|xml|musicxml|krn|mei|mid|midi|abc|ly)$', 1), ''
        ),
        w.title
    ) AS title,
    w.movement, w.composer_name AS composer
FROM works AS w
LEFT JOIN corpora AS c ON c.corpus = w.collection
WHERE list_contains($works::VARCHAR[], w.work)
ORDER BY w.work;
