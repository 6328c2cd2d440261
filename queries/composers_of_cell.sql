-- Which composers are behind one cell of a table, and with how much?
--
-- Works of no known year have the period 'none'. A tune book counts as one source, also
-- where it names the composers of some tunes. The works are in `works_of_cell`, which takes
-- the names here as composer=NAME.
--
-- Parameters:
--   $period VARCHAR = NULL    only this period; NULL for all
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $measure VARCHAR = 'span' name of the measure, as in definitions.name
-- Columns:
--   composer VARCHAR          composer as a name; the source of anonymous works and tunes
--   works BIGINT              works whose measure counts, copies left out [works]
--   collections VARCHAR[]     collections they come from
--   lowest DOUBLE             lowest value [unit in the last column]
--   middle DOUBLE             median value [unit in the last column]
--   highest DOUBLE            highest value [unit in the last column]
--   unit VARCHAR              unit of the values
SELECT
    if(
        count(*) = count(w.composer_name) AND count(DISTINCT w.composer) <= 1,
        min(w.composer_name), w.unit
    ) AS composer,
    count(*) AS works,
    list_sort(list(DISTINCT w.collection)) AS collections,
    min(m.value) AS lowest, median(m.value) AS middle, max(m.value) AS highest,
    any_value(d.unit) AS unit
FROM works AS w
JOIN measures AS m ON m.work = w.work AND m.name = $measure AND m.value IS NOT NULL AND m.reason IS NULL
JOIN definitions AS d USING (name)
ANTI JOIN left_out AS l ON l.work = m.work AND l.measure = m.name
WHERE w.same_as IS NULL
    AND (CAST($period AS VARCHAR) IS NULL OR coalesce(w.period, 'none') = $period)
    AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
GROUP BY w.unit
ORDER BY works DESC, composer
