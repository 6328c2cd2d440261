-- Which works stand behind a percentile: those with about the same value of a measure?
--
-- The percentile is the mid-rank among the works that are asked for, every composer
-- weighing the same; length is not taken into account here, as it is in `compare`.
-- The bars behind a value are in `bars_of_work`.
--
-- Parameters:
--   $value DOUBLE             value to look around [unit of the measure]
--   $measure VARCHAR = 'span' name of the measure, as in definitions.name
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $family VARCHAR = NULL    only this family of ensembles; NULL for all
--   $texture VARCHAR = NULL   only this texture; NULL for all
--   $rows INTEGER = 10        how many of the nearest [rows]
-- Columns:
--   percentile DOUBLE         place among all these works [0-100]
--   value DOUBLE              value of the measure [unit in the next column]
--   unit VARCHAR              unit of the value
--   weight DOUBLE             weight of the work among them [0-1]
--   composer VARCHAR          composer as a name; the source for anonymous works
--   title VARCHAR             title of the work
--   bars INTEGER              length as played [bars]
--   work VARCHAR              id of the work
WITH cohort AS (
    SELECT
        m.value, d.unit, coalesce(w.composer_name, w.unit) AS composer, w.title, w.bars, w.work,
        1 / (
            count(*) OVER (PARTITION BY w.unit) * (count(DISTINCT w.unit) OVER ())
        ) AS weight
    FROM works AS w
    JOIN measures AS m ON m.work = w.work AND m.name = $measure AND m.value IS NOT NULL AND m.reason IS NULL
    JOIN definitions AS d USING (name)
    WHERE w.same_as IS NULL
        AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
        AND (CAST($family AS VARCHAR) IS NULL OR w.family = $family)
        AND (CAST($texture AS VARCHAR) IS NULL OR w.texture = $texture)
),
placed AS (
    SELECT
        *,
        100 * (
            sum(weight) OVER (ORDER BY value) - sum(weight) OVER (PARTITION BY value) / 2
        ) AS percentile
    FROM cohort
),
nearest AS (
    SELECT *
    FROM placed
    ORDER BY abs(value - CAST($value AS DOUBLE)), work
    LIMIT CAST($rows AS INTEGER)
)
SELECT percentile, value, unit, weight, composer, title, bars, work
FROM nearest
ORDER BY value, work
