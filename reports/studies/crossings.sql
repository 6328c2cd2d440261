-- The longest crossing of neighbouring players in each string quartet, and who they are.
-- Neighbours by mean height; the lower sounds wholly above the higher for a bar and a half or more.
SELECT w.work, e.players, e.bars, w.composer_name, w.title, w.movement, e.start_bar, e.end_bar
FROM works AS w
JOIN events AS e USING (work)
WHERE w.ensemble = 'string quartet' AND w.same_as IS NULL AND e.kind = 'crossing'
ORDER BY w.work, e.event
