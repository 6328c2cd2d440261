-- The works of the wanted files, each with the shard that holds its rows.
CREATE TEMP TABLE chosen AS
SELECT work, shard
FROM read_parquet($files)
SEMI JOIN wanted USING (corpus, path, shard)
