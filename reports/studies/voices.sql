-- Share of the sung parts of songs that name no voice type [percent].
SELECT 100 * avg(CAST(p.instrument = 'voice' AS INTEGER)) AS share
FROM works AS w
JOIN parts AS p USING (work)
WHERE w.ensemble = 'song' AND w.same_as IS NULL AND p.family = 'voice'
