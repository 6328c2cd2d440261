"""What a player or singer would ask about: crowded low intervals, wide chords, wrong clefs.

Aim: passages in which low intervals lie closer than handbooks like, chords that a hand
must roll or split, and parts whose notes suggest a wrong clef or transposition. All of
it is data with bars; limits come from `corpusreg.instruments.limits`.

Conventions: bars are played bars, pitches sounding MIDI numbers, intervals semitones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corpusreg.instruments import Instrument
from corpusreg.instruments.limits import (
    NINTH,
    TENTH,
    Resisting,
    furthest,
    low_interval_limit,
)
from corpusreg.measures import height
from corpusreg.measures.height import Run
from corpusreg.score.played import MARKS, Notes, Played, nearest_mark

__all__ = [
    "CLEARLY", "Misread", "against", "crowded", "misread", "stretches", "tessitura",
    "thick_bars", "wide_chords",
]  # fmt: skip

LEAST_BEATS = 1.0  # a low interval that sounds for less is passing
CLEARLY = 2  # semitones below the charts' limits, which differ by about as much
LEAST_BEYOND = 8  # notes outside a range that are no slip
BEYOND_SHARE = 0.1  # of a part's notes outside, from which a clef is asked about
INSIDE_SHARE = 0.98  # of its notes inside when read at the other pitch
_OCTAVE = 12
TESSITURA = 0.1, 0.5, 0.9  # of a singer's time: between the outer two lie eight tenths
STRETCHES = 3  # into which a part is divided to see where it lies over time
LEAST_SUNG = 6  # bars of a stretch
LEAST_AGAINST = 4.0  # beats of a register against its dynamic, for it to be told
_LOUD, _SOFT = MARKS["f"] / 127, MARKS["pp"] / 127


@dataclass(frozen=True)
class Crowded:
    """A low interval closer than both charts of limits: its notes, bar and length in beats."""

    bar: int
    low: int
    high: int
    beats: float


@dataclass(frozen=True)
class WideChord:
    """Notes struck together on one staff of a keyboard, wider than a ninth.

    tenth: not wider than a tenth, which most men's and few women's hands reach.
    """

    part: int
    staff: int
    bar: int
    low: int
    high: int

    @property
    def tenth(self) -> bool:
        """Whether a large hand still reaches it."""
        return self.high - self.low <= TENTH


@dataclass(frozen=True)
class Against:
    """Bars in which a part's register and its written dynamic work against each other.

    runs: half-open, longest first. Of the longest, low and high are the outermost notes in
    that register, beats how long they sound, mark the dynamic most of them have.
    """

    runs: tuple[Run, ...]
    low: int
    high: int
    beats: float
    mark: str


@dataclass(frozen=True)
class Misread:
    """A part that would lie in its instrument's range if read `interval` semitones higher.

    bar: the first bar with a note outside; beyond: notes outside as it stands, of notes.
    """

    part: int
    interval: int
    bar: int
    beyond: int
    notes: int


def crowded(played: Played) -> tuple[Crowded, ...]:
    """The lowest two notes struck together where they lie too close for so low, one a bar.

    Only what lies clearly too low counts, for a beat or more in all within the bar. What a
    pedal gathers one after the other is no chord.
    """
    notes = played.notes
    order = np.lexsort((notes.pitch, notes.onset))
    onset, pitch = notes.onset[order], notes.pitch[order]
    low, high = order[:-1], order[1:]
    lowest = np.diff(onset, prepend=-1)[:-1] > 0
    pairs = lowest & (onset[1:] == onset[:-1])
    # A doubled lowest note hides the interval above it: the next one that differs counts.
    for row in np.flatnonzero(pairs & (pitch[1:] == pitch[:-1])).tolist():
        above = np.flatnonzero((notes.onset == onset[row]) & (notes.pitch > pitch[row]))
        pairs[row] = len(above) > 0
        if len(above):
            high[row] = above[notes.pitch[above].argmin()]
    found: dict[tuple[int, int, int], float] = {}
    for row in np.flatnonzero(pairs).tolist():
        one, other = int(low[row]), int(high[row])
        bottom, top = int(notes.pitch[one]), int(notes.pitch[other])
        limit = low_interval_limit(top - bottom)
        if limit is not None and bottom <= limit - CLEARLY:
            bar = int(notes.bar[one])
            ticks = min(int(notes.duration[one]), int(notes.duration[other]))
            place = (bar, bottom, top)
            found[place] = found.get(place, 0.0) + ticks / float(played.bars.beat[bar])
    longest: dict[int, Crowded] = {}
    for (at, bottom, top), beats in sorted(found.items()):
        if beats >= LEAST_BEATS and (at not in longest or beats > longest[at].beats):
            longest[at] = Crowded(at, bottom, top, round(beats, 6))
    return tuple(longest[at] for at in sorted(longest))


def thick_bars(notes: Notes) -> int:
    """Bars whose two lowest pitches, together or in turn, lie clearly too close for so low."""
    order = np.lexsort((notes.pitch, notes.bar))
    bar, pitch = notes.bar[order], notes.pitch[order]
    new = np.concatenate(([True], (np.diff(bar) > 0) | (np.diff(pitch) > 0)))
    bar, pitch = bar[new], pitch[new]
    lowest = np.flatnonzero(np.diff(bar, prepend=-1) > 0)
    lowest = lowest[lowest + 1 < len(bar)]
    lowest = lowest[bar[lowest + 1] == bar[lowest]]
    count = 0
    for low, high in zip(pitch[lowest].tolist(), pitch[lowest + 1].tolist(), strict=True):
        limit = low_interval_limit(high - low)
        count += limit is not None and low <= limit - CLEARLY
    return count


def wide_chords(notes: Notes, part: int) -> tuple[WideChord, ...]:
    """Chords of a keyboard part wider than a ninth in one voice, the widest of each bar.

    A part on one staff says nothing of its hands, and has none.
    """
    mine = np.flatnonzero(notes.part == part)
    widest: dict[tuple[int, int], WideChord] = {}
    if len(np.unique(notes.staff[mine])) > 1:
        keys = np.stack((notes.onset[mine], notes.staff[mine], notes.voice[mine]))
        _, group = np.unique(keys, axis=1, return_inverse=True)
        size = int(group.max()) + 1
        low, high = np.full(size, 128, np.int64), np.full(size, -1, np.int64)
        np.minimum.at(low, group, notes.pitch[mine])
        np.maximum.at(high, group, notes.pitch[mine])
        for row in np.flatnonzero((high - low)[group] > NINTH).tolist():
            chord, note = int(group[row]), mine[row]
            here = WideChord(
                part,
                int(notes.staff[note]),
                int(notes.bar[note]),
                int(low[chord]),
                int(high[chord]),
            )
            place = (here.bar, here.staff)
            known = widest.get(place)
            if known is None or here.high - here.low > known.high - known.low:
                widest[place] = here
    return tuple(widest[place] for place in sorted(widest))


def misread(notes: Notes, part: int, instrument: Instrument) -> Misread | None:
    """The octave or transposition by which a part was likely misread, None for none.

    Asked only where many notes lie outside the professional range, and most of a part that
    goes no further than some players do; the smallest interval that brings nearly all of them
    inside is given, the instrument's own first.
    """
    rows = np.flatnonzero(notes.part == part)
    pitch = notes.pitch[rows]
    low, high = instrument.limits("professional")
    beyond = (pitch < low) | (pitch > high)
    outside = int(beyond.sum())
    if outside < LEAST_BEYOND or outside < BEYOND_SHARE * len(pitch):
        return None
    reach = furthest(instrument.id)
    within = (
        reach is not None and (reach.low or low) <= pitch.min() <= pitch.max() <= reach.high
    )
    if within and 2 * outside <= len(pitch):
        return None
    own = instrument.transposition
    intervals = [own, -own, _OCTAVE, -_OCTAVE, _OCTAVE + own, 2 * _OCTAVE, -2 * _OCTAVE]
    for interval in dict.fromkeys(step for step in intervals if step):
        inside = float(np.mean((pitch + interval >= low) & (pitch + interval <= high)))
        if inside >= INSIDE_SHARE:
            first = int(notes.bar[rows[np.flatnonzero(beyond)[0]]])
            return Misread(part, interval, first, outside, len(pitch))
    return None


def against(played: Played, register: Resisting) -> Against | None:
    """Where a part lies in a register that resists its dynamic, None where it nowhere does so
    for long. played: one part. A register soft by nature resists f and more, one loud by
    nature pp and less; where no dynamics are written nothing is known.
    """
    notes = played.notes
    if not played.marked:
        return None
    loud = register.dynamic == "loud"
    marked = notes.loudness >= _LOUD - 1e-6 if loud else notes.loudness <= _SOFT + 1e-6
    there = marked & (notes.pitch >= register.low) & (notes.pitch <= register.high)
    beats = there * notes.duration / played.bars.beat[notes.bar]
    runs = [
        (float(beats[(notes.bar >= first) & (notes.bar < last)].sum()), (first, last))
        for first, last in height.runs_of(notes, there)
    ]
    told = sorted((each for each in runs if each[0] >= LEAST_AGAINST), key=lambda r: -r[0])
    if not told:
        return None
    longest, (first, last) = told[0]
    rows = there & (notes.bar >= first) & (notes.bar < last)
    return Against(
        runs=tuple(run for _, run in told),
        low=int(notes.pitch[rows].min()),
        high=int(notes.pitch[rows].max()),
        beats=round(longest, 2),
        mark=nearest_mark(float(np.median(notes.loudness[rows]))),
    )


def tessitura(notes: Notes) -> tuple[int, int, int]:
    """Where a voice lies for eight tenths of its time: lowest, middle and highest pitch."""
    time = np.cumsum(np.bincount(notes.pitch, weights=notes.duration, minlength=128))
    low, middle, high = (int((time < q * time[-1] - 1e-9).sum()) for q in TESSITURA)
    return low, middle, high


def stretches(notes: Notes) -> list[tuple[int, int]]:
    """The bars in which a voice sings in three parts of equally many, half-open runs.

    None where they would be shorter than LEAST_SUNG bars.
    """
    sung = np.unique(notes.bar)
    if len(sung) < STRETCHES * LEAST_SUNG:
        return []
    parts = np.array_split(sung, STRETCHES)
    return [(int(part[0]), int(part[-1]) + 1) for part in parts]
