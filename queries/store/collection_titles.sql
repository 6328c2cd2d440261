-- Names of the collections for people.
SELECT corpus AS collection, coalesce(title, corpus) AS title FROM corpora ORDER BY 1;
