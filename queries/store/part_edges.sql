-- The lowest and highest note of each part with a known instrument, and of its work.
SELECT p.work, p.name, p.instrument, p.lowest, p.highest, w.lowest AS bottom, w.highest AS top
FROM parts AS p
JOIN works AS w USING (work)
WHERE p.instrument IS NOT NULL AND p.notes > 0 AND p.lowest IS NOT NULL
ORDER BY p.work, p.part;
