-- How much of each work that counts sounds in each octave.
SELECT b.work, b.band, b.share
FROM band_weights AS b
JOIN matrix AS m ON m.work = b.work
ORDER BY b.work, b.band;
