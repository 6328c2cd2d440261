-- Notes on each pitch for each instrument or voice, by composer or source; works: all of
-- the instrument.
WITH written AS (
    SELECT p.instrument, m.unit_number, m.work, n.notes, n.pitch
    FROM part_pitches AS n
    JOIN parts AS p ON p.work = n.work AND p.part = n.part
    JOIN matrix AS m ON m.work = n.work
    WHERE p.instrument IS NOT NULL
),
counts AS (
    SELECT instrument, count(DISTINCT work) AS works FROM written GROUP BY instrument
)
SELECT w.instrument, w.unit_number, w.pitch, sum(w.notes)::DOUBLE AS notes,
    any_value(c.works) AS works
FROM written AS w
JOIN counts AS c ON c.instrument = w.instrument
GROUP BY w.instrument, w.unit_number, w.pitch
ORDER BY w.instrument, w.unit_number, w.pitch;
