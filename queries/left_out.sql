-- Which values count in no norm, since a note lies far outside its instrument, and why?
--
-- Parameters:
--   none
-- Columns:
--   composer VARCHAR          composer as a name; the source for anonymous works
--   title VARCHAR             title of the work
--   measure VARCHAR           name of the measure, as in definitions.name
--   value DOUBLE              its value [unit of the measure]
--   reason VARCHAR            what is wrong
--   work VARCHAR              id of the work
SELECT
    coalesce(w.composer_name, w.unit) AS composer, w.title, l.measure, m.value, l.reason, l.work
FROM left_out AS l
JOIN works AS w USING (work)
LEFT JOIN measures AS m ON m.work = l.work AND m.name = l.measure
ORDER BY composer, w.title, l.work, l.measure
