-- Where do the values of a measure lie, every composer counting the same?
--
-- Weighted quantiles, as `compare` and `table` take them: a composer's works, or those of a
-- source of anonymous music, share one weight. The inverse of the mid-rank, linear between
-- values (type 5 of Hyndman and Fan 1996, American Statistician 50:361-365); its 95 %
-- interval from the spread of the composers' own shares, on the logit scale (Woodruff 1952,
-- Journal of the American Statistical Association 47:635-646). Works that are left out of
-- the norms of a measure are left out here.
--
-- Parameters:
--   $measure VARCHAR          measure, as in definitions.name
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $period VARCHAR = NULL    only this period; NULL for all
-- Columns:
--   share DOUBLE              share of the works below [0-1]
--   value DOUBLE              the quantile [definitions.unit]
--   low DOUBLE                lower end of its interval [definitions.unit]
--   high DOUBLE               upper end of its interval [definitions.unit]
--   works BIGINT              works with a value [works]
--   units BIGINT              composers and sources of anonymous music [composers]
WITH own AS (
    SELECT m.value, w.unit, 1 / count(*) OVER (PARTITION BY w.unit) AS weight
    FROM works AS w
    JOIN measures AS m USING (work)
    WHERE w.same_as IS NULL AND m.name = $measure AND m.value IS NOT NULL AND m.reason IS NULL
        AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
        AND (CAST($period AS VARCHAR) IS NULL OR w.period = $period)
        AND NOT EXISTS (
            SELECT 1 FROM left_out AS l WHERE l.work = w.work AND l.measure = $measure
        )
),
counts AS (SELECT count(*) AS works, count(DISTINCT unit) AS units FROM own),
heaps AS (SELECT value, sum(weight) AS mass FROM own GROUP BY value),
ranks AS (
    SELECT value, (sum(mass) OVER (ORDER BY value) - mass / 2) / sum(mass) OVER () AS middle
    FROM heaps
),
shares AS (SELECT unnest([0.1, 0.25, 0.5, 0.75, 0.9]) AS share),
-- The same interpolation serves a share and the ends of its interval.
steps AS (
    SELECT
        value, middle, lead(value) OVER by_value AS next_value,
        lead(middle) OVER by_value AS next_middle,
        first_value(middle) OVER by_value AS first_middle
    FROM ranks
    WINDOW by_value AS (ORDER BY value)
),
placed AS (
    SELECT
        share,
        (
            SELECT max(
                CASE
                    WHEN next_middle IS NULL OR share <= middle THEN value
                    ELSE value + (next_value - value)
                        * least((share - middle) / (next_middle - middle), 1)
                END
            ) FROM steps WHERE middle <= greatest(share, first_middle)
        ) AS value
    FROM shares
),
by_unit AS (
    SELECT p.share, p.value, o.unit, avg(if(o.value < p.value, 1, if(o.value = p.value, 0.5, 0)))
        AS below
    FROM placed AS p
    CROSS JOIN own AS o
    GROUP BY p.share, p.value, o.unit
),
ends AS (
    SELECT
        share, value,
        1.96 * sqrt(sum((below - share) ** 2) / (count(*) * (count(*) - 1)))
            / (share * (1 - share)) AS reach,
        ln(share / (1 - share)) AS logit
    FROM by_unit
    GROUP BY share, value
    HAVING count(*) > 1
),
sides AS (
    SELECT share, value, side, 1 / (1 + exp(-(logit + side * reach))) AS at
    FROM ends
    CROSS JOIN (VALUES (-1), (1)) AS ends_of(side)
),
bounds AS (
    SELECT
        s.share, s.value, s.side,
        max(
            CASE
                WHEN t.next_middle IS NULL OR s.at <= t.middle THEN t.value
                ELSE t.value + (t.next_value - t.value)
                    * least((s.at - t.middle) / (t.next_middle - t.middle), 1)
            END
        ) AS bound
    FROM sides AS s
    JOIN steps AS t ON t.middle <= greatest(s.at, t.first_middle)
    GROUP BY s.share, s.value, s.side
)
SELECT
    CAST(share AS DOUBLE) AS share,
    value,
    max(bound) FILTER (side = -1) AS low,
    max(bound) FILTER (side = 1) AS high,
    any_value(works) AS works,
    any_value(units) AS units
FROM bounds
CROSS JOIN counts
GROUP BY share, value
ORDER BY share
