-- One row for every work that counts, one column for every measure that may be
-- placed: what a comparison reads. unit_number numbers the units.
CREATE TABLE matrix AS
WITH wide AS (
    SELECT work, {measures}
    FROM measures AS m
    WHERE m.reason IS NULL
    GROUP BY work
)
SELECT
    w.work, w.corpus, w.collection, w.composer, w.unit,
    CAST(dense_rank() OVER (ORDER BY w.unit) AS INTEGER) AS unit_number,
    w.period, w.year, w.ensemble, w.family, w.texture, w.genre, w.tier,
    w.fingerprint, w.bars, w.voices, wide.* EXCLUDE (work)
FROM works AS w
LEFT JOIN wide ON wide.work = w.work
WHERE w.same_as IS NULL
ORDER BY w.work;
COMMENT ON TABLE matrix IS 'Every work that counts with its measures side by side, as comparisons read them';
