-- What each composer or source is called, by its number.
SELECT m.unit_number, coalesce(any_value(w.composer_name ORDER BY m.work), m.unit) AS name
FROM matrix AS m
JOIN works AS w ON w.work = m.work
GROUP BY m.unit_number, m.unit
ORDER BY m.unit_number;
