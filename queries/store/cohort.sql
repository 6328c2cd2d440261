-- The works of one cohort with their measures, a piece's own copies left out. named: the unit
-- is a composer, and no source of anonymous works.
SELECT
    unit_number, composer IS NOT NULL OR starts_with(unit, 'name:') AS named,
    collection, period, bars, voices, {measures}
FROM matrix
WHERE {conditions} AND NOT list_contains($leave_out::VARCHAR[], work)
ORDER BY work;
