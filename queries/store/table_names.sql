-- The tables of a reference.
SELECT table_name AS name FROM duckdb_tables() WHERE NOT internal ORDER BY name;
