-- What the works of one cohort are called, in its order, a piece's own copies left out.
SELECT w.name
FROM matrix AS m
JOIN (
    -- Nothing else of works: the conditions name columns of the matrix without saying so.
    SELECT
        work,
        coalesce(composer_name || ', ', '') || title || coalesce(': ' || movement, '') AS name
    FROM works
) AS w USING (work)
WHERE {conditions} AND NOT list_contains($leave_out::VARCHAR[], m.work)
ORDER BY m.work;
