-- Rows of one table from the shards, in the table's order; `{wanted}` are the
-- files or works to take, `{by}` the columns that name them.
INSERT INTO {table}
SELECT {columns}
FROM read_parquet($files)
SEMI JOIN {wanted} USING ({by}, shard)
ORDER BY {order}
