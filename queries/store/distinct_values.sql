-- The values that a column of a table has.
SELECT DISTINCT "{column}" AS name FROM {table} WHERE "{column}" IS NOT NULL ORDER BY name;
