-- Works, composers, sources of anonymous works, and collections of one cohort.
SELECT
    count(DISTINCT unit) FILTER (composer IS NOT NULL OR starts_with(unit, 'name:')) AS composers,
    count(DISTINCT unit) FILTER (composer IS NULL AND NOT starts_with(unit, 'name:')) AS sources,
    count(DISTINCT collection) AS collections
FROM matrix
WHERE {conditions} AND NOT list_contains($leave_out::VARCHAR[], work);
