"""Music that comes back in another octave.

Definition
----------
A line is the top or the bottom of a hand, or of all that sounds. Where NOTES notes or more
of a line, on VARIED pitches or more, have the rhythm and the intervals of the passage in which
these were heard last, at a distance of whole octaves and at none of the same pitches, the
passage returns in another octave. Passages that go on with one such distance are one; they last
SHORTEST bars or more. Bars that repeat earlier bars note for note say nothing new. Of several
passages that overlap the first counts, then the longest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events import Event
from corpusreg.measures.outer_lines import Moments

__all__ = ["octave_returns"]

NOTES = 7
VARIED = 3  # pitches
SHORTEST = 0.9  # bars: one, less an upbeat
LONG = 8.0  # bars

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

# Odd numbers: sums of products with them tell passages apart (a hash).
_FACTORS = np.random.default_rng(0).integers(1 << 40, 1 << 60, NOTES) | 1


@dataclass
class _Passage:
    start: int  # ticks
    end: int
    away: int  # ticks since it was heard
    octaves: int  # semitones
    rows: set[int]


def octave_returns(here: Moments) -> list[Event]:
    """Returns of music in another octave, in order of time."""
    found = [_event(here, passage) for passage in _joined(here)]
    same = _same_bars(here) if found else np.zeros(0, np.int64)
    kept: list[Event] = []
    for event in sorted((e for e in found if e), key=lambda e: (e.first, -e.lasts)):
        literal = np.diff(same[event.first : event.last])
        if same[event.first] >= 0 and (literal == 1).all():
            continue
        if not any(event.first < own.last and own.first < event.last for own in kept):
            kept.append(event)
    return kept


def _same_bars(here: Moments) -> Ints:
    """The latest earlier bar with the same notes as each bar, -1 where there is none."""
    notes, bars = here.notes, here.bars
    inside = notes.onset - bars.start[notes.bar]
    one = (inside * _FACTORS[0] + notes.pitch * _FACTORS[1] + notes.written * _FACTORS[2]) ** 2
    number = np.zeros(len(bars), np.int64)
    np.add.at(number, notes.bar, one)
    known: dict[int, int] = {}
    found = []
    for bar, own in enumerate(number.tolist()):
        found.append(known.get(own, -1))
        known[own] = bar
    return np.array(found, np.int64)


def _lines(here: Moments) -> tuple[Ints, Ints]:
    """Rows of the notes of every line, one line after the other, and the line of each."""
    notes = here.notes
    first, last, moment = here.strikes
    lines = [
        (last - 1)[notes.pitch[last - 1] == here.highest[moment]],
        first[notes.pitch[first] == here.lowest[moment]],
    ]
    hand = here.hand
    names = np.unique(hand)
    for name in names.tolist() if len(names) > 1 else []:
        own = np.flatnonzero(hand == name)
        onset = notes.onset[own]
        begins = np.append(True, onset[1:] != onset[:-1])
        lines += [own[begins], own[np.append(begins[1:], True)]]
    return np.concatenate(lines), np.repeat(np.arange(len(lines)), [len(own) for own in lines])


def _again(here: Moments, rows: Ints, line: Ints) -> tuple[Ints, Ints]:
    """First places in `rows` of passages whose shape comes more than once, and their shapes."""
    notes = here.notes
    steps = np.diff(notes.pitch[rows]) * _FACTORS[0] + np.diff(notes.onset[rows])
    shape = np.convolve(steps, _FACTORS[1:NOTES], "valid")
    place = np.flatnonzero(line[: 1 - NOTES] == line[NOTES - 1 :])
    shape = shape[place]
    order = np.argsort(shape, kind="stable")
    place, shape = place[order], shape[order]
    twin = shape[1:] == shape[:-1]
    often = np.append(twin, False) | np.append(False, twin) if len(shape) else twin[:0]
    place, shape = place[often], shape[often]
    pitch = np.sort(notes.pitch[rows[place[:, None] + np.arange(NOTES)]], axis=1)
    varied = (pitch[:, 1:] > pitch[:, :-1]).sum(axis=1) + 1 >= VARIED
    return place[varied], shape[varied]


def _joined(here: Moments) -> list[_Passage]:
    """Passages that return, joined from passages of NOTES notes that follow each other."""
    notes = here.notes
    line_rows, line = _lines(here)
    if len(line_rows) < NOTES:
        return []
    place, shape = _again(here, line_rows, line)
    if not len(place):
        return []
    windows = line_rows[place[:, None] + np.arange(NOTES)]
    onset, last = notes.onset[windows[:, 0]], notes.onset[windows[:, -1]]
    pitch = notes.pitch[windows[:, 0]]
    order = np.lexsort((pitch, onset, shape))
    windows, onset, last = windows[order], onset[order], last[order]
    pitch, shape = pitch[order], shape[order]
    # A cohort is one shape at one onset; it is held against the one before it.
    begins = np.flatnonzero(np.append(True, (np.diff(shape) != 0) | (np.diff(onset) != 0)))
    ends = np.append(begins[1:], len(shape))
    again = np.flatnonzero(
        (shape[begins[1:]] == shape[begins[:-1]]) & (last[begins[:-1]] < onset[begins[1:]])
    )
    # Those that share a pitch with the one before are at the same place.
    cohort = np.repeat(np.arange(len(begins)), ends - begins)
    keys = cohort * 128 + pitch  # rising
    before_it = keys[np.searchsorted(keys, keys - 128)] == keys - 128
    again = again[~np.logical_or.reduceat(before_it, begins)[again + 1]]
    hits = []
    for each in again.tolist():
        before = slice(int(begins[each]), int(ends[each]))
        now = slice(int(begins[each + 1]), int(ends[each + 1]))
        apart = pitch[now][:, None] - pitch[before]
        octaves = apart[apart % 12 == 0]
        if len(octaves):
            nearest = int(octaves[np.abs(octaves).argmin()])
            a = int(onset[now.start])
            rows = windows[now].ravel().tolist()
            hits.append(
                _Passage(
                    a, int(last[now.start]), a - int(onset[before.start]), nearest, set(rows)
                )
            )
    joined: dict[tuple[int, int], list[_Passage]] = {}
    for hit in sorted(hits, key=lambda each: each.start):
        own = joined.setdefault((hit.away, hit.octaves), [])
        if own and hit.start <= own[-1].end:
            own[-1].end = max(own[-1].end, hit.end)
            own[-1].rows |= hit.rows
        else:
            own.append(hit)
    return [passage for own in joined.values() for passage in own]


def _event(here: Moments, passage: _Passage) -> Event | None:
    notes, bars = here.notes, here.bars
    rows = np.array(sorted(passage.rows))
    first, last = int(notes.bar[rows[0]]), int(notes.bar[rows[-1]])
    end = int((notes.onset + notes.written)[notes.onset == passage.end].min())
    lasts = (end - passage.start) / max(int(bars.full[first]), 1)
    if lasts < SHORTEST:
        return None
    source = int(np.searchsorted(bars.start, passage.start - passage.away, side="right")) - 1
    pitches = np.unique(notes.pitch[rows])
    return Event(
        kind="octave_return",
        part=None,
        first=first,
        last=last + 1,
        bar=first,
        beat=here.beat_at(passage.start, first),
        pitches=tuple(pitches.tolist()),
        low=int(pitches[0]),
        high=int(pitches[-1]),
        strength=lasts / (lasts + LONG) * min(abs(passage.octaves) / 24 + 0.5, 1.0),
        lasts=round(float(lasts), 3),
        players=tuple(np.unique(notes.part[rows]).tolist()),
        distance=float(abs(passage.octaves)),
        direction="up" if passage.octaves > 0 else "down",
        steps=len(rows),
        interval=passage.octaves,
        again=max(source, 0),
        theme=True,
    )
