-- What is said of works beside a passage from them, with where their files are.
SELECT
    work, corpus, path, number, content, tier, statement, title, movement,
    composer_name AS composer
FROM works
WHERE list_contains($works::VARCHAR[], work)
ORDER BY work;
