-- Works, composers, sources of anonymous works, and collections of one cohort.
SELECT
    count(DISTINCT composer) AS composers,
    count(DISTINCT unit) FILTER (composer IS NULL) AS sources,
    count(DISTINCT collection) AS collections
FROM matrix
WHERE {conditions} AND NOT list_contains($leave_out::VARCHAR[], work);
