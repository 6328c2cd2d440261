-- A measure of the works that count, and by what they are grouped.
SELECT
    "{group}" AS "group", unit_number, "{measure}" AS value,
    concat(corpus, ' ', collection) AS collection
FROM matrix
WHERE "{measure}" IS NOT NULL AND "{group}" IS NOT NULL
ORDER BY ALL;
