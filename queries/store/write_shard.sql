-- Rows of one table of a shard, with the shard's name, as a Parquet file.
COPY (SELECT {columns}, '{shard}' AS shard FROM rows) TO '{path}' (FORMAT parquet, COMPRESSION zstd)
