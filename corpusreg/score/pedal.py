"""Sustain pedal: notes that sound on after the finger leaves the key.

Conventions: a note whose end falls while the pedal of its part is down sounds on
to the lift, or to the next attack of its pitch in that part, whichever comes
first. A note that ends at the moment the pedal goes down is not caught, since a
pedal changed on the beat damps what was held before it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corpusreg.score.notes import Bars, Pedal

__all__ = ["held_ends", "played_pedals"]

Ints = NDArray[np.int64]


def played_pedals(
    pedals: Sequence[Pedal], bars: Bars, written: Ints, start: Ints
) -> list[Pedal]:
    """Pedals in played ticks, in order of part and time.

    written: shape (n,), index of each played bar in the file; start: shape (n,), its
    first tick as played. A pedal is cut where the order of bars leaves its bars, and
    goes on where the next bar of the page is also the next one heard.
    """
    ends = bars.start + bars.length
    found = []
    for pedal in pedals:
        touched = (bars.start < pedal.end) & (ends > pedal.start)
        run: list[int] | None = None
        previous = -2
        for index in np.flatnonzero(touched[written]).tolist():
            bar = int(written[index])
            move = int(start[index] - bars.start[bar])
            first = max(pedal.start, int(bars.start[bar])) + move
            last = min(pedal.end, int(ends[bar])) + move
            if run is not None and index == previous + 1 and bar == written[previous] + 1:
                run[1] = last
            else:
                run = [first, last]
                found.append((pedal.part, run))
            previous = index
    ordered = sorted((part, first, last) for part, (first, last) in found)
    return [Pedal(*each) for each in ordered]


def held_ends(
    pedals: Sequence[Pedal],
    part: NDArray[np.int16],
    pitch: NDArray[np.int16],
    onset: Ints,
    duration: Ints,
) -> Ints:
    """Where each note ends with the pedal, in ticks, shape (n,); pedals as played."""
    end = onset + duration
    if not pedals:
        return end
    lift = end.copy()
    for number in {pedal.part for pedal in pedals}:
        spans = np.array([(p.start, p.end) for p in pedals if p.part == number], np.int64)
        # The last pedal that went down before the note's end; overlaps count as one.
        furthest = np.maximum.accumulate(spans[:, 1])
        rows = np.flatnonzero(part == number)
        at = np.searchsorted(spans[:, 0], end[rows], side="left") - 1
        caught = at >= 0
        lift[rows[caught]] = np.maximum(end[rows[caught]], furthest[at[caught]])
    again = _next_attack(part, pitch, onset)
    return np.asarray(np.maximum(end, np.minimum(lift, again)), np.int64)


def _next_attack(part: NDArray[np.int16], pitch: NDArray[np.int16], onset: Ints) -> Ints:
    """When each note's pitch is struck again in its part; the largest int64 for never."""
    order = np.lexsort((onset, pitch, part))
    lane = np.stack((part[order], pitch[order]))
    new_lane = np.append(True, (lane[:, 1:] != lane[:, :-1]).any(axis=0))
    moments = new_lane | np.append(True, np.diff(onset[order]) > 0)
    first = np.flatnonzero(moments)
    again = np.where(new_lane[first[1:]], np.iinfo(np.int64).max, onset[order][first[1:]])
    again = np.append(again, np.iinfo(np.int64).max)
    result = np.empty(len(onset), np.int64)
    result[order] = again[np.cumsum(moments) - 1]
    return result
