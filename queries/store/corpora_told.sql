-- How many works, composers and unread files each corpus has in a reference.
SELECT
    w.corpus, count(*) AS works, count(*) FILTER (w.same_as IS NULL) AS counted,
    count(DISTINCT w.unit) AS composers, any_value(coalesce(f.failed, 0)) AS failed
FROM works AS w
LEFT JOIN (SELECT corpus, count(*) AS failed FROM failures GROUP BY corpus) AS f USING (corpus)
GROUP BY w.corpus
ORDER BY w.corpus;
