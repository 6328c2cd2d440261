-- The works of a rung, and the hashes of their files.
SELECT work, content
FROM (SELECT work FROM matrix WHERE {conditions})
JOIN works USING (work)
ORDER BY work;
