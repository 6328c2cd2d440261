-- Every rung that the store's own works stand on.
SELECT DISTINCT ensemble, family, texture FROM matrix ORDER BY ALL;
