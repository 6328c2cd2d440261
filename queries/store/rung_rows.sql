-- What one table says of a rung.
SELECT * FROM {table} WHERE rung = $rung;
