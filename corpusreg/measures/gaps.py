"""Gaps: wide empty spaces inside the texture, judged moment by moment.

Definition
----------
Doublings are merged first: two notes an octave apart that are struck together are one
line. Between neighbouring lines lies
a gap when GAP semitones or more are empty, or GAP_AT_BASS between the lowest two, where
an octave is ordinary spacing. Notes below the highest hand count as held to the end of
their bar: the bass note and the chords of an accompaniment are one sound, whatever is
struck in turn.

A gap is kept where it fills KEPT of the time of BARS bars or more; the share of such time
in all the time that sounds is the measure. It is an event where more than an
octave stays empty in all of its bars, and the notes round that space are told.
Bars pooled as a whole would call two hands in bare octaves a gap, and a waltz none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events import Event
from corpusreg.measures.ground import Ground
from corpusreg.measures.texture import PITCHES, sounding

__all__ = ["gaps"]

GAP = 13  # semitones
GAP_AT_BASS = 19
EMPTY = 13  # semitones between the notes round the space that stays empty
BARS = 2
KEPT = 0.75  # of the sounding time of a bar
FEW = 50  # lines that sound for a smaller part of the time are a few chords in a line
LONG, WIDE = 16.0, 36.0  # bars and semitones that count in full

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Gaps:
    """hollow: share of each played bar in which there is a kept gap, shape (bars,).

    share: of all sounding time. lines: most lines that sound at once, doublings merged,
    for a fiftieth of the time or more.
    """

    hollow: Floats
    share: float
    lines: int
    events: tuple[Event, ...]


def gaps(here: Ground) -> Gaps:
    """Gaps of a texture and the number of its lines."""
    row, _ = _spaces(here, here.sounds)
    lines = here.any + np.bincount(row, minlength=len(here.any))
    most = _most(lines, here.lasts)
    hollow = np.zeros(len(here.any), bool)
    if most > 1:
        row, wide = _spaces(here, _held(here))
        lowest = np.append(True, row[1:] != row[:-1])
        hollow[row[wide >= np.where(lowest, GAP_AT_BASS, GAP)]] = True
    return _kept(here, hollow, most)


def _spaces(here: Ground, sounds: Bools) -> tuple[Ints, Ints]:
    """Moment and semitones of every space between neighbouring lines, lowest first."""
    row, pitch = np.nonzero(sounds)
    same = np.append(row[1:] == row[:-1], False)
    wide = np.where(same, np.append(np.diff(pitch), 0), 0)
    opens = same & ~_doubled(here, row, pitch, wide)
    return row[opens], wide[opens]


def _most(lines: Ints, lasts: Floats) -> int:
    """Most lines at once, for a fiftieth of the sounding time or more."""
    time = np.bincount(lines, weights=lasts, minlength=2)
    time[0] = 0.0
    enough = np.cumsum(time[::-1])[::-1] >= time.sum() / FEW
    return int(np.flatnonzero(enough).max(initial=1))


def _held(here: Ground) -> Bools:
    """Which pitches sound at each moment, those below the highest hand held to the barline."""
    notes, bars = here.notes, here.bars
    time = np.bincount(here.hand, weights=notes.duration)
    mean = np.bincount(here.hand, weights=notes.duration * notes.pitch) / np.maximum(time, 1)
    below = here.hand != int(mean.argmax())
    bar_end = (bars.start + bars.length)[notes.bar]
    stop = np.searchsorted(here.moments, bar_end)
    stop = np.where(below, np.maximum(here.stop, np.minimum(stop, len(here.sounds))), here.stop)
    held = sounding(here.first, stop, notes.pitch, len(here.sounds))
    return np.asarray(held & here.any[:, None])


def _doubled(here: Ground, row: Ints, pitch: Ints, wide: Ints) -> Bools:
    """Whether each pitch and the next higher one are one line in octaves."""
    doubled = wide == 12
    octaves = np.flatnonzero(doubled)
    if len(octaves):
        base, top = int(here.notes.pitch.min()), int(here.notes.pitch.max())
        row, lower = row[octaves], pitch[octaves] - base
        begins = np.full((top - base + 1, len(here.any)), -1, np.int32)
        begins[here.notes.pitch - base, here.first] = here.first
        np.maximum.accumulate(begins, axis=1, out=begins)
        doubled[octaves] = begins[lower, row] == begins[lower + 12, row]
    return np.asarray(doubled)


def _kept(here: Ground, hollow: Bools, lines: int) -> Gaps:
    bars = len(here.bars)
    bar = here.bar[:-1]
    lasts = here.lasts
    sounding = np.bincount(bar, weights=lasts * here.any, minlength=bars)
    empty = np.bincount(bar, weights=lasts * hollow, minlength=bars)
    share = np.divide(empty, sounding, out=np.zeros(bars), where=sounding > 0)
    heard = np.zeros((bars, PITCHES), bool)
    notes = here.notes
    heard[notes.bar, notes.pitch] = True
    carried = here.bar[np.maximum(here.stop - 1, here.first)]
    for index in np.flatnonzero(carried > notes.bar).tolist():
        heard[notes.bar[index] : carried[index] + 1, notes.pitch[index]] = True
    found: list[Event] = []
    wide = share >= KEPT
    beside = np.append(False, wide[:-1]) | np.append(wide[1:], False)
    kept = np.where(wide & beside, share, 0.0)
    first = 0
    while first < bars:
        if not wide[first]:
            first += 1
            continue
        last, space = _passage(share, heard, first)
        if space is not None and last - first >= BARS:
            found.append(_event(here, first, last, space))
        first = max(last, first + 1)
    total = float(sounding.sum())
    return Gaps(
        kept, float((kept * sounding).sum() / total) if total else 0.0, lines, tuple(found)
    )


def _passage(share: Floats, heard: Bools, first: int) -> tuple[int, tuple[int, int] | None]:
    """End of the passage that begins in a bar, and the notes round what stays empty."""
    union = np.zeros(PITCHES, bool)
    space = None
    last = first
    while last < len(share) and share[last] >= KEPT:
        union |= heard[last]
        used = np.flatnonzero(union)
        wide = np.diff(used)
        if not len(wide) or wide.max() < EMPTY:
            break
        at = int(wide.argmax())
        found = (int(used[at]), int(used[at + 1]))
        inside = heard[first : last + 1]
        # Both sides must sound in every bar: what goes up has not left a gap behind.
        if not (
            inside[:, : found[0] + 1].any(axis=1) & inside[:, found[1] :].any(axis=1)
        ).all():
            break
        space = found
        last += 1
    return last, space


def _event(here: Ground, first: int, last: int, space: tuple[int, int]) -> Event:
    low, high = space
    length = float(last - first)
    return Event(
        "gap",
        None,
        first,
        last,
        first,
        1.0,
        space,
        low,
        high,
        max(min(length / LONG, 1.0) * min((high - low) / WIDE, 1.0), 1e-3),
        lasts=length,
        interval=high - low,
        section=bool(here.bars.section[first]),
    )
