-- The tables of a reference; a packed one shows them as views.
SELECT table_name AS name
FROM duckdb_tables()
WHERE NOT internal AND schema_name = 'main' AND database_name = current_database()
UNION
SELECT view_name
FROM duckdb_views()
WHERE NOT internal AND schema_name = 'main' AND database_name = current_database()
ORDER BY name;
