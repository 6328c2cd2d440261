-- Passages that show one kind of event or habit, the strongest of each work, strongest first:
-- at most so many of a unit, and none that is much fainter than the strongest.
--
-- The demand, 0 to 1, is how much a work asks: the mean of two ranks among works for the same
-- ensemble, of the widest part's range and of the notes a bar and player. A change is shown
-- with the written bar before it, and none is taken from an upbeat and the first bar, nor
-- from scores without barlines. A part that is encoded as read, or whose mean lies $misread
-- semitones or more from where parts for its instrument have theirs, is at no edge: its clef
-- or its transposition is rather to be doubted.
WITH ranges AS (
    SELECT work, max(highest - lowest) AS range
    FROM parts
    GROUP BY work
),
asked AS (
    SELECT
        w.*,
        (percent_rank() OVER (PARTITION BY w.ensemble ORDER BY r.range)
            + percent_rank() OVER (
                PARTITION BY w.ensemble
                ORDER BY w.notes / greatest(w.bars, 1) / greatest(w.parts, 1)
            )) / 2 AS demand
    FROM works AS w
    LEFT JOIN ranges AS r USING (work)
    WHERE w.same_as IS NULL
),
usual AS (
    SELECT instrument, median(mean_pitch) AS middle
    FROM parts
    GROUP BY instrument
),
levels AS (
    SELECT work, stay, max(mean) AS fullest, bool_or(saturated) AS saturated
    FROM saturation
    WHERE stay IS NOT NULL
    GROUP BY work, stay
),
found AS (
    SELECT
        work, part, event AS number, position,
        CASE
            WHEN kind IN ('gap', 'edge', 'pedal_point') THEN position - played + played_first
            WHEN played_last - played_first > 1
                THEN greatest(position - played + played_first, position + 1 - $longest)
            ELSE position - 1
        END AS first,
        CASE
            WHEN kind IN ('gap', 'edge', 'pedal_point')
                THEN position - played + least(played_last, played_first + $longest)
            ELSE position + 1
        END AS last,
        CASE kind WHEN 'pedal_point' THEN played_first ELSE played END AS played, played_first,
        -- A pedal point is told where it ends.
        CASE kind WHEN 'pedal_point' THEN start_bar ELSE bar END AS start_bar,
        CASE kind WHEN 'pedal_point' THEN end_bar ELSE bar END AS end_bar,
        low, high, bars, first_time, again_bar, kind AS event_kind, silence, edge, distance,
        NULL::DOUBLE AS size, direction, NULL AS moved, strength
    FROM events
    WHERE position >= $upbeat AND strength >= $floor AND position - played + played_first >= 0
        AND CASE $kind
            WHEN 'return' THEN kind IN ('withheld_bass', 'withheld_top')
                AND again_bar IS NOT NULL AND part IS NULL
            WHEN 'edge' THEN kind = 'edge'
            ELSE kind = replace($kind, '-', '_') AND part IS NULL AND kind <> 'shift'
        END
    UNION ALL
    SELECT
        work, NULL, shift, position, position - 1, position + 1, NULL, NULL, bar, bar,
        NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, size, direction, "by",
        100 * abrupt * size / (size + 12)
    FROM shifts
    WHERE $kind = 'shift' AND clear AND position >= $upbeat
        AND 100 * abrupt * size / (size + 12) >= $floor
    UNION ALL
    SELECT
        s.work, NULL, s.stay, s.first, s.first, least(s.last, s.first + $longest),
        s.played_first, s.played_first, s.start_bar, s.end_bar, s.low, s.high, s.bars, NULL,
        NULL, NULL, NULL, NULL, NULL,
        l.fullest, NULL, NULL, 100 * sqrt(s.bars / (s.bars + 12) * (1 - coalesce(l.fullest, 0.5)))
    FROM stays AS s
    LEFT JOIN levels AS l USING (work, stay)
    WHERE $kind = 'dwell' AND s.part IS NULL AND s.width = 'narrow' AND l.saturated IS NOT TRUE
        AND s.bars >= $least_stay AND ($most_bars IS NULL OR s.bars <= $most_bars)
),
strongest AS (
    SELECT
        f.work, w.corpus, w.path, w.number AS file_number, w.title, w.movement,
        w.composer_name AS composer, w.unit, w.period, w.ensemble, w.tier,
        w.lowest, w.highest, w.bars AS work_bars, w.notes, w.demand, f.part,
        p.name AS part_name, p.instrument,
        f.number, f.position, f.first, f.last, f.played, f.played_first, f.start_bar, f.end_bar, f.low,
        f.high, f.bars, f.first_time, f.again_bar, f.event_kind, f.silence, f.edge, f.distance,
        f.size, f.direction, f.moved, f.strength
    FROM found AS f
    JOIN asked AS w USING (work)
    LEFT JOIN parts AS p ON p.work = f.work AND p.part = f.part
    LEFT JOIN usual AS u ON u.instrument = p.instrument
    LEFT JOIN measures AS m ON m.work = f.work AND m.name = $measure
    WHERE ($ensemble IS NULL OR w.ensemble = $ensemble)
        -- The low notes of a tune are no bass.
        AND (NOT starts_with($kind, 'withheld') OR w.texture = 'several voices')
        AND ($kind <> 'edge' OR abs(p.mean_pitch - u.middle) < $misread)
        AND ($family IS NULL OR w.family = $family)
        AND ($texture IS NULL OR w.texture = $texture)
        AND ($period IS NULL OR w.period = $period)
        AND ($tier IS NULL OR w.tier = $tier)
        AND ($from_demand IS NULL OR w.demand >= $from_demand)
        AND ($to_demand IS NULL OR w.demand <= $to_demand)
        AND ($least IS NULL OR m.value >= $least)
        AND ($most IS NULL OR m.value <= $most)
        AND (
            $places IS NULL
            OR list_contains($places::VARCHAR[], f.work || ' bar ' || f.start_bar)
        )
    QUALIFY row_number() OVER (
        PARTITION BY f.work, CASE WHEN $places IS NOT NULL THEN f.start_bar END
        ORDER BY f.strength DESC, f.position
    ) = 1
)
SELECT *
FROM strongest
QUALIFY row_number() OVER (PARTITION BY unit ORDER BY strength DESC, work) <= $each
    AND strength >= $faintest * max(strength) OVER ()
ORDER BY strength DESC, work, position;
