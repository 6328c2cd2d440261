-- The shapes of register of the works of one cohort, ten rows a work, a piece's own copies
-- left out.
SELECT
    m.work, m.unit_number, c.low, c.middle, c.high,
    w.title, w.composer
FROM matrix AS m
JOIN curves AS c USING (work)
JOIN (
    -- Nothing else of works: the conditions name columns of the matrix without saying so.
    SELECT
        work, title || coalesce(': ' || movement, '') AS title,
        coalesce(composer_name, unit) AS composer
    FROM works
) AS w USING (work)
WHERE {conditions} AND NOT list_contains($leave_out::VARCHAR[], m.work)
ORDER BY m.work, c.part;
