-- Number of rows of a table and a hash of all of them in their order.
SELECT
    count(*)::BIGINT AS rows,
    coalesce(bit_xor(md5_number(rowid::VARCHAR || to_json(t)::VARCHAR)), 0)::VARCHAR AS hash
FROM {table} AS t
