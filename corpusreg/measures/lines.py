"""Facts about lines and spacing that published findings speak of.

None of these is placed; they are kept in the store so that questions about pitch
height, range and motion can be asked in SQL.

- pitches: how many notes a part has on each pitch.
- steps: how often a part's line moves by each interval (semitones, up positive).
  The line is the highest note of each onset of the part; a rest does not break it.
- part gaps: between two neighbouring parts, at every onset of the work at which
  both sound, the interval from the lower part's top note to the upper part's
  lowest (negative where they cross).
- bass gaps: at every onset of the work, the lowest sounding pitch and the interval
  to the next higher one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corpusreg.played import Notes

__all__ = ["PartGap", "bass_gaps", "part_gaps", "part_pitches", "steps"]

Ints = NDArray[np.int64]
PartGap = tuple[int, int, int, float, float]


def part_pitches(notes: Notes) -> list[tuple[int, int, int]]:
    """(part, pitch, notes) for every pitch that a part plays."""
    keys, count = np.unique(np.stack((notes.part, notes.pitch)), axis=1, return_counts=True)
    return [
        (int(part), int(pitch), int(n)) for (part, pitch), n in zip(keys.T, count, strict=True)
    ]


def steps(notes: Notes) -> list[tuple[int, int, int]]:
    """(part, interval, times) for every interval in a part's line."""
    # Notes are sorted by onset and pitch, so the last of each onset is the highest.
    order = np.argsort(notes.part, kind="stable")
    part, onset, pitch = notes.part[order], notes.onset[order], notes.pitch[order]
    last = np.append((part[1:] != part[:-1]) | (onset[1:] != onset[:-1]), True)
    part, pitch = part[last], pitch[last]
    inside = part[1:] == part[:-1]
    moves = np.stack((part[1:][inside], np.diff(pitch)[inside]))
    if not moves.size:
        return []
    keys, count = np.unique(moves, axis=1, return_counts=True)
    return [(int(p), int(step), int(n)) for (p, step), n in zip(keys.T, count, strict=True)]


def part_gaps(notes: Notes, parts: int) -> list[PartGap]:
    """(upper, lower, onsets, mean, share over an octave) for neighbouring parts."""
    if parts < 2:
        return []
    moments = np.unique(notes.onset)
    edges = [_sounding_edges(notes, part, moments) for part in range(parts)]
    found = []
    for upper in range(parts - 1):
        gap = edges[upper][0] - edges[upper + 1][1]
        gap = gap[np.isfinite(gap)]
        if len(gap):
            over = float((gap > 12).mean())
            found.append((upper, upper + 1, len(gap), float(gap.mean()), over))
    return found


def bass_gaps(notes: Notes) -> list[tuple[int, int, int]]:
    """(bass, gap, onsets) for every lowest pitch and every interval above it."""
    moments = np.unique(notes.onset)
    lowest = np.full(len(moments), np.inf)
    second = np.full(len(moments), np.inf)
    for pitch in np.unique(notes.pitch):
        sounds = _covered(notes, notes.pitch == pitch, moments)
        second[sounds & np.isfinite(lowest) & np.isinf(second)] = pitch
        lowest[sounds & np.isinf(lowest)] = pitch
    both = np.isfinite(second)
    if not both.any():
        return []
    pairs = np.stack((lowest[both], (second - lowest)[both])).astype(np.int64)
    keys, count = np.unique(pairs, axis=1, return_counts=True)
    return [(int(b), int(gap), int(n)) for (b, gap), n in zip(keys.T, count, strict=True)]


def _covered(notes: Notes, rows: NDArray[np.bool_], moments: Ints) -> NDArray[np.bool_]:
    """At which moments some of the rows sound (an onset belongs to its own moment)."""
    size = len(moments) + 1
    begins = np.searchsorted(moments, notes.onset[rows])
    ends = np.searchsorted(moments, (notes.onset + notes.duration)[rows])
    change = np.bincount(begins, minlength=size) - np.bincount(ends, minlength=size)
    return np.asarray(np.cumsum(change)[:-1] > 0)


def _sounding_edges(
    notes: Notes, part: int, moments: Ints
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lowest and highest pitch of a part at each moment, NaN where it is silent."""
    low, high = np.full(len(moments), np.nan), np.full(len(moments), np.nan)
    own = notes.part == part
    for pitch in np.unique(notes.pitch[own]):
        sounds = _covered(notes, own & (notes.pitch == pitch), moments)
        high[sounds] = pitch
        low[sounds & np.isnan(low)] = pitch
    return low, high
