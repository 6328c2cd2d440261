-- Where does most happen in the registers: bass withheld, climbs, pedal points, gaps?
--
-- Works of fewer than 4 bars are left out, scores without barlines among them: a bar
-- number says nothing there.
--
-- Parameters:
--   $kind VARCHAR = 'shift'   kind, as in events.kind; NULL for all
--   $ensemble VARCHAR = NULL  only this ensemble; NULL for all
--   $period VARCHAR = NULL    only this period, 'none' for no known year; NULL for all
--   $parts BOOLEAN = false    of single parts, and not of the whole texture
--   $rows INTEGER = 20        how many [rows]
-- Columns:
--   composer VARCHAR          composer as a name; the source for anonymous works
--   title VARCHAR             title of the work
--   ensemble VARCHAR          ensemble of the work
--   part VARCHAR              name of the part; NULL for the whole texture
--   kind VARCHAR              kind, as in events.kind
--   bar VARCHAR               printed number of the bar in which it happens
--   low INTEGER               lowest pitch of the register [MIDI note number]
--   high INTEGER              highest pitch of the register [MIDI note number]
--   silence DOUBLE            silence of the place before; 0 where that is no part of it [bars]
--   bars DOUBLE               how long the new register or the passage lasts [bars]
--   strength DOUBLE           strength within its kind [0-100]
--   work VARCHAR              id of the work
SELECT
    coalesce(w.composer_name, w.unit) AS composer, w.title, w.ensemble,
    coalesce(p.name, 'part ' || (e.part + 1)) AS part, e.kind, e.bar,
    e.low, e.high, e.silence, e.bars, e.strength, w.work
FROM events AS e
JOIN works AS w USING (work)
LEFT JOIN parts AS p ON p.work = e.work AND p.part = e.part
WHERE w.same_as IS NULL
    AND w.bars >= 4
    AND (e.part IS NOT NULL) = CAST($parts AS BOOLEAN)
    AND (CAST($kind AS VARCHAR) IS NULL OR e.kind = $kind)
    AND (CAST($ensemble AS VARCHAR) IS NULL OR w.ensemble = $ensemble)
    AND (CAST($period AS VARCHAR) IS NULL OR coalesce(w.period, 'none') = $period)
ORDER BY e.strength DESC, w.work, e.part, e.event
LIMIT CAST($rows AS INTEGER)
