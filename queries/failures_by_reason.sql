-- What could not be read or measured, and why?
--
-- Parameters:
--   none
-- Columns:
--   corpus VARCHAR            corpus
--   stage VARCHAR             read, measure, time, memory or crash
--   reason VARCHAR            what went wrong, without file, bar and other numbers
--   failures BIGINT           files and works that failed so [rows]
--   example VARCHAR           path of one of them
SELECT
    corpus, stage,
    regexp_replace(replace(reason, path, 'the file'), '[0-9]+', 'N', 'g') AS reason,
    count(*) AS failures,
    min(path) AS example
FROM failures
GROUP BY ALL
ORDER BY failures DESC, corpus, stage, reason
