-- The rows of the matrix, what a comparison reads: one for every work that counts, one column
-- for every measure that may be placed. unit_number numbers the units. For the works from
-- first up to the last: in slices, so that any number of works fits in the memory of a build.
WITH wide AS (
    SELECT work, {measures}
    FROM measures AS m
    ANTI JOIN left_out AS l ON l.work = m.work AND l.measure = m.name
    WHERE m.reason IS NULL AND m.work BETWEEN $first AND $last
    GROUP BY work
)
SELECT
    w.work, w.corpus, w.collection, w.composer, w.unit, u.unit_number,
    w.period, w.year, w.ensemble, w.family, w.texture, w.genre, w.tier,
    w.fingerprint, w.bars, w.voices, wide.* EXCLUDE (work)
FROM works AS w
JOIN unit_numbers AS u ON u.unit = w.unit
LEFT JOIN wide ON wide.work = w.work
WHERE w.same_as IS NULL AND w.work BETWEEN $first AND $last
ORDER BY w.work;
