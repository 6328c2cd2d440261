-- Where the years of the works that count come from.
SELECT coalesce(w.year_source, 'none') AS name, count(*) AS works
FROM matrix AS m
JOIN works AS w USING (work)
GROUP BY ALL
ORDER BY works DESC, name;
