-- How much of each work of a cohort sounds in each octave; rows count its works from 0.
WITH chosen AS (
    SELECT work, row_number() OVER (ORDER BY work) - 1 AS place
    FROM matrix
    WHERE {conditions} AND NOT list_contains($leave_out::VARCHAR[], work)
)
SELECT place, band, share
FROM chosen
JOIN band_weights USING (work)
ORDER BY place, band;
