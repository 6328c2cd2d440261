-- Which works are behind one cell of a table: a period, an ensemble, a composer, a collection?
--
-- With what each work weighs in it when every composer counts the same. Works of no
-- known year have the period 'none'. The bars behind a value are in `bars_of_work`.
--
-- Parameters:
--   $period VARCHAR = NULL    only this period; NULL for all
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $composer VARCHAR = NULL  only this composer (name or id), or this source; NULL for all
--   $collection VARCHAR = NULL  only this collection; NULL for all
--   $measure VARCHAR = 'span' name of the measure, as in definitions.name
-- Columns:
--   composer VARCHAR          composer as a name; the source for anonymous works
--   title VARCHAR             title of the work
--   year INTEGER              the year by which the period is decided [year]
--   year_source VARCHAR       where the years come from
--   collection VARCHAR        edition, tune book or series
--   bars INTEGER              length as played [bars]
--   value DOUBLE              value of the measure [unit in the next column]
--   unit VARCHAR              unit of the value
--   reason VARCHAR            why there is no value, or why it does not count
--   weight DOUBLE             weight of the work in the cell; NULL where it does not count [0-1]
--   work VARCHAR              id of the work
WITH cell AS (
    SELECT
        coalesce(w.composer_name, w.unit) AS composer, w.title, w.year, w.year_source,
        w.collection, w.bars, m.value, d.unit,
        coalesce(m.reason, l.reason) AS reason, w.work, w.unit AS who,
        m.value IS NOT NULL AND m.reason IS NULL AND l.reason IS NULL AS counts
    FROM works AS w
    JOIN measures AS m ON m.work = w.work AND m.name = $measure
    JOIN definitions AS d USING (name)
    LEFT JOIN left_out AS l ON l.work = m.work AND l.measure = m.name
    WHERE w.same_as IS NULL
        AND (CAST($period AS VARCHAR) IS NULL OR coalesce(w.period, 'none') = $period)
        AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
        AND (
            CAST($composer AS VARCHAR) IS NULL
            OR $composer IN (w.composer_name, w.composer, w.unit)
        )
        AND (CAST($collection AS VARCHAR) IS NULL OR w.collection = $collection)
)
SELECT
    composer, title, year, year_source, collection, bars, value, unit, reason,
    if(
        counts,
        1 / (
            (count(*) FILTER (counts) OVER (PARTITION BY who))
            * (count(DISTINCT who) FILTER (counts) OVER ())
        ),
        NULL
    ) AS weight,
    work
FROM cell
ORDER BY composer, value NULLS LAST, work
