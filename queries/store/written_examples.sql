-- Works in which an instrument has a tenth of its notes or more at a pitch or beyond it ($up:
-- above): those of the medium first, then by composers who have most works here; the one of
-- each that has most of its notes there. Only composers who are named.
WITH there AS (
    SELECT
        w.work, w.composer_name AS composer, w.title, w.ensemble = $ensemble AS same,
        sum(CASE WHEN $up THEN n.pitch >= $pitch ELSE n.pitch <= $pitch END::INTEGER * n.notes)
            / sum(n.notes) AS beyond
    FROM parts AS p
    JOIN works AS w USING (work)
    JOIN part_pitches AS n USING (work, part)
    WHERE p.instrument = $instrument
        AND w.same_as IS NULL
        AND w.composer_name IS NOT NULL
        AND NOT list_contains($leave_out::VARCHAR[], w.work)
    GROUP BY ALL
),
known AS (
    SELECT composer_name AS composer, count(*) AS works FROM works GROUP BY composer_name
)
SELECT composer, title
FROM there
JOIN known USING (composer)
WHERE beyond >= 0.1
QUALIFY row_number() OVER (PARTITION BY composer ORDER BY same DESC, beyond DESC, title) = 1
ORDER BY same DESC, works DESC, composer
LIMIT $count;
