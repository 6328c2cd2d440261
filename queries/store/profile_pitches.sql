-- Weight at each pitch of the works of a rung. place numbers the works in the order of their
-- names, from 0: a number for each weight takes far less memory than a name.
WITH rung AS (
    SELECT m.work, CAST(row_number() OVER (ORDER BY m.work) - 1 AS INTEGER) AS place
    FROM matrix AS m
    WHERE {conditions}
)
SELECT rung.place, p.pitch, p.share
FROM pitch_weights AS p
JOIN rung USING (work);
