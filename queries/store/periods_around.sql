-- Works that count and have no period, of all ensembles or of one.
SELECT count(*) AS works
FROM matrix
WHERE period IS NULL AND ($ensemble IS NULL OR ensemble = $ensemble);
