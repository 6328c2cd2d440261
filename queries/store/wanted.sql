-- Which rows of the shards a reference takes: the files wanted, each with the
-- shard that holds it.
CREATE TEMP TABLE wanted AS
SELECT
    unnest($corpora::VARCHAR[]) AS corpus,
    unnest($paths::VARCHAR[]) AS path,
    unnest($shards::VARCHAR[]) AS shard
