-- Every rung that was looked at, the ensembles first.
SELECT
    r.rung, g.title, r.works, r.composers, r.tried, r.clear, r.silhouette, r.silhouette_null,
    r.stability, r.stability_null, r.clear_without_length, r.words
FROM profile_rungs AS r
JOIN rungs AS g USING (rung)
ORDER BY g.broad, r.rung;
