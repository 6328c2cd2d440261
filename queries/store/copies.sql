-- Marks every copy of the same music with the work that counts in its place: of
-- the copies the one with the freest licence, then with dynamics, then with most
-- notes and bars, then the first by id.
UPDATE works SET same_as = chosen.counted
FROM (
    SELECT work, first_value(work) OVER (
        PARTITION BY fingerprint
        ORDER BY
            list_position(['open', 'permitted', 'noncommercial', 'reserved'], tier),
            dynamics_known DESC, notes DESC, bars DESC, work
    ) AS counted
    FROM works
    WHERE fingerprint IS NOT NULL
) AS chosen
WHERE works.work = chosen.work AND works.work <> chosen.counted;
