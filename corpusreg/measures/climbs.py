"""Climbs and descents of the outer lines, and wedges: what slowly moves.

Definition
----------
An outer line climbs (descends) when within BARS bars it moves SIZE semitones or more so that

- it begins on the lowest and ends on the highest place of the way, and never turns back by
  more than BACK semitones,
- from beat to beat its outermost note rises by a fifth at most (STEP), and so does the line
  from note to note,
- the pitches that the line touches on the way fill the space between its ends: no hole
  wider than a third (FILLED). An arpeggio or a cadence by fifths is no climb.
- from beat to beat it goes at most PATH times as far as from its beginning to its end: a
  bass that leaps from root to root gets lower, and does not descend.
- the hand that sounds its first note sounds its last, and does not rest for more than a beat
  between: what another player takes over, or a new phrase begins, is not one line. Nor is
  what goes on after a repeat sign.
- it ends within a tone (NEAR) of the highest place of that line in the work so far.

In a wedge both outer lines move at once, apart or together, for SIDE semitones or more each
and WEDGE or more in all, over WEDGE_BARS bars or more and BARS at most. Neither turns back by
more than NEAR, each begins and ends at the two ends of its way, and each fills it.

Where ways overlap, the longest in semitones counts, then the shortest in bars.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events import Event, Kind
from corpusreg.measures.outer_lines import SILENT, Moments

__all__ = ["climbs", "wedges"]

BARS = 8
SIZE = 12  # semitones
STEP = 7
BACK = 7
FILLED = 4
PATH = 2.7
NEAR = 2
SIDE = 5
WEDGE = 14
WEDGE_BARS = 2

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
            for begin, arrive, touched in _ways(here, line, beats, bar, sign * peak, sign):
                if name == "bottom" and _in_octaves(here, begin, arrive):
                    continue  # the upper line has said it
                found.append(_event(here, line, name, sign, begin, arrive, touched))
    return sorted(found, key=lambda event: (event.bar, event.beat, event.low))


def _in_octaves(here: Moments, begin: int, arrive: int) -> bool:
    """Whether both outer lines are one line in octaves between two moments."""
    apart = (here.highest - here.lowest)[begin : arrive + 1] % 12 > 0
    lasting = here.lasting[begin : arrive + 1]
    return bool((apart * lasting).sum() <= lasting.sum() / 10)


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
    gone = np.concatenate(([0], np.cumsum(np.abs(np.diff(height)))))
    straight = gone[arrive] - gone[begin] <= PATH * size
    begin, arrive, size, took = (each[straight] for each in (begin, arrive, size, took))
    starts, pitches = [*beats.tolist(), len(line)], (sign * line).tolist()
    hand = here.hand
    found: list[tuple[int, int, list[int]]] = []
    taken: list[tuple[int, int]] = []
    order = np.lexsort((begin, took, -size))
    for a, b in zip(begin[order].tolist(), arrive[order].tolist(), strict=True):
        if any(a <= last and first <= b for first, last in taken):
            continue
        touched = _touched(pitches[starts[a] : starts[b + 1]], int(height[a]), int(height[b]))
        if touched and _one_line(here, pitches, starts[a], starts[b]):
            ends = [
                _struck(here, hand, starts[at], starts[at + 1], sign * int(height[at]))
                for at in (a, b)
            ]
            own = [hand == each for each in ends[0] & ends[1]]
            if any(_keeps_on(here, rows, starts[a], starts[b]) for rows in own):
                taken.append((a, b))
                first = _turn(pitches[starts[a] : starts[a + 1]], int(height[a]))
                touched = [pitches[starts[a] + first], *touched]
                found.append(
                    (starts[a] + first, starts[b], sorted({sign * p for p in touched}))
                )
    return found


def _one_line(here: Moments, pitches: list[int], begin: int, arrive: int) -> bool:
    """Whether a line goes on through the page, and without a leap in its own direction."""
    own = [pitch for pitch in pitches[begin : arrive + 1] if abs(pitch) != abs(SILENT)]
    written = here.bars.written[here.bar[begin] : here.bar[arrive] + 1]
    return bool((np.diff(written) == 1).all() and max(np.diff(own), default=0) <= STEP)


def _turn(pitches: list[int], height: int) -> int:
    """The moment of the first beat from which the line goes its way: its last low point."""
    low = min((pitch for pitch in pitches if 0 <= height - pitch <= STEP), default=height)
    return max((at for at, pitch in enumerate(pitches) if pitch == low), default=0)


def _struck(here: Moments, hand: Ints, first: int, last: int, pitch: int) -> set[int]:
    """The hands that sound a pitch in moments first to last (half-open)."""
    notes = here.notes
    there = (notes.onset < here.times[last]) & (here.ends > here.times[first])
    return set(hand[there & (notes.pitch == pitch)].tolist())


def _keeps_on(here: Moments, own: Bools, begin: int, arrive: int) -> bool:
    """Whether notes leave no rest of more than a felt beat between two moments."""
    notes = here.notes
    end = notes.onset + notes.written
    rows = own & (end > here.times[begin]) & (notes.onset <= here.times[arrive])
    rest = notes.onset[rows][1:] - np.maximum.accumulate(end[rows])[:-1]
    return bool((rest <= here.bars.beat[here.bar[begin]]).all())


def _touched(pitches: list[int], low: int, high: int) -> list[int]:
    """Pitches between two, lowest first; none where they leave a hole."""
    touched = sorted({pitch for pitch in pitches if low <= pitch <= high})
    holes = any(above - below > FILLED for below, above in pairwise(touched))
    return [] if holes else touched


def _candidates(bar: Ints, height: Ints) -> tuple[Ints, Ints]:
    """Beginnings and arrivals of ways up, as indices of beats."""
    way, good, top = _unbroken(bar, height, BACK)
    good &= way - way[:, :1] >= SIZE
    good[:, 1:] &= way[:, 1:] > top[:, :-1]
    begin, ahead = np.nonzero(good)
    return begin, begin + ahead


def _unbroken(bar: Ints, height: Ints, back: int) -> tuple[Ints, Bools, Ints]:
    """Heights from each beat on, whether a way up may end there, and the highest so far.

    All have shape (beats, most beats in BARS bars).
    """
    count = len(height)
    reach = np.searchsorted(bar, bar + BARS) - np.arange(count)  # beats within BARS bars
    width = int(reach.max(initial=1))
    ahead = np.arange(width)
    # Small numbers, for speed.
    line = np.concatenate((height, np.full(width, _NOWHERE))).astype(np.int16)
    way = line[np.arange(count)[:, None] + ahead]
    way[ahead >= reach[:, None]] = _NOWHERE
    top = np.maximum.accumulate(way, axis=1)
    goes_on = (way >= way[:, :1]) & (top - way <= back)
    goes_on[:, 1:] &= way[:, 1:] - way[:, :-1] <= STEP
    stops = goes_on.argmin(axis=1)  # 0 where it never does: each beat goes on to itself
    return way, (way == top) & (ahead < np.where(stops, stops, width)[:, None]), top


def wedges(here: Moments) -> list[Event]:
    """Wedges of the two outer lines, opening and closing, in order of time."""
    if here.single_line:
        return []
    beats, bar, high = _by_beat(here, here.highest, 1)
    low = _by_beat(here, here.lowest, -1)[2]
    starts = [*beats.tolist(), len(here.highest)]
    lines = here.highest, here.lowest
    found = []
    for sign in (1, -1):
        ways = [_unbroken(bar, line, NEAR) for line in (sign * high, -sign * low)]
        rise = [way - way[:, :1] for way, _, _ in ways]
        good = ways[0][1] & ways[1][1] & (rise[0] + rise[1] >= WEDGE)
        good &= (rise[0] >= SIDE) & (rise[1] >= SIDE)
        begin, ahead = np.nonzero(good)
        size = (rise[0] + rise[1])[begin, ahead]
        took = bar[begin + ahead] - bar[begin] + 1
        taken: list[tuple[int, int]] = []
        for each in np.lexsort((begin, took, -size)).tolist():
            a, b = int(begin[each]), int(begin[each] + ahead[each])
            if took[each] < WEDGE_BARS or any(a <= y and x <= b for x, y in taken):
                continue
            touched = [
                _touched(
                    line[starts[a] : starts[b + 1]].tolist(), *sorted((int(p[a]), int(p[b])))
                )
                for line, p in zip(lines, (high, low), strict=True)
            ]
            if all(touched):
                taken.append((a, b))
                found.append(_wedge(here, starts[a], starts[b], sign, touched))
    return sorted(found, key=lambda event: (event.bar, event.beat, event.low))


def _wedge(
    here: Moments, begin: int, arrive: int, sign: int, touched: list[list[int]]
) -> Event:
    first, bar = int(here.bar[begin]), int(here.bar[arrive])
    size = sum(way[-1] - way[0] for way in touched)
    pitches = sorted({*touched[0], *touched[1]})
    return Event(
        kind="wedge",
        part=None,
        first=first,
        last=bar + 1,
        bar=bar,
        beat=here.beat_at(int(here.times[arrive]), bar),
        pitches=tuple(pitches),
        low=pitches[0],
        high=pitches[-1],
        strength=size / (size + SIZE),
        lasts=float(bar - first + 1),
        distance=float(size),
        direction="opening" if sign > 0 else "closing",
        steps=bar - first + 1,
    )


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
