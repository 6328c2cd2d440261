-- The centres of the profiles of a rung.
SELECT profile, feature, value FROM profile_centres WHERE rung = $rung ORDER BY profile, feature;
