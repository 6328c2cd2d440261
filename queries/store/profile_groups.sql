-- The profiles of a rung.
SELECT profile, size, composers, reach, words FROM profiles WHERE rung = $rung ORDER BY profile;
