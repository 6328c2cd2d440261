-- Works for piano alone: how often each pitch is struck. Copies are left out.
SELECT w.work, w.unit, n.pitch, n.notes
FROM works AS w
JOIN part_pitches AS n USING (work)
WHERE w.ensemble = 'piano' AND w.same_as IS NULL AND w.composer IS NOT NULL
ORDER BY w.work, n.pitch
