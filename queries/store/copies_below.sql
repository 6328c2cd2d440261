-- Which works of a new build are the same music as works of the reference that it is made on
-- top of, and which of those counts. Marks and fingerprints are those of the new works.
WITH own AS (
    SELECT unnest($works::VARCHAR[]) AS own, unnest($marks::UBIGINT[]) AS shingle
),
sizes AS (SELECT own, count(*) AS marks FROM own GROUP BY own),
theirs AS (SELECT work, count(*) AS marks FROM shingles GROUP BY work),
shared AS (
    SELECT own, work, count(*) AS shared FROM own JOIN shingles USING (shingle) GROUP BY ALL
),
alike AS (
    SELECT own, work
    FROM shared
    JOIN sizes USING (own)
    JOIN theirs USING (work)
    WHERE shared >= $fewest AND shared >= $share * least(sizes.marks, theirs.marks)
    UNION
    SELECT p.own, w.work
    FROM (
        SELECT unnest($printed::VARCHAR[]) AS own, unnest($fingerprints::VARCHAR[]) AS fingerprint
    ) AS p
    JOIN works AS w USING (fingerprint)
)
SELECT own, min(coalesce(w.same_as, w.work)) AS counted
FROM alike
JOIN works AS w USING (work)
GROUP BY own
ORDER BY own;
