-- What each rung was made of.
SELECT rung, made_of FROM rungs;
