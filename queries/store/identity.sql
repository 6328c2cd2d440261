-- What a reference is made of, for its id: the works and failures with the
-- hashes of their files.
SELECT corpus, path, number, content FROM works
UNION ALL
SELECT corpus, path, number, content FROM failures
ORDER BY ALL
