"""Facts about lines and spacing that published findings speak of.

None of these is placed; they are kept in the store so that questions about pitch
height, range and motion can be asked in SQL.

- pitches: how many notes a part has on each pitch.
- steps: how often a part's line moves by each interval (semitones, up positive).
  The line is the highest note of each onset of the part; a rest does not break it.
- skips: what follows an interval of SKIP semitones or more in that line, by where it lands
  beside the middle (median) of the line. Most skips are followed by a turn, and most of
  those that turn lead away from the middle or across it: whether lines turn after skips
  because of the skip or because they come back to their middle is seen from skips that
  lead toward it (von Hippel and Huron 2000, Music Perception 18(1):59-85).
- part gaps: between two neighbouring parts, at every onset of the work at which
  both sound, the interval from the lower part's top note to the upper part's
  lowest (negative where they cross).
- bass gaps: at every onset of the work, the lowest sounding pitch and the interval
  to the next higher one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.texture import PITCHES, sounding
from corpusreg.score.played import Notes

__all__ = ["bass_gaps", "part_gaps", "part_pitches", "skips", "steps"]

Ints = NDArray[np.int64]
PartGap = tuple[int, int, int, float, float]
SKIP = 3  # semitones
# Where a skip lands, seen from where it began: away from the middle of the line, across it,
# on it, or toward it and short of it.
PLACES = ("away", "across", "on", "toward")


def part_pitches(notes: Notes) -> list[tuple[int, int, int]]:
    """(part, pitch, notes) for every pitch that a part plays."""
    return _counted(notes.part.astype(np.int64), notes.pitch)


def steps(notes: Notes) -> list[tuple[int, int, int]]:
    """(part, interval, times) for every interval in a part's line."""
    part, pitch = _lines(notes)
    inside = part[1:] == part[:-1]
    return _counted(part[1:][inside], np.diff(pitch)[inside])


def skips(notes: Notes) -> list[tuple[int, str, int, int, int]]:
    """(part, place, turned, went on, repeated) for the skips of each part by PLACES.

    How often the next interval goes the other way, goes on, or repeats the note.
    """
    part, pitch = _lines(notes)
    first = np.unique(part, return_index=True)[1]
    middle = np.repeat(
        [np.median(line) for line in np.split(pitch, first[1:])],
        np.diff(np.append(first, len(part))),
    )
    rows = np.flatnonzero((part[2:] == part[:-2]) & (np.abs(np.diff(pitch)[:-1]) >= SKIP))
    begun, landed, following = (pitch[rows + k] - middle[rows] for k in range(3))
    place = np.select(
        [landed == 0, begun * landed < 0, np.abs(landed) > np.abs(begun)], [2, 1, 0], 3
    )
    way = np.sign(landed - begun) * np.sign(following - landed)
    places, ways = len(PLACES), 3
    cell = (part[rows] * places + place) * ways + (way + 1).astype(np.int64)
    count = np.bincount(cell, minlength=0)
    count = np.pad(count, (0, -len(count) % ways)).reshape(-1, ways)
    return [
        (row // places, PLACES[row % places], turned, on, repeated)
        for row, (turned, repeated, on) in enumerate(count.tolist())
        if turned or repeated or on
    ]


def _lines(notes: Notes) -> tuple[Ints, Ints]:
    """Part and pitch of the highest note of each onset, part by part in order of time."""
    # Notes are sorted by onset and pitch, so the last of each onset is the highest.
    order = np.argsort(notes.part, kind="stable")
    part, onset, pitch = notes.part[order], notes.onset[order], notes.pitch[order]
    last = np.append((part[1:] != part[:-1]) | (onset[1:] != onset[:-1]), True)
    return part[last].astype(np.int64), pitch[last]


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
    sounds = _sounding(notes, np.unique(notes.onset))
    lowest = sounds.argmax(axis=1)
    moments = np.arange(len(sounds))
    sounds[moments, lowest] = False
    second = sounds.argmax(axis=1)
    both = sounds[moments, second]
    return _counted(lowest[both], (second - lowest)[both])


def _counted(first: Ints, second: Ints) -> list[tuple[int, int, int]]:
    """(first, second, times) for every pair, in order; the second lies within +-128."""
    keys, count = np.unique(512 * first + second + PITCHES, return_counts=True)
    pairs = zip((keys >> 9).tolist(), ((keys & 511) - PITCHES).tolist(), strict=True)
    return [(a, b, n) for (a, b), n in zip(pairs, count.tolist(), strict=True)]


def _sounding(notes: Notes, moments: Ints) -> NDArray[np.bool_]:
    """Which pitches sound at each moment, onsets included, shape (moments, 128)."""
    first = np.searchsorted(moments, notes.onset)
    stop = np.searchsorted(moments, notes.onset + notes.duration)
    return sounding(first, stop, notes.pitch, len(moments))


def _sounding_edges(
    notes: Notes, part: int, moments: Ints
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lowest and highest pitch of a part at each moment, NaN where it is silent."""
    own = notes.take(notes.part == part)
    if not len(own):
        return np.full(len(moments), np.nan), np.full(len(moments), np.nan)
    sounds = _sounding(own, moments)
    silent = ~sounds.any(axis=1)
    low = np.where(silent, np.nan, sounds.argmax(axis=1))
    high = np.where(silent, np.nan, PITCHES - 1 - sounds[:, ::-1].argmax(axis=1))
    return low, high
