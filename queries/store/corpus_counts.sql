-- Works, composers and unread files of one corpus.
SELECT
    (SELECT count(*) FROM works WHERE corpus = $name) AS works,
    (SELECT count(DISTINCT composer) FROM works WHERE corpus = $name) AS composers,
    (SELECT count(*) FROM failures WHERE corpus = $name) AS failures;
