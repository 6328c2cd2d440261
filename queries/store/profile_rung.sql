-- What was found in a rung; no row where it was too small to be looked at.
SELECT words FROM profile_rungs WHERE rung = $rung;
