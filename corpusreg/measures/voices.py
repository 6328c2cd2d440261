"""Written voices: entries after silence of their own, imitation, and crossing.

Conventions
-----------
voice    a part; in a part of several staves, or of more than two voices, each written
         voice of each staff. The line of a voice is the top note of each of its onsets.

Definitions
-----------
entry    a voice begins after RESTED bars of its own silence (KEYBOARD_RESTED in a part of
         several voices) in which others sound. Voices in one part are notation, so there only
         what imitates counts.
imitates the first HEAD notes go on in the rhythm of an earlier passage of another voice, or
         of its own at another pitch, and in its intervals, LOOSE semitones more or less; one
         interval may differ more, as in a tonal answer. A head of fewer than VARIED pitches is
         no theme.
crossing neighbouring voices of which the lower one on the page sounds above the other for
         CROSSED bars or more, rests of both not counted: two players, or crossed hands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events_model import Event, Place
from corpusreg.measures.outer_lines import Moments

__all__ = ["entries", "written_voices"]

RESTED = 1.9  # bars: two, less an upbeat
KEYBOARD_RESTED = 1.4
HEAD = 5  # notes
LOOSE = 2  # semitones
VARIED = 3  # pitches
LONG = 8.0  # bars, of silence

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class _Heads:
    """Every HEAD notes in succession of a voice: first row, voice, intervals and rhythm."""

    row: Ints
    voice: Ints
    intervals: Ints  # (k, HEAD - 1), semitones
    rhythm: Ints  # (k, HEAD - 1), ticks between onsets


@dataclass(frozen=True)
class _Entry:
    row: int
    silence: float
    since: int | None
    again: int | None  # row of what it imitates


def written_voices(here: Moments) -> tuple[Ints, Bools]:
    """Number of the voice of each note, and whether it shares its part with others, (n,)."""
    notes = here.notes
    part = notes.part.astype(np.int64) << 32
    own = part | (notes.staff.astype(np.int64) << 16) | (notes.voice.astype(np.int64) & 0xFFFF)
    voices, number = np.unique(own, return_inverse=True)
    staves = np.unique(own >> 16)
    shared = np.zeros(int(notes.part.max()) + 1, bool)
    shared[np.bincount(staves >> 16, minlength=len(shared)) > 1] = True
    shared[np.bincount(voices >> 32, minlength=len(shared)) > 2] = True
    apart = shared[notes.part]
    return np.asarray(np.where(apart, number, -1 - notes.part), np.int64), np.asarray(apart)


def entries(here: Moments) -> list[Event]:
    """Entries of voices in order of time; voices that enter together without a theme are one."""
    notes = here.notes
    voice, shared = written_voices(here)
    if len(np.unique(voice)) < 2:
        return []
    line = _lines(here, voice)
    heads = _heads(here, voice, line)
    alone: dict[int, list[_Entry]] = {}
    found = []
    for row, silence, since in _rested(here, voice, shared, line):
        again = _imitated(here, heads, voice, row)
        entry = _Entry(row, silence, since, again)
        if again is not None:
            found.append(_event(here, [entry]))
        elif not shared[row]:
            alone.setdefault(int(notes.onset[row]), []).append(entry)
    found += [_event(here, group) for group in alone.values()]
    return sorted(found, key=lambda event: (event.bar, event.beat, event.low))


def _lines(here: Moments, voice: Ints) -> Ints:
    """Rows of the notes in the lines of all voices, voice by voice in order of time."""
    notes = here.notes
    order = np.lexsort((notes.pitch, notes.onset, voice))
    last = np.append(
        (np.diff(voice[order]) != 0) | (np.diff(notes.onset[order]) != 0), True
    )
    return order[last]


def _heads(here: Moments, voice: Ints, line: Ints) -> _Heads:
    notes = here.notes
    if len(line) < HEAD:
        none = np.zeros((0, HEAD - 1), np.int64)
        return _Heads(line[:0], voice[line[:0]], none, none)
    windows = np.lib.stride_tricks.sliding_window_view(line, HEAD)
    one = voice[windows[:, 0]] == voice[windows[:, -1]]
    windows = windows[one]
    return _Heads(
        windows[:, 0],
        voice[windows[:, 0]],
        np.diff(notes.pitch[windows], axis=1),
        np.diff(notes.onset[windows], axis=1),
    )


def _rested(
    here: Moments, voice: Ints, shared: Bools, line: Ints
) -> list[tuple[int, float, int | None]]:
    """Rows that begin after a rest of their voice while others sound; silence, and since when."""
    notes, bars = here.notes, here.bars
    clock = np.concatenate(([0.0], np.cumsum(bars.length / np.maximum(bars.full, 1))))
    own = voice[line]
    # Sounding until: the latest end of the voice so far, voice after voice on one line.
    order = np.argsort(voice, kind="stable")
    ends = (notes.onset + notes.duration)[order]
    span = int(ends.max()) + 1
    lane = np.unique(voice[order], return_inverse=True)[1] * span
    reach = np.maximum.accumulate(ends + lane) - lane
    begins = notes.onset[order]
    position = np.searchsorted(begins + lane, notes.onset[line] + _lane(voice, line) * span)
    first = np.append(True, np.diff(own) != 0)
    until = np.where(first, 0, reach[np.maximum(position - 1, 0)])
    silence = _clock(bars, clock, notes.onset[line]) - _clock(bars, clock, until)
    least = np.where(shared[line], KEYBOARD_RESTED, RESTED) - 1e-6
    found = []
    for at in np.flatnonzero(silence >= least).tolist():
        row, since = int(line[at]), int(until[at])
        others = (voice != own[at]) & (notes.onset < notes.onset[row])
        others &= notes.onset + notes.duration > since
        if others.any():
            bar = int(np.searchsorted(bars.start, since - 1, side="right")) - 1
            found.append((row, float(silence[at]), None if first[at] else max(bar, 0)))
    return found


def _lane(voice: Ints, rows: Ints) -> Ints:
    return np.asarray(np.searchsorted(np.unique(voice), voice[rows]), np.int64)


def _clock(bars: object, clock: Floats, ticks: Ints) -> Floats:
    start = bars.start  # type: ignore[attr-defined]
    full = np.maximum(bars.full, 1)  # type: ignore[attr-defined]
    bar = np.clip(np.searchsorted(start, ticks, side="right") - 1, 0, len(start) - 1)
    return np.asarray(clock[bar] + (ticks - start[bar]) / full[bar], np.float64)


def _imitated(here: Moments, heads: _Heads, voice: Ints, row: int) -> int | None:
    """First row of the earliest passage that an entry imitates."""
    own = np.flatnonzero(heads.row == row)
    if not len(own):
        return None
    intervals, rhythm = heads.intervals[own[0]], heads.rhythm[own[0]]
    if len(np.unique(np.cumsum(np.append(0, intervals)))) < VARIED:
        return None
    notes = here.notes
    same = (heads.rhythm == rhythm).all(axis=1)
    same &= notes.onset[heads.row] < notes.onset[row]
    same &= (heads.voice != voice[row]) | (notes.pitch[heads.row] != notes.pitch[row])
    near = np.abs(heads.intervals - intervals) <= LOOSE
    near &= np.sign(heads.intervals) == np.sign(intervals)
    same &= near.sum(axis=1) >= HEAD - 2
    rows = heads.row[same]
    return int(rows[np.argmin(notes.onset[rows])]) if len(rows) else None


def _event(here: Moments, group: list[_Entry]) -> Event:
    notes = here.notes
    rows = [entry.row for entry in group]
    row, again = rows[0], group[0].again
    bar, onset = int(notes.bar[row]), int(notes.onset[row])
    pitches = sorted({int(notes.pitch[each]) for each in rows})
    sounding = np.flatnonzero((notes.onset < onset) & (notes.onset + notes.duration > onset))
    place, distance = _where(pitches, notes.pitch[sounding])
    silence = max(entry.silence for entry in group)
    since = [entry.since for entry in group if entry.since is not None]
    felt = min(silence, LONG) / LONG
    return Event(
        kind="voice_entry",
        part=None,
        first=bar,
        last=bar + 1,
        bar=bar,
        beat=here.beat_at(onset, bar),
        pitches=tuple(pitches),
        low=pitches[0],
        high=pitches[-1],
        strength=felt * (1.0 if again is not None else 0.7),
        players=tuple(sorted({int(notes.part[each]) for each in rows})),
        silence=round(silence, 3),
        since=max(since) if len(since) == len(group) else None,
        distance=float(distance),
        approach="silence",
        place=place,
        interval=None if again is None else int(notes.pitch[row] - notes.pitch[again]),
        again=None if again is None else int(notes.bar[again]),
        theme=again is not None,
    )


def _where(pitches: list[int], sounding: Ints) -> tuple[Place, int]:
    """Where in what sounds an entry lies, and how far from it."""
    if not len(sounding):
        return "", 0
    nearest = min(int(np.abs(sounding - pitch).min()) for pitch in pitches)
    if pitches[-1] < sounding.min():
        return "bass", nearest
    if pitches[0] > sounding.max():
        return "top", nearest
    return "inner", nearest
