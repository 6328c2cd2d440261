-- Marks every copy of the same music with the work that counts in its place: of the
-- works of one number the one with the freest licence, then with most notes (a whole before
-- its parts), then with dynamics, then the first by id.
UPDATE works SET same_as = chosen.counted
FROM (
    SELECT work, first_value(work) OVER (
        PARTITION BY same_music.number
        ORDER BY
            list_position(['open', 'permitted', 'noncommercial', 'reserved'], tier),
            notes DESC, dynamics_known DESC, work
    ) AS counted
    FROM works
    JOIN (
        SELECT unnest($works::VARCHAR[]) AS work, unnest($numbers::INTEGER[]) AS number
    ) AS same_music USING (work)
) AS chosen
WHERE works.work = chosen.work AND works.work <> chosen.counted;
