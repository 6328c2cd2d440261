-- What each composer or source is called, by its number. A source is never called by one of
-- the composers whose works stand in it.
SELECT
    m.unit_number,
    CASE
        WHEN count(*) = count(w.composer_name) AND count(DISTINCT w.composer) <= 1
            THEN min(w.composer_name)
        WHEN count(*) = count(c.title) AND count(DISTINCT c.title) = 1
            AND m.unit LIKE 'tunes:%'
            THEN min(c.title)
        ELSE m.unit
    END AS name
FROM matrix AS m
JOIN works AS w ON w.work = m.work
LEFT JOIN corpora AS c ON c.corpus = w.collection
GROUP BY m.unit_number, m.unit
ORDER BY m.unit_number;
