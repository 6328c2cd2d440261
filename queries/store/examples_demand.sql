-- How much a work asks, 0 to 1: mean of two ranks among works for the same ensemble, of the
-- widest part's range and of the notes a bar and player. A part of examples.sql.
(percent_rank() OVER (PARTITION BY w.ensemble ORDER BY r.range)
    + percent_rank() OVER (
        PARTITION BY w.ensemble
        ORDER BY w.notes / greatest(w.bars, 1) / greatest(w.parts, 1)
    )) / 2
