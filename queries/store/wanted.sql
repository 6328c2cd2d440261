-- Which rows of the shards a reference takes: the files wanted, each with the
-- shard that holds it, and their works.
CREATE TEMP TABLE wanted (corpus VARCHAR, path VARCHAR, shard VARCHAR)
