-- Works that count and have a period, with all that a result about periods is held
-- against. Tune books have a date of printing and no period. A work has repeats where it is longer as played than on the page.
WITH pages AS (
    SELECT work, max("last") AS written FROM stays WHERE part IS NULL GROUP BY work
),
others AS (
    SELECT work, {rebarred} FROM measures_rebarred GROUP BY work
)
SELECT
    m.work, m.unit_number, m.composer, m.period, m.year, m.ensemble, m.collection, m.bars,
    w.year_from, w.year_to, w.year_source = 'life dates' AS life,
    coalesce(w.year_source IN ('stated', 'published', 'catalogue'), false) AS stated,
    coalesce(w.dynamics_known, false) AS dynamics,
    coalesce(w.pedal_known, false) AS pedal,
    coalesce(pages.written < m.bars, false) AS repeats,
    {measures}, others.* EXCLUDE (work)
FROM matrix AS m
JOIN works AS w ON w.work = m.work
LEFT JOIN pages ON pages.work = m.work
LEFT JOIN others ON others.work = m.work
WHERE m.period IS NOT NULL AND NOT starts_with(m.unit, 'tunes:') AND ($ensemble IS NULL OR m.ensemble = $ensemble)
ORDER BY m.work;
