-- How many works stand under which licence, and on what evidence?
--
-- Columns:
--   corpus VARCHAR            corpus
--   tier VARCHAR              open, permitted, noncommercial or reserved
--   statement VARCHAR         licence statement, as found
--   evidence VARCHAR          where it was found
--   works BIGINT              works under it, copies included [works]
SELECT corpus, tier, statement, evidence, count(*) AS works
FROM works
GROUP BY corpus, tier, statement, evidence
ORDER BY corpus, works DESC, tier, statement, evidence
