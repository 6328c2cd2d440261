-- Works in which a score is hardly right somewhere, so that values count in no norm.
SELECT DISTINCT work FROM left_out ORDER BY work;
