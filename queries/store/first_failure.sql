-- The first file that could not be read, and why.
SELECT path, reason FROM failures ORDER BY path LIMIT 1;
