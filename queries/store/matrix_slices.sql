-- The first and the last work of every slice in which the matrix is made.
SELECT min(work) AS first, max(work) AS last
FROM (
    SELECT work, (row_number() OVER (ORDER BY work) - 1) // $size AS slice
    FROM works WHERE same_as IS NULL
)
GROUP BY slice
ORDER BY slice;
