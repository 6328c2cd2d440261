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
         interval may differ more, as in a tonal answer. It begins a fourth, a fifth or octaves
         away (ANSWERS). A head of fewer than VARIED pitches is no theme.
crossing the lower of two players who are neighbours in height, by the mean of what each holds
         in the whole work, sounds wholly above the other for CROSSED bars or more (rests of
         either do not end it, nor count); or a keyboard player's left hand does above the
         right. In a work of more than MOST_PLAYERS players it is not looked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events import Event, Place
from corpusreg.measures.outer_lines import Moments
from corpusreg.measures.texture import PITCHES
from corpusreg.score.played import PlayedBars

__all__ = ["crossings", "entries"]

RESTED = 1.9  # bars: two, less an upbeat
KEYBOARD_RESTED = 1.4
HEAD = 5  # notes
LOOSE = 1  # semitones
VARIED = 3  # pitches
ANSWERS = (0, 5, 7)  # semitones, but for octaves
LONG = 8.0  # bars, of silence
CROSSED = 1.5  # bars
MOST_PLAYERS = 6

_ANSWERS = np.isin(np.arange(12), ANSWERS)
# Odd numbers: sums of products with them tell rhythms apart (a hash).
_FACTORS = np.random.default_rng(0).integers(1 << 30, 1 << 40, HEAD - 1) | 1

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class _Heads:
    """Every HEAD notes in succession of a voice, those of one rhythm side by side."""

    row: Ints
    voice: Ints
    intervals: Ints  # (k, HEAD - 1), semitones
    first: Ints  # (k,): where those of its rhythm begin
    stop: Ints  # (k,): and end


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
    first = np.searchsorted(voices >> 32, np.arange(len(shared)))
    apart = shared[notes.part]
    return np.asarray(np.where(apart, number, first[notes.part]), np.int64), np.asarray(apart)


def entries(here: Moments) -> list[Event]:
    """Entries of voices in order of time; without a theme, voices enter as one."""
    notes = here.notes
    voice, shared = written_voices(here)
    if (voice == voice[0]).all():
        return []
    line = _lines(here, voice)
    heads = _heads(here, voice, line)
    together: dict[int, list[_Entry]] = {}
    place = np.full(len(notes), -1)
    place[heads.row] = np.arange(len(heads.row))
    for row, silence, since in _rested(here, voice, shared, line):
        again = _imitated(here, heads, voice, row, int(place[row]))
        if again is not None or not shared[row]:
            entry = _Entry(row, silence, since, again)
            together.setdefault(int(notes.onset[row]), []).append(entry)
    found = [_event(here, voice, group) for group in together.values()]
    if len(np.unique(notes.part)) > MOST_PLAYERS:
        found = [event for event in found if event.place != "inner"]
    return sorted(found, key=lambda event: (event.bar, event.beat, event.low))


def _lines(here: Moments, voice: Ints) -> Ints:
    """Rows of the notes in the lines of all voices, voice by voice in order of time."""
    notes = here.notes
    order = np.lexsort((notes.pitch, notes.onset, voice))
    last = np.append((np.diff(voice[order]) != 0) | (np.diff(notes.onset[order]) != 0), True)
    return np.asarray(order[last], np.int64)


def _heads(here: Moments, voice: Ints, line: Ints) -> _Heads:
    notes = here.notes
    if len(line) < HEAD:
        none = line[:0]
        return _Heads(none, voice[none], np.zeros((0, HEAD - 1), np.int64), none, none)
    place = np.flatnonzero(voice[line[: 1 - HEAD]] == voice[line[HEAD - 1 :]])
    rhythm = np.convolve(np.diff(notes.onset[line]), _FACTORS, "valid")[place]
    order = np.argsort(rhythm, kind="stable")
    place = place[order]
    intervals = np.diff(notes.pitch[line])[place[:, None] + np.arange(HEAD - 1)]
    rhythm = rhythm[order]
    first = np.searchsorted(rhythm, rhythm)
    stop = np.searchsorted(rhythm, rhythm, side="right")
    return _Heads(line[place], voice[line[place]], intervals, first, stop)


def _rested(
    here: Moments, voice: Ints, shared: Bools, line: Ints
) -> list[tuple[int, float, int | None]]:
    """Rows that begin after a rest of their voice under others; silence, bar of its end."""
    notes, bars = here.notes, here.bars
    clock = np.concatenate(([0.0], np.cumsum(bars.length / np.maximum(bars.full, 1))))
    own = voice[line]
    # Sounding until: the latest end of the voice so far, voice after voice on one line.
    order = np.argsort(voice, kind="stable")
    ends = (notes.onset + notes.written)[order]
    span = int(ends.max()) + 1
    number = voice * span
    lane = number[order]
    reach = np.maximum.accumulate(ends + lane) - lane
    position = np.searchsorted(notes.onset[order] + lane, notes.onset[line] + number[line])
    first = np.append(True, np.diff(own) != 0)
    until = np.where(first, 0, reach[np.maximum(position - 1, 0)])
    silence = _clock(bars, clock, notes.onset[line]) - _clock(bars, clock, until)
    least = np.where(shared[line], KEYBOARD_RESTED, RESTED) - 1e-6
    rested = np.flatnonzero(silence >= least)
    # What begins before the entry and ends after the rest's beginning sounds in the rest.
    begun = np.searchsorted(notes.onset, notes.onset[line[rested]])
    over = np.searchsorted(np.sort(ends), until[rested], side="right")
    rested = rested[begun > over]
    since = np.searchsorted(bars.start, until[rested] - 1, side="right") - 1
    return [
        (int(line[at]), float(silence[at]), None if first[at] else int(bar))
        for at, bar in zip(rested.tolist(), since.tolist(), strict=True)
    ]


def _clock(bars: PlayedBars, clock: Floats, ticks: Ints) -> Floats:
    bar = np.clip(np.searchsorted(bars.start, ticks, side="right") - 1, 0, len(bars) - 1)
    inside = (ticks - bars.start[bar]) / np.maximum(bars.full[bar], 1)
    return np.asarray(clock[bar] + inside, np.float64)


def _imitated(here: Moments, heads: _Heads, voice: Ints, row: int, own: int) -> int | None:
    """First row of the earliest passage that an entry imitates; own: its place in heads."""
    if own < 0 or heads.stop[own] - heads.first[own] < 2:
        return None
    intervals = heads.intervals[own]
    if len({0, *np.cumsum(intervals).tolist()}) < VARIED:
        return None
    notes = here.notes
    alike = slice(int(heads.first[own]), int(heads.stop[own]))
    rows, others = heads.row[alike], heads.intervals[alike]
    near = np.abs(others - intervals) <= LOOSE
    near &= np.sign(others) == np.sign(intervals)
    same = near.sum(axis=1) >= HEAD - 2
    same &= notes.onset[rows] < notes.onset[row]
    same &= (heads.voice[alike] != voice[row]) | (notes.pitch[rows] != notes.pitch[row])
    same &= _ANSWERS[(notes.pitch[row] - notes.pitch[rows]) % 12]
    rows = rows[same]
    return int(rows.min()) if len(rows) else None  # rows are in order of onset and pitch


def _event(here: Moments, voice: Ints, group: list[_Entry]) -> Event:
    notes = here.notes
    rows = [entry.row for entry in group]
    row, again = min(
        ((entry.row, entry.again) for entry in group), key=lambda pair: (pair[1] is None, pair)
    )
    bar, onset = int(notes.bar[row]), int(notes.onset[row])
    pitches = sorted({int(notes.pitch[each]) for each in rows})
    sounding = (notes.onset <= onset) & (here.ends > onset)
    own = {int(voice[each]) for each in rows}
    for begun in np.flatnonzero(notes.onset == onset).tolist():
        sounding[begun] &= int(voice[begun]) not in own
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


def crossings(here: Moments) -> list[Event]:
    """Crossings of players and of hands, in order of time."""
    hand = here.hand
    own = np.unique(hand)
    parts, first, staves = np.unique(own // 256, return_index=True, return_counts=True)
    if len(parts) > MOST_PLAYERS or len(own) < 2:
        return []
    players = sorted(
        own[first[staves == 1]].tolist(), key=lambda each: _height(here, hand == each)
    )
    pairs = list(pairwise(players[::-1]))
    for begin in first[staves > 1].tolist():
        pairs += list(pairwise(own[own // 256 == own[begin] // 256].tolist()))
    found = [
        event
        for upper, lower in pairs
        for event in _crossed(here, hand == upper, hand == lower)
    ]
    return sorted(found, key=lambda event: (event.first, event.beat, event.low))


def _height(here: Moments, rows: Bools) -> float:
    """Mean pitch of some notes, by the time that they are held."""
    lasts = (here.ends - here.notes.onset)[rows]
    return float((lasts * here.notes.pitch[rows]).sum() / lasts.sum())


def _crossed(here: Moments, upper: Bools, lower: Bools) -> list[Event]:
    top, bottom = _reach(here, upper)[1], _reach(here, lower)[0]
    both = np.flatnonzero((top >= 0) & (bottom < PITCHES))
    above = bottom[both] > top[both]
    if not above.any():
        return []
    edges = np.flatnonzero(np.diff(above, prepend=False, append=False)).reshape(-1, 2)
    length = np.append(0.0, np.cumsum(here.lasting[both]))
    found = []
    for a, b in edges[length[edges[:, 1]] - length[edges[:, 0]] >= CROSSED - 1e-6].tolist():
        begin, end = int(both[a]), int(both[b - 1])
        first, last = int(here.bar[begin]), int(here.bar[end])
        lasts = float(length[b] - length[a])
        within = (here.notes.onset < here.times[end + 1]) & (here.ends > here.times[begin])
        pitches = np.unique(here.notes.pitch[within & (upper | lower)])
        players = np.unique(here.notes.part[within & (upper | lower)])
        found.append(
            Event(
                kind="crossing",
                part=None,
                first=first,
                last=last + 1,
                bar=first,
                beat=here.beat_at(int(here.times[begin]), first),
                pitches=tuple(pitches.tolist()),
                low=int(pitches[0]),
                high=int(pitches[-1]),
                strength=lasts / (lasts + LONG),
                lasts=round(lasts, 3),
                players=tuple(players.tolist()),
                by="hands" if len(players) == 1 else "players",
            )
        )
    return found


def _reach(here: Moments, rows: Bools) -> tuple[Ints, Ints]:
    """Lowest (PITCHES in silence) and highest (-1) pitch of some notes in each moment."""
    notes = here.notes
    count = len(here.times) - 1
    first = np.searchsorted(here.times, notes.onset[rows])
    stop = np.searchsorted(here.times, here.ends[rows])
    length = stop - first
    at = np.repeat(first - np.cumsum(length) + length, length) + np.arange(length.sum())
    pitch = np.repeat(notes.pitch[rows], length)
    lowest, highest = np.full(count, PITCHES), np.full(count, -1)
    np.minimum.at(lowest, at, pitch)
    np.maximum.at(highest, at, pitch)
    return lowest, highest
