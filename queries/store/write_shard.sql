-- Rows of one table of a shard, with the shard's name, as a Parquet file.
COPY (SELECT *, '{shard}' AS shard FROM {table}) TO '{path}' (FORMAT parquet, COMPRESSION zstd)
