-- How odd the oddest measure of the works of a rung is, at even shares of the works.
SELECT value FROM rung_quantiles WHERE rung = $rung AND measure = 'oddness' ORDER BY q;
