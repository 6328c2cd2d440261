-- Which works are at the two ends of a measure?
--
-- Parameters:
--   $measure VARCHAR = 'span' name of the measure, as in definitions.name
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $rows INTEGER = 5         how many at each end [rows]
-- Columns:
--   place VARCHAR             lowest or highest
--   value DOUBLE              value of the measure [unit in the next column]
--   unit VARCHAR              unit of the value
--   composer VARCHAR          composer as a name
--   title VARCHAR             title of the work
--   ensemble VARCHAR          ensemble of the work
--   bars INTEGER              length as played [bars]
--   work VARCHAR              id of the work
WITH placed AS (
    SELECT
        m.value, d.unit, w.composer_name AS composer, w.title, w.ensemble, w.bars, w.work,
        row_number() OVER (ORDER BY m.value, w.work) AS from_below,
        row_number() OVER (ORDER BY m.value DESC, w.work) AS from_above
    FROM measures AS m
    JOIN definitions AS d USING (name)
    JOIN works AS w USING (work)
    WHERE m.name = $measure
        AND m.value IS NOT NULL
        AND m.reason IS NULL
        AND w.same_as IS NULL
        AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
)
SELECT
    CASE WHEN from_below <= CAST($rows AS INTEGER) THEN 'lowest' ELSE 'highest' END AS place,
    value, unit, composer, title, ensemble, bars, work
FROM placed
WHERE from_below <= CAST($rows AS INTEGER) OR from_above <= CAST($rows AS INTEGER)
ORDER BY value, work
