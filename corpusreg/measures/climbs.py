"""Climbs and descents of the outer lines, and wedges: what slowly moves.

Definition
----------
An outer line climbs (descends) when within BARS bars it moves SIZE semitones or more so that

- it begins on the lowest and ends on the highest place of the way, and never turns back by
  more than BACK semitones,
- from beat to beat its outermost note rises by a fifth at most (STEP),
- the pitches that the line touches on the way fill the space between its ends: no hole
  wider than a third (FILLED). An arpeggio or a cadence by fifths is no climb.
- it ends within a tone (NEAR) of the highest place of that line in the work so far.

In a wedge both outer lines move at once, apart or together, for SIDE semitones or more each
and SIZE or more in all, from bar to bar without turning back by more than NEAR, within BARS
bars.

Where ways overlap, the longest in semitones counts, then the shortest in bars.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events_model import Event, Kind
from corpusreg.measures.outer_lines import SILENT, Moments

__all__ = ["climbs"]

BARS = 8
SIZE = 12  # semitones
STEP = 7
BACK = 7
FILLED = 4
NEAR = 2

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

_NOWHERE = -1000


def climbs(here: Moments) -> list[Event]:
    """Climbs and descents of the upper and the lower line, in order of time."""
    found: list[Event] = []
    lines = [("top", here.highest, 1)]
    if not here.single_line:
        lines.append(("bottom", here.lowest, -1))
    for name, line, outer in lines:
        beats, bar, peak = _by_beat(here, line, outer)
        for sign in (1, -1):
            ways = _ways(here, line, beats, bar, sign * peak, sign)
            found += [_event(here, line, name, sign, *way) for way in ways]
    return sorted(found, key=lambda event: (event.bar, event.beat, event.low))


def _by_beat(here: Moments, line: Ints, outer: int) -> tuple[Ints, Ints, Ints]:
    """First moments, bars and outermost pitches of the beats in which the line sounds."""
    starts, beat_bar = here.beats
    value = np.where(line == SILENT, _NOWHERE, outer * line)
    full = np.flatnonzero(starts[1:] > starts[:-1])
    most = np.maximum.reduceat(value, starts[full])
    sounds = most > _NOWHERE
    return starts[full[sounds]], beat_bar[full[sounds]], outer * most[sounds]


def _ways(
    here: Moments, line: Ints, beats: Ints, bar: Ints, height: Ints, sign: int
) -> list[tuple[int, int, list[int]]]:
    """Beats (as first moments) of beginning and arrival, and the pitches on the way."""
    if int(height.max()) - int(height.min()) < SIZE:
        return []
    begin, arrive = _candidates(bar, height)
    furthest = height[arrive] >= np.maximum.accumulate(height)[arrive] - NEAR
    begin, arrive = begin[furthest], arrive[furthest]
    size, took = height[arrive] - height[begin], bar[arrive] - bar[begin]
    starts, pitches = [*beats.tolist(), len(line)], (sign * line).tolist()
    found: list[tuple[int, int, list[int]]] = []
    taken: list[tuple[int, int]] = []
    order = np.lexsort((begin, took, -size))
    for a, b in zip(begin[order].tolist(), arrive[order].tolist(), strict=True):
        if any(a <= last and first <= b for first, last in taken):
            continue
        low, high = int(height[a]), int(height[b])
        touched = sorted({p for p in pitches[starts[a] : starts[b + 1]] if low <= p <= high})
        if all(above - below <= FILLED for below, above in pairwise(touched)):
            taken.append((a, b))
            found.append((starts[a], starts[b], sorted(sign * p for p in touched)))
    return found


def _candidates(bar: Ints, height: Ints) -> tuple[Ints, Ints]:
    """Beginnings and arrivals of ways up, as indices of beats."""
    count = len(height)
    reach = np.searchsorted(bar, bar + BARS) - np.arange(count)  # beats within BARS bars
    width = int(reach.max(initial=1))
    at = np.arange(count)[:, None] + np.arange(width)
    inside = np.arange(width) < reach[:, None]
    way = np.where(inside, height[np.minimum(at, count - 1)], _NOWHERE)
    top = np.maximum.accumulate(way, axis=1)
    good = inside & (way >= way[:, :1]) & (top - way <= BACK)
    good[:, 1:] &= np.diff(way, axis=1) <= STEP
    good = np.logical_and.accumulate(good, axis=1)
    good &= (way == top) & (way - way[:, :1] >= SIZE)
    good[:, 1:] &= way[:, 1:] > top[:, :-1]
    begin, ahead = np.nonzero(good)
    return begin, begin + ahead


def _event(
    here: Moments, line: Ints, name: str, sign: int, begin: int, arrive: int, touched: list[int]
) -> Event:
    """The climb between two beats, from the note it begins on to the one it ends on."""
    low, high = touched[0], touched[-1]
    end = high if sign > 0 else low
    at = arrive + int(np.flatnonzero(line[arrive:] == end)[0])
    first, bar = int(here.bar[begin]), int(here.bar[at])
    kind: Kind = "climb" if sign > 0 else "descent"
    lasts = bar - first + 1
    size = high - low
    return Event(
        kind=kind,
        part=None,
        first=first,
        last=bar + 1,
        bar=bar,
        beat=here.beat_at(int(here.times[at]), bar),
        pitches=tuple(touched),
        low=low,
        high=high,
        strength=size / (size + SIZE),
        lasts=float(lasts),
        distance=float(size),
        direction="up" if sign > 0 else "down",
        steps=len(touched) - 1,
        by=name,
    )
