-- Does a line turn after a skip, and does it turn because of the skip?
--
-- Skips of 3 semitones or more in the line of each part, by where they land: if lines turn
-- only because they come back to their middle, they turn after skips that lead away from it
-- or across it, and not after skips that lead toward it (von Hippel and Huron 2000, Music
-- Perception 18(1):59-85). Every composer or source counts the same.
--
-- Parameters:
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $instrument VARCHAR = NULL  only this instrument or voice; NULL for all
--   $least INTEGER = 20       fewest skips a composer must have [skips]
-- Columns:
--   place VARCHAR             where the skip lands beside the median of the line
--   skips BIGINT              skips that are followed by another note than their own [skips]
--   units BIGINT              composers and sources with enough of them [composers]
--   turning DOUBLE            share after which the line turns, mean of them [0-1]
--   low DOUBLE                lower end of its 95 % interval [0-1]
--   high DOUBLE               upper end of it [0-1]
WITH by_unit AS (
    SELECT w.unit, s.place, sum(s.turned) AS turned, sum(s.turned + s.went_on) AS times
    FROM works AS w
    JOIN parts AS p USING (work)
    JOIN skips AS s USING (work, part)
    WHERE w.same_as IS NULL
        AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
        AND (CAST($instrument AS VARCHAR) IS NULL OR p.instrument = $instrument)
    GROUP BY w.unit, s.place
    HAVING sum(s.turned + s.went_on) >= CAST($least AS INTEGER)
)
SELECT
    place,
    CAST(sum(times) AS BIGINT) AS skips,
    count(*) AS units,
    avg(turned / times) AS turning,
    greatest(avg(turned / times) - 1.96 * stddev_samp(turned / times) / sqrt(count(*)), 0) AS low,
    least(avg(turned / times) + 1.96 * stddev_samp(turned / times) / sqrt(count(*)), 1) AS high
FROM by_unit
GROUP BY place
ORDER BY turning DESC, place
