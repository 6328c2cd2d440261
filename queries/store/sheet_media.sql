-- Works that count, composers, collections and the largest share of one collection, by ensemble.
WITH parts AS (
    SELECT ensemble, collection, count(*) AS works FROM matrix GROUP BY ALL
)
SELECT
    m.ensemble AS name, count(*) AS works, count(DISTINCT m.unit) AS composers,
    count(DISTINCT m.collection) AS collections,
    round(max(p.works) / count(*), 2) AS largest
FROM matrix AS m
JOIN parts AS p ON p.ensemble = m.ensemble AND p.collection IS NOT DISTINCT FROM m.collection
GROUP BY m.ensemble
ORDER BY works DESC, name;
