-- Every ensemble that the store's own works have.
SELECT DISTINCT ensemble FROM matrix ORDER BY ALL;
