-- From values of features to their scores in a rung.
SELECT feature, value, score FROM profile_scales WHERE rung = $rung ORDER BY feature, value;
