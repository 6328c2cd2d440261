-- Typical works of the profiles of a rung, the nearest to the centre first.
SELECT t.profile, t.work, w.title, coalesce(w.composer_name, c.title, w.unit) AS composer
FROM (
    SELECT profile, unnest(typical) AS work, generate_subscripts(typical, 1) AS place
    FROM profiles
    WHERE rung = $rung
) AS t
JOIN works AS w USING (work)
LEFT JOIN corpora AS c ON c.corpus = w.collection
ORDER BY t.profile, t.place;
