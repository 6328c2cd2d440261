-- Notes on each pitch of some instruments, by medium, period and composer (or source).
SELECT
    p.instrument, w.ensemble, w.period, w.unit, n.pitch, sum(n.notes)::DOUBLE AS notes
FROM parts AS p
JOIN works AS w USING (work)
JOIN part_pitches AS n USING (work, part)
WHERE list_contains($instruments::VARCHAR[], p.instrument)
    AND w.same_as IS NULL
    AND NOT list_contains($leave_out::VARCHAR[], w.work)
GROUP BY ALL
ORDER BY ALL;
