-- Notes on each pitch of some instruments, by period and by composer (or source), whose numbers
-- follow their names. here: whether they are in the given medium.
WITH told AS (
    SELECT
        p.instrument, p.work, p.part, w.ensemble = $ensemble AS here,
        coalesce(w.period, '') AS period, dense_rank() OVER (ORDER BY w.unit) AS unit
    FROM parts AS p
    JOIN works AS w USING (work)
    WHERE list_contains($instruments::VARCHAR[], p.instrument)
        AND w.same_as IS NULL
        AND NOT list_contains($leave_out::VARCHAR[], w.work)
)
SELECT instrument, here, period, unit, pitch, sum(notes)::DOUBLE AS notes
FROM told
JOIN part_pitches USING (work, part)
GROUP BY ALL;
