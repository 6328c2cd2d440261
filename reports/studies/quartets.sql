-- String quartets of two violins, viola and cello: how often each player has each pitch.
-- Copies are left out. A part with next to no notes, as of a page that was read twice, is none.
WITH players AS (
    SELECT w.work, p.part, p.instrument,
        row_number() OVER (PARTITION BY w.work, p.instrument ORDER BY p.part) AS number,
        count(*) OVER (PARTITION BY w.work) AS players
    FROM works AS w
    JOIN parts AS p USING (work)
    WHERE w.ensemble = 'string quartet' AND w.same_as IS NULL AND w.composer IS NOT NULL
        AND p.notes >= 40
),
roles AS (
    SELECT *, CASE
        WHEN instrument = 'violin' AND number = 1 THEN 'violin I'
        WHEN instrument = 'violin' AND number = 2 THEN 'violin II'
        WHEN number = 1 THEN instrument
    END AS role
    FROM players
    WHERE players = 4
)
SELECT w.work, w.unit, w.title, w.composer_name, w.year_from, w.year_to, w.year_source,
    r.role, r.part, n.pitch, n.notes
FROM roles AS r
JOIN works AS w USING (work)
JOIN part_pitches AS n USING (work, part)
QUALIFY count(DISTINCT r.role) OVER (PARTITION BY w.work) = 4
ORDER BY w.work, r.role, n.pitch
