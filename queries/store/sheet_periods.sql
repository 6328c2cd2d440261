-- Works that count, composers and collections by period, those without a year last.
SELECT
    coalesce(period, 'no year known') AS name, count(*) AS works,
    count(DISTINCT unit) AS composers, count(DISTINCT collection) AS collections
FROM matrix
GROUP BY period
ORDER BY min(year) NULLS LAST;
