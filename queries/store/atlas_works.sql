-- Works that count, with what the figures of the atlas group and measure them by.
SELECT work, unit_number, collection, period, ensemble, {measures}
FROM matrix
ORDER BY work;
