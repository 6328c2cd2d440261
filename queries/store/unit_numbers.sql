-- Numbers for the units of the works that count, in the order of their names.
CREATE TEMP TABLE unit_numbers AS
SELECT unit, CAST(row_number() OVER (ORDER BY unit) AS INTEGER) AS unit_number
FROM (SELECT DISTINCT unit FROM works WHERE same_as IS NULL);
