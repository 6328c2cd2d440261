-- Works of the reference that are the same music as a piece, with what counts in
-- their place, by the piece's fingerprint and shingles.
WITH own AS (SELECT unnest($marks::UBIGINT[]) AS shingle),
shared AS (
    SELECT work, count(*) AS shared
    FROM shingles JOIN own USING (shingle)
    GROUP BY work
),
sizes AS (
    SELECT work, count(*) AS shingles FROM shingles SEMI JOIN shared USING (work) GROUP BY work
)
SELECT work, coalesce(same_as, work) AS counted, title
FROM works
LEFT JOIN shared USING (work)
LEFT JOIN sizes USING (work)
WHERE fingerprint = $fingerprint
    OR (shared >= $fewest AND shared >= $share * least(shingles, len($marks::UBIGINT[])))
ORDER BY work;
