-- How does each composer use register, few works not being taken for more than they are?
--
-- The mean of a composer's works, and the same drawn toward the mean of all composers, the
-- more the fewer and the more unlike his works are (a one-way random effect by moments;
-- Morris 1983, Journal of the American Statistical Association 78:47-55). A list of
-- composers is no ranking: most intervals overlap.
--
-- Parameters:
--   $measure VARCHAR          measure, as in definitions.name
--   $ensemble VARCHAR         ensemble
--   $least INTEGER = 1        fewest works a composer must have to be listed [works]
-- Columns:
--   composer VARCHAR          composer as a name, or the source of anonymous music
--   works BIGINT              works with a value [works]
--   mean DOUBLE               mean of them [definitions.unit]
--   shrunk DOUBLE             the same drawn toward all composers [definitions.unit]
--   low DOUBLE                lower end of its 95 % interval [definitions.unit]
--   high DOUBLE               upper end of it [definitions.unit]
WITH own AS (
    SELECT coalesce(w.composer_name, w.unit) AS composer, w.unit, m.value
    FROM works AS w
    JOIN measures AS m USING (work)
    WHERE w.same_as IS NULL AND m.name = $measure AND m.value IS NOT NULL AND m.reason IS NULL
        AND w.ensemble = $ensemble
        AND NOT EXISTS (
            SELECT 1 FROM left_out AS l WHERE l.work = w.work AND l.measure = $measure
        )
),
by_unit AS (
    SELECT
        unit, min(composer) AS composer, count(*) AS works, avg(value) AS mean,
        coalesce(var_samp(value), 0) * (count(*) - 1) AS squares
    FROM own
    GROUP BY unit
),
scatter AS (
    SELECT
        sum(squares) / greatest(sum(works) - count(*), 1) AS inside,
        sum(works * (mean - (SELECT avg(value) FROM own)) ** 2) / (count(*) - 1) AS outside,
        (sum(works) - sum(works ** 2) / sum(works)) / (count(*) - 1) AS usual
    FROM by_unit
),
spread AS (
    SELECT inside, greatest((outside - inside) / usual, 0) AS between_units FROM scatter
),
drawn AS (
    SELECT
        b.*, s.inside,
        s.between_units / (s.between_units + s.inside / b.works) AS kept,
        sum(b.mean / (s.between_units + s.inside / b.works)) OVER ()
            / sum(1 / (s.between_units + s.inside / b.works)) OVER () AS middle
    FROM by_unit AS b
    CROSS JOIN spread AS s
)
SELECT
    composer,
    works,
    mean,
    middle + kept * (mean - middle) AS shrunk,
    middle + kept * (mean - middle) - 1.96 * sqrt(kept * inside / works) AS low,
    middle + kept * (mean - middle) + 1.96 * sqrt(kept * inside / works) AS high
FROM drawn
WHERE works >= CAST($least AS INTEGER)
ORDER BY composer
