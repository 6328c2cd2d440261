-- Edges of every played bar of some works, and the last written bar up to which every bar is
-- known to be played once only, as far as an event or a stay there tells; -1 for none.
WITH heard AS (
    SELECT work, position FROM events WHERE played = position
    UNION ALL
    SELECT work, first FROM stays WHERE played_first = first
)
SELECT e.work, e.low, e.high, coalesce(max(h.position), -1) AS straight
FROM bar_edges AS e
LEFT JOIN heard AS h USING (work)
WHERE list_contains($works::VARCHAR[], e.work)
GROUP BY e.work, e.low, e.high
ORDER BY e.work;
