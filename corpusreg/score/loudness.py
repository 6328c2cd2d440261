"""Loudness of notes from played velocities, dynamic marks and hairpins.

Conventions
-----------
loudness  in (0, 1], velocity / 127. Marks rise strictly from ppp to fff in
          steps of 16 velocities around mf = 80 (no standard mapping exists;
          common practice, no source). MusicXML 4.0 puts forte at 90; the steps
          here are even so that a hairpin of one mark is the same everywhere.
hairpin   a straight line from the level at its beginning to the next mark, or,
          where no mark follows within a bar, to one step louder or softer.
unmarked  mezzo-forte, and the caller is told that dynamics are not known.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corpusreg.score.notes import Dynamic

__all__ = ["MARKS", "UNMARKED", "levels"]

MARKS = {
    "pppp": 8, "ppp": 16, "pp": 32, "p": 48, "mp": 64, "mf": 80, "f": 96,
    "ff": 112, "fff": 122, "ffff": 127, "fp": 48, "sfp": 48, "sfpp": 32, "pf": 96,
}  # fmt: skip
_STEP = 16
UNMARKED = MARKS["mf"] / 127


def levels(
    dynamics: Sequence[Dynamic],
    part: NDArray[np.int16],
    staff: NDArray[np.int16],
    onset: NDArray[np.int64],
    bar_ticks: int,
) -> NDArray[np.float64]:
    """Loudness of each note by the marks in force in its part, shape (n,), in (0, 1].

    A mark given at one staff holds for the whole part (it stands between the
    staves of a keyboard part), unless another staff has a mark of its own at
    the same moment. `bar_ticks` is how far a hairpin looks for its goal.
    """
    result = np.full(len(onset), UNMARKED)
    for number in {d.part for d in dynamics}:
        own = [d for d in dynamics if d.part == number]
        staves = {d.staff for d in own}
        in_part = part == number
        for each in np.unique(staff[in_part]) if len(staves) > 1 else [0]:
            rows = in_part & (staff == each) if each else in_part
            lines = _lines([d for d in own if _holds(d, int(each), own)], bar_ticks)
            result[rows] = _at(lines, onset[rows])
    return result


def _holds(dynamic: Dynamic, staff: int, own: Sequence[Dynamic]) -> bool:
    if staff == 0 or dynamic.staff in (0, staff):
        return True
    return not any(d.staff == staff and d.tick == dynamic.tick for d in own)


def _velocity(dynamic: Dynamic) -> float | None:
    if dynamic.velocity is not None:
        return dynamic.velocity
    return MARKS.get(dynamic.mark)


def _lines(own: Sequence[Dynamic], bar_ticks: int) -> list[tuple[int, float, float, int]]:
    """Pieces (from tick, velocity there, change per tick, up to tick) in order of time."""
    ordered = sorted(own, key=lambda d: (d.tick, d.kind != "mark"))
    marks = [
        (d.tick, v) for d in ordered if d.kind == "mark" and (v := _velocity(d)) is not None
    ]
    lines: list[tuple[int, float, float, int]] = []
    level = float(MARKS["mf"])
    for dynamic in ordered:
        start = dynamic.tick
        if lines:
            before, value, slope, stop = lines[-1]
            level = value + slope * (min(start, stop) - before)
        if dynamic.kind == "mark":
            given = _velocity(dynamic)
            if given is not None:
                lines.append((start, given, 0.0, start))
            continue
        end = dynamic.end if dynamic.end is not None else start
        sign = 1 if dynamic.kind == "cresc" else -1
        # A mark that stands inside the hairpin is where it leads, and ends it.
        reach = (m for m in marks if start < m[0] <= max(end, start) + bar_ticks)
        at, goal = next(reach, (end, level))
        if (goal - level) * sign <= 0:
            at, goal = end, min(max(level + sign * _STEP, 1.0), 127.0)
        end = min(end, at)
        if end > start:
            lines.append((start, level, (goal - level) / (end - start), end))
    return lines


def _at(
    lines: Sequence[tuple[int, float, float, int]], ticks: NDArray[np.int64]
) -> NDArray[np.float64]:
    if not lines:
        return np.full(len(ticks), UNMARKED)
    start, value, slope, stop = (
        np.asarray(column, float) for column in zip(*lines, strict=True)
    )
    index = np.searchsorted(start, ticks, side="right") - 1
    known = index >= 0
    at = np.maximum(index, 0)
    velocity = value[at] + slope[at] * (np.minimum(ticks, stop[at]) - start[at])
    return np.where(known, np.clip(velocity, 1, 127) / 127, UNMARKED)
