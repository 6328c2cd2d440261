-- What is stored about one work?
--
-- One row for every fact, in the order: the work, its parts, measures, stays
-- of the whole texture, shifts. `longest_stays` and `extremes` give ids.
--
-- Parameters:
--   $work VARCHAR             id of the work
-- Columns:
--   about VARCHAR             work, part, measure, stay or shift
--   name VARCHAR              which one; bars by their printed numbers
--   value VARCHAR             what is stored [unit in the text]
WITH facts AS (
    SELECT 1 AS kind, 0 AS place, 'work' AS about, unnest([
        'title', 'composer', 'years', 'ensemble', 'licence', 'length', 'compass'
    ]) AS name, unnest([
        title, composer_name, concat_ws('-', year_from, year_to), ensemble,
        concat_ws(': ', tier, statement), bars || ' bars', lowest || '-' || highest || ' (MIDI)'
    ]) AS value
    FROM works
    WHERE work = $work
    UNION ALL
    SELECT 2, part, 'part', name, concat_ws(', ', instrument, lowest || '-' || highest || ' (MIDI)')
    FROM parts
    WHERE work = $work
    UNION ALL
    SELECT 3, 0, 'measure', m.name, coalesce(round(m.value, 3) || ' ' || d.unit, m.reason)
    FROM measures AS m
    JOIN definitions AS d USING (name)
    WHERE m.work = $work
    UNION ALL
    SELECT
        4, stay, 'stay', 'bars ' || start_bar || '-' || end_bar,
        concat_ws(', ', width, round(low, 1) || '-' || round(high, 1) || ' (MIDI)', 'rank ' || rank)
    FROM stays
    WHERE work = $work AND part IS NULL
    UNION ALL
    SELECT
        5, shift, 'shift', 'bar ' || bar,
        concat_ws(', ', direction, round(size, 1) || ' semitones', 'by ' || "by")
    FROM shifts
    WHERE work = $work AND clear
)
SELECT about, name, coalesce(value, 'not known') AS value
FROM facts
ORDER BY kind, place, name
