-- How many works lack a measure, and how many have it and stand in no group.
SELECT
    count(*) - count("{measure}") AS valueless,
    count("{measure}") FILTER ("{group}" IS NULL) AS groupless
FROM matrix;
