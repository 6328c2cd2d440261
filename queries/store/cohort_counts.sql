-- Works, composers, sources of anonymous works, and collections of one cohort.
SELECT
    count(DISTINCT composer) AS composers,
    count(DISTINCT unit) FILTER (composer IS NULL) AS sources,
    count(DISTINCT collection) AS collections
FROM matrix
WHERE {conditions} AND fingerprint IS DISTINCT FROM $leave_out;
