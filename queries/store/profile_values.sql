-- Measures of the works of a rung, from which their profiles are made.
SELECT m.work, m.unit_number, m.bars, {measures}
FROM matrix AS m
WHERE {conditions}
ORDER BY m.work;
