-- Pairs of works that are the same music, whole or in part: alike in every note, or
-- sharing enough of the smaller one's shingles. A shingle of very many works is a
-- formula and tells nothing.
WITH telling AS (
    SELECT shingle FROM shingles GROUP BY shingle HAVING count(*) BETWEEN 2 AND 40
),
sizes AS (
    SELECT work, count(*) AS shingles FROM shingles GROUP BY work
),
shared AS (
    SELECT a.work AS one, b.work AS other, count(*) AS shared
    FROM shingles AS a
    JOIN telling USING (shingle)
    JOIN shingles AS b ON b.shingle = a.shingle AND a.work < b.work
    GROUP BY ALL
)
SELECT one, other
FROM shared
JOIN sizes AS s ON s.work = one
JOIN sizes AS t ON t.work = other
WHERE shared >= $fewest AND shared >= $share * least(s.shingles, t.shingles)
UNION
SELECT a.work, b.work
FROM works AS a JOIN works AS b ON a.fingerprint = b.fingerprint AND a.work < b.work
ORDER BY ALL;
