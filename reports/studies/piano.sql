-- Works for piano with their lowest and highest notes, where composer and years are known.
SELECT w.work, w.unit, w.composer_name, w.title, w.year_from, w.year_to, w.year_source,
    w.lowest, w.highest, w.collection, m.span, m.bars
FROM matrix AS m
JOIN works AS w USING (work)
WHERE m.ensemble = 'piano' AND m.span IS NOT NULL AND w.year_from IS NOT NULL AND w.year_to IS NOT NULL
    AND w.composer IS NOT NULL
ORDER BY w.work
