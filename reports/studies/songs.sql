-- Songs of one voice and one piano: how often each of the two has each pitch, and how far
-- the voice lies above the highest note of the piano while both sound. Copies are left out;
-- fewer than 40 sung notes say little of where a voice lies.
WITH songs AS (
    SELECT w.work
    FROM works AS w
    JOIN parts AS p USING (work)
    WHERE w.ensemble = 'song' AND w.same_as IS NULL AND w.composer IS NOT NULL
    GROUP BY w.work
    HAVING count(*) = 2
        AND count(*) FILTER (p.family = 'voice' AND p.notes >= 40) = 1
        AND count(*) FILTER (p.instrument = 'piano') = 1
)
SELECT w.work, w.unit, w.title, w.composer_name, w.year_from, w.year_to, w.year_source,
    p.family = 'voice' AS sung, n.pitch, n.notes, g.mean AS above, g.over_octave
FROM songs
JOIN works AS w USING (work)
JOIN parts AS p USING (work)
JOIN part_pitches AS n USING (work, part)
LEFT JOIN part_gaps AS g ON g.work = w.work AND g.upper = 0
ORDER BY w.work, sung, n.pitch
