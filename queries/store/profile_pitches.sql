-- Weight at each pitch of the works of a rung.
SELECT p.work, p.pitch, p.share
FROM pitch_weights AS p
JOIN matrix AS m USING (work)
WHERE {conditions}
ORDER BY p.work, p.pitch;
