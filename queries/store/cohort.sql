-- The works of one cohort with their measures, a piece's own copies left out.
SELECT unit_number, composer IS NULL AS sourced, collection, bars, voices, {measures}
FROM matrix
WHERE {conditions} AND NOT list_contains($leave_out::VARCHAR[], work)
ORDER BY work;
