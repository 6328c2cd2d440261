"""Liftings: a low or high presence that stops while the rest goes on.

Definition
----------
A pitch is present while it sounds in bar after bar, SHORTEST bars or more, in half
of the beats or more: held, repeated, or one of the tones of a figure that rocks. Its
presence lifts at the beat in which it is first missing, when for ABSENT bar

- nothing sounds as low as BESIDE semitones above it (or, for a high presence, as
  high as BESIDE semitones below it),
- the hand that played it is silent, or an octave or more away: a bass that steps to
  its next note has not lifted,
- something else sounds at the moment of the end, and in GOES_ON of the bar after it.

An end at a section's beginning, or within the last bar, is an ordinary ending. A
rest of less than ABSENT bar, as of the bass at a cadence under an upbeat, is none.
Tones that stop within a bar of each other, on one side, are one lifting; the longest
gives its length. Strength: `corpusreg.measures.events`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events import Event, strength, time_heard
from corpusreg.measures.presence import Presence
from corpusreg.score.played import Notes

__all__ = ["lifts"]

SHORTEST = 2.0  # bars
DENSE = 0.5  # of the beats
ABSENT = 1.0  # bars
GOES_ON = 0.75
BESIDE = 2  # semitones
AWAY = 12  # semitones

Ints = NDArray[np.int64]


def lifts(here: Presence) -> list[Event]:
    """All liftings, low and high, in order of time."""
    pitch, start, end = _presences(here)
    found: list[Event] = []
    for low in (True, False):
        rows = _left_alone(here, pitch, start, end, low)
        own = [
            replace(event, low=min(figure), high=max(figure))
            for row in rows.tolist()
            if (event := _lift(here, int(pitch[row]), int(start[row]), int(end[row]), low))
            and (figure := _figure(here, pitch, end, row))
        ]
        found += _merged(own)
    return sorted(found, key=lambda event: (event.first, event.beat, event.side))


def _presences(here: Presence) -> tuple[Ints, Ints, Ints]:
    """Stretches of each pitch without a gap of ABSENT bar: pitch, first slice, slice after."""
    slices = len(here)
    line = np.zeros((here.sounds.shape[1], slices + 1), bool)
    line[:, :slices] = here.sounds.T
    first, last = (
        np.flatnonzero(np.diff(line.ravel(), prepend=False, append=False)).reshape(-1, 2).T
    )
    pitch, first, last = (
        first // (slices + 1),
        first % (slices + 1),
        last - first + first % (slices + 1),
    )
    heard = here.heard
    joined = (pitch[1:] == pitch[:-1]) & (heard[first[1:]] - heard[last[:-1]] < ABSENT - 1e-6)
    begins, ends = np.append(True, ~joined), np.append(~joined, True)
    pitch, first, last = pitch[begins], first[begins], last[ends]
    long = heard[last] - heard[first] >= SHORTEST - 1e-6
    pitch, first, last = pitch[long], first[long], last[long]
    present = here.counts[last, pitch] - here.counts[first, pitch]
    dense = present >= DENSE * (last - first)
    return pitch[dense], first[dense], last[dense]


def _left_alone(here: Presence, pitch: Ints, start: Ints, end: Ints, low: bool) -> Ints:
    """Rows after which the texture has nothing near, and goes on."""
    after = here.after(end)
    inside = (end < len(here)) & (here.heard[after] - here.heard[end] >= ABSENT - 1e-6)
    rows = np.flatnonzero(inside)
    sounds = here.between(end[rows], after[rows])
    numbers = np.arange(sounds.shape[1])
    beside = pitch[rows, None]
    near = numbers <= beside + BESIDE if low else numbers >= beside - BESIDE
    rows = rows[~(sounds & near).any(axis=1)]
    silent = ~here.sounds[end[rows]].any(axis=1)
    section = here.bars.section[here.beat_bar[end[rows]]]
    section &= end[rows] == np.searchsorted(here.beat_bar, here.beat_bar[end[rows]])
    return rows[~silent & ~section]


def _figure(here: Presence, pitch: Ints, end: Ints, row: int) -> list[int]:
    """The pitches that rock with one, within an octave, and end within a bar before it."""
    back = int(here.before(end[row : row + 1])[0])
    own = (end > back) & (end <= end[row]) & (np.abs(pitch - pitch[row]) <= AWAY)
    return [int(each) for each in pitch[own]]


def _lift(here: Presence, pitch: int, start: int, end: int, low: bool) -> Event | None:
    after = int(here.after(np.array([end]))[0])
    lasting = here.edges[after] - here.edges[end]
    silent = ~here.sounds[end:after].any(axis=1)
    if np.diff(here.edges)[end:after][silent].sum() > (1 - GOES_ON) * lasting:
        return None
    # Notes are in order of onset, so those that begin in a stretch lie side by side.
    notes = here.notes
    first, stop, last = np.searchsorted(here.first_slice, (start, end, after)).tolist()
    own = first + np.flatnonzero(notes.pitch[first:stop] == pitch)
    # Two players may end together on the pitch: then neither may have stepped on.
    final = own[notes.onset[own] == notes.onset[own[-1]]]
    near = stop + np.flatnonzero(np.abs(notes.pitch[stop:last] - pitch) < AWAY)
    if not _hands(notes, final).isdisjoint(_hands(notes, near)):
        return None
    rest = here.lowest[end:after].min() if low else here.highest[end:after].max()
    # Before its end the others must have been there as well: a line that leaps away
    # from its own long note leaves nobody behind.
    others = np.flatnonzero(here.sounds[end - 1])
    if not (others > pitch + BESIDE if low else others < pitch - BESIDE).any():
        return None
    bars = float(here.heard[end] - here.heard[start])
    weight = _weight(here, own, end)
    felt = strength(time_heard(bars), weight, float(abs(int(rest) - pitch)))
    bar = int(here.beat_bar[end])
    side = "low" if low else "high"
    return Event(
        "lift", bar, bar + 1, here.beat(end), pitch, pitch, round(felt, 3), bars, side=side
    )


def _hands(notes: Notes, rows: Ints) -> set[tuple[int, int]]:
    """Parts and staves of some notes."""
    return set(zip(notes.part[rows].tolist(), notes.staff[rows].tolist(), strict=True))


def _weight(here: Presence, own: Ints, end: int) -> float:
    """Loudness times share of the bar before the end in which the presence sounds."""
    notes = here.notes
    begin = here.edges[int(here.before(np.array([end]))[0])]
    stop = here.edges[end]
    onset, loud = notes.onset[own], notes.loudness[own]
    sounding = np.minimum(onset + notes.duration[own], stop) - np.maximum(onset, begin)
    total = float((np.maximum(sounding, 0) * loud).sum()) / max(int(stop - begin), 1)
    return min(total, float(loud.max()))


def _merged(found: list[Event]) -> list[Event]:
    """Liftings within a bar of each other as one: the longest, outermost and strongest."""
    groups: list[list[Event]] = []
    for event in sorted(found, key=lambda each: (each.first, each.beat)):
        if groups and event.first - groups[-1][-1].first <= 1:
            groups[-1].append(event)
        else:
            groups.append([event])
    return [_one(group) for group in groups]


def _one(group: list[Event]) -> Event:
    return replace(
        group[-1],
        low=min(each.low for each in group if each.low is not None),
        high=max(each.high for each in group if each.high is not None),
        strength=max(each.strength for each in group),
        bars=max(each.bars for each in group),
        pitches=len(group),
    )
