"""What sounds from moment to moment: the ground on which events are found.

Conventions
-----------
moment    a tick at which a note begins or ends; a state holds until the next moment.
clock     time in bars of the metre; a bar in which nothing sounds takes no time, so that
          silence of the whole clears no place.
hand      one staff of one part: a pianist's hands, a player's only staff.
lasting   a note without its articulation: it lasts until the next onset of its own voice
          where that comes within a bar, else to the end of its bar, and never less than
          it is written, whatever dot, rest or pedal goes with it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events import final_bar
from corpusreg.measures.texture import PITCHES, sounding
from corpusreg.score.played import Notes, PlayedBars

__all__ = ["Ground", "ground", "lasting"]

SILENT = -1  # in place of a pitch

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Ground:
    """Notes in order of onset, with the states between their onsets and ends.

    moments: ticks, shape (m + 1,), the last one the end of all sound. sounds: shape
    (m, 128), which pitches sound from each moment to the next. on, off: clock at the
    beginning and end of each note, shape (n,). first, stop: moments at which each note
    begins and ends.
    """

    notes: Notes
    bars: PlayedBars
    moments: Ints
    sounds: Bools
    clock: Floats
    first: Ints
    stop: Ints

    @property
    def on(self) -> Floats:
        """Clock at which each note begins, shape (n,)."""
        return self.clock[self.first]

    @property
    def off(self) -> Floats:
        """Clock at which each note ends, shape (n,)."""
        return self.clock[self.stop]

    @cached_property
    def lasts(self) -> Floats:
        """Bars from each moment to the next, shape (m,)."""
        return np.diff(self.clock)

    @cached_property
    def any(self) -> Bools:
        """Whether anything sounds, shape (m,)."""
        return np.asarray(self.sounds.any(axis=1))

    @cached_property
    def lowest(self) -> Ints:
        """Lowest pitch from each moment on, SILENT where nothing sounds, shape (m,)."""
        return np.where(self.any, self.sounds.argmax(axis=1), SILENT)

    @cached_property
    def highest(self) -> Ints:
        """Highest pitch from each moment on, SILENT where nothing sounds, shape (m,)."""
        top = PITCHES - 1 - self.sounds[:, ::-1].argmax(axis=1)
        return np.where(self.any, top, SILENT)

    @cached_property
    def bar(self) -> Ints:
        """Played bar of each moment, shape (m + 1,)."""
        return np.searchsorted(self.bars.start, self.moments, side="right") - 1

    @cached_property
    def hand(self) -> Ints:
        """Number of the hand that plays each note, shape (n,)."""
        key = self.notes.part.astype(np.int64) * 64 + self.notes.staff
        return np.asarray(np.unique(key, return_inverse=True)[1], np.int64)

    @property
    def final(self) -> int:
        """The played bar in which the final cadence begins."""
        return final_bar(len(self.bars))

    def at(self, clock: Floats) -> Ints:
        """The moment in force at each time of the clock."""
        found = np.searchsorted(self.clock, clock + 1e-9, side="right") - 1
        return np.minimum(np.maximum(found, 0), len(self.lasts) - 1)

    def beat(self, tick: int, bar: int) -> float:
        """Beat in its bar at which a tick lies, from 1."""
        beat = max(int(self.bars.beat[bar]), 1)
        return 1 + (tick - int(self.bars.start[bar])) / beat


def ground(notes: Notes, bars: PlayedBars) -> Ground:
    """States of the sound from moment to moment. Needs at least one note."""
    end = notes.onset + notes.duration
    moments = np.unique(np.concatenate((notes.onset, end)))
    first = np.searchsorted(moments, notes.onset)
    stop = np.searchsorted(moments, end)
    sounds = sounding(first, stop, notes.pitch, len(moments) - 1)
    return Ground(notes, bars, moments, sounds, _clock(notes, bars, moments), first, stop)


def _clock(notes: Notes, bars: PlayedBars, moments: Ints) -> Floats:
    """Time of each moment in bars of the metre, silent bars taking none."""
    change = np.zeros(len(bars) + 1, np.int64)
    last = np.searchsorted(bars.start, notes.onset + notes.duration, side="left")
    np.add.at(change, notes.bar, 1)
    np.add.at(change, np.maximum(last, notes.bar + 1), -1)
    sounding = np.cumsum(change)[:-1] > 0
    full = np.maximum(bars.full, 1)
    before = np.concatenate(([0.0], np.cumsum(bars.length / full * sounding)))
    bar = np.searchsorted(bars.start, moments, side="right") - 1
    inside = (moments - bars.start[bar]) / full[bar] * sounding[bar]
    return np.asarray(before[bar] + inside)


def lasting(notes: Notes, bars: PlayedBars) -> Notes:
    """The notes without their articulation; see the module's conventions."""
    n = len(notes)
    voice = (notes.part.astype(np.int64) << 32) | (notes.staff.astype(np.int64) << 16)
    voice |= notes.voice.astype(np.int64) & 0xFFFF
    order = np.lexsort((notes.onset, voice))
    onset, own = notes.onset[order], voice[order]
    # The next onset of a chord's notes is that of the next chord.
    chord = np.append(True, (onset[1:] != onset[:-1]) | (own[1:] != own[:-1]))
    number = np.cumsum(chord) - 1
    heads, voices = onset[chord], own[chord]
    far = np.iinfo(np.int64).max // 2
    following = np.append(np.where(voices[1:] == voices[:-1], heads[1:], far), far)
    bar = notes.bar[order]
    bar_end = bars.start[bar] + bars.length[bar]
    gap = following[number] - onset
    until = np.where(gap <= bars.full[bar], following[number], bar_end)
    lasts = np.empty(n, np.int64)
    lasts[order] = np.maximum(notes.written[order], until - onset)
    return replace(notes, duration=lasts)
