"""What sounds from moment to moment, and the outer lines: the ground of events of line.

Conventions
-----------
moment   a stretch of time between two onsets, ends or bar lines, in which nothing changes.
held     a note lasts until its hand strikes again, at most a bar: a dot or a short rest
         after it does not make a line rise or fall.
hand     the notes of one part and staff.
line     lowest or highest held pitch, moment by moment; -1 in silence.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.texture import PITCHES, sounding
from corpusreg.score.played import Notes, Played, PlayedBars

__all__ = ["SILENT", "Moments", "moments"]

SILENT = -1

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Moments:
    """times: ticks, shape (k + 1,). bar: played bar of each moment, shape (k,).

    sounds: which pitches are held in each moment, shape (k, 128).
    """

    notes: Notes
    bars: PlayedBars
    ends: Ints
    times: Ints
    bar: Ints
    sounds: Bools

    @cached_property
    def hand(self) -> Ints:
        """The hand of each note, shape (n,)."""
        return _hands(self.notes)

    @cached_property
    def lowest(self) -> Ints:
        """The lower outer line, shape (k,)."""
        return np.where(self.sounds.any(axis=1), self.sounds.argmax(axis=1), SILENT)

    @cached_property
    def highest(self) -> Ints:
        """The upper outer line, shape (k,)."""
        top = PITCHES - 1 - self.sounds[:, ::-1].argmax(axis=1)
        return np.where(self.sounds.any(axis=1), top, SILENT)

    @cached_property
    def lasting(self) -> Floats:
        """Length of each moment as a share of its bar, shape (k,)."""
        return np.diff(self.times) / np.maximum(self.bars.length[self.bar], 1)

    @cached_property
    def strikes(self) -> tuple[Ints, Ints, Ints]:
        """First and last row (half-open) of what each onset strikes, and its moment."""
        onset = self.notes.onset
        first = np.flatnonzero(np.append(True, onset[1:] != onset[:-1]))
        last = np.append(first[1:], len(onset))
        return first, last, np.searchsorted(self.times, onset[first])

    @cached_property
    def share(self) -> Floats:
        """Share of each bar in which each pitch is held, shape (bars, 128)."""
        used = slice(int(self.notes.pitch.min()), int(self.notes.pitch.max()) + 1)
        held = np.ascontiguousarray(self.sounds[:, used].T) * self.lasting
        reach = np.zeros((len(held), len(self.lasting) + 1))
        np.cumsum(held, axis=1, out=reach[:, 1:])
        first = np.searchsorted(self.bar, np.arange(len(self.bars) + 1))
        share = np.zeros((len(self.bars), PITCHES))
        share[:, used] = np.diff(reach[:, first]).T
        return share

    @cached_property
    def written(self) -> Bools:
        """Whether each pitch is struck or still written in each bar, shape (bars, 128)."""
        notes, bars = self.notes, self.bars
        stop = np.searchsorted(bars.start, notes.onset + notes.written, side="left")
        return sounding(notes.bar, stop, notes.pitch, len(bars))

    @cached_property
    def single_line(self) -> bool:
        """No two pitches are held together for more than a hundredth of the time."""
        together = self.lowest != self.highest
        return bool((together * self.lasting).sum() < self.lasting.sum() / 100)

    @cached_property
    def beats(self) -> tuple[Ints, Ints]:
        """Moments at which felt beats begin, shape (beats + 1,), and the bar of each beat."""
        edges, beat_bar = self.bars.beats
        return np.searchsorted(self.times[:-1], edges), beat_bar

    def beat_at(self, tick: int, bar: int) -> float:
        """Felt beat of a tick in its bar, from 1."""
        beat = max(int(self.bars.beat[bar]), 1)
        return round((tick - int(self.bars.start[bar])) / beat + 1, 3)


def _hands(notes: Notes) -> Ints:
    """Part and staff of each note as one number, shape (n,)."""
    return notes.part.astype(np.int64) * 256 + notes.staff


def held_ends(notes: Notes, bars: PlayedBars) -> Ints:
    """Ticks at which notes end when they are held until their hand strikes again, (n,).

    At most a bar from their beginning, and never shorter than they are.
    """
    hand = _hands(notes)
    order = np.lexsort((notes.onset, hand))
    hand, onset = hand[order], notes.onset[order]
    begins = np.flatnonzero(np.append(True, (np.diff(onset) > 0) | (np.diff(hand) > 0)))
    strike = np.append(onset[begins[1:]], 0)
    same = np.append(hand[begins[1:]] == hand[begins[:-1]], False)
    strike = np.where(same, strike, onset[begins] + bars.full[notes.bar[order][begins]])
    following = np.empty(len(order), np.int64)
    following[order] = np.repeat(strike, np.diff(begins, append=len(order)))
    latest = np.minimum(following, notes.onset + bars.full[notes.bar])
    end = int(bars.start[-1] + bars.length[-1])
    own = notes.onset + notes.written
    return np.asarray(np.maximum(own, np.minimum(latest, max(end, int(own.max())))))


def moments(played: Played) -> Moments:
    """What is held from moment to moment. Needs at least one note."""
    notes, bars = played.notes, played.bars
    ends = held_ends(notes, bars)
    last = max(int(bars.start[-1] + bars.length[-1]), int(ends.max()))
    times = np.unique(np.concatenate((notes.onset, ends, bars.start, (last,))))
    first, stop = np.searchsorted(times, notes.onset), np.searchsorted(times, ends)
    sounds = sounding(first, stop, notes.pitch, len(times) - 1)
    bar = np.searchsorted(bars.start, times[:-1], side="right") - 1
    return Moments(notes, bars, ends, times, np.maximum(bar, 0), sounds)
