-- How much a reference holds, for its data sheet.
SELECT
    (SELECT count(*) FROM works) AS works,
    (SELECT count(*) FROM matrix) AS counted,
    (SELECT count(*) FROM failures) AS failures,
    (SELECT count(DISTINCT work) FROM left_out) AS left_out,
    (SELECT count(DISTINCT unit) FROM works WHERE composer IS NOT NULL OR starts_with(unit, 'name:'))
        AS composers;
