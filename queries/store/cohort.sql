-- The works of one cohort with their measures, a piece's own copies left out.
SELECT unit_number, collection, period, bars, voices, {measures}
FROM matrix
WHERE {conditions} AND NOT list_contains($leave_out::VARCHAR[], work)
ORDER BY work;
