"""What sounds in which beat: the ground on which events are found.

Conventions
-----------
slice     a felt beat, as in `corpusreg.measures.texture`.
sounding  bars are counted only where something sounds: a bar of silence clears no
          register.
band      an octave C to B; entry 0 is octave -1 (MIDI 0-11), 11 in all.
edge      an overlap or an early attack of less than a sixteenth of a beat, as in
          played files, does not reach into the neighbouring slice.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.texture import PITCHES, beat_edges
from corpusreg.score.played import Notes, PlayedBars

__all__ = ["BANDS", "Presence", "presence"]

BANDS = -(-PITCHES // 12)
_EDGE = 16  # of a beat

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Presence:
    """sounds: shape (slices, 128). edges: ticks, shape (slices + 1,).

    beat_bar: shape (slices,), played bar of each slice. first_slice: slice at which
    each note begins, shape (notes,).
    """

    sounds: Bools
    edges: Ints
    beat_bar: Ints
    first_slice: Ints
    notes: Notes
    bars: PlayedBars

    def __len__(self) -> int:
        return len(self.beat_bar)

    @cached_property
    def heard(self) -> Floats:
        """Sounding bars before each slice and at the end, shape (slices + 1,)."""
        lasting = np.diff(self.edges) / np.maximum(self.bars.full[self.beat_bar], 1)
        return np.concatenate(([0.0], np.cumsum(lasting * self.sounding)))

    @cached_property
    def sounding(self) -> Bools:
        """Whether something sounds in the bar of each slice, shape (slices,)."""
        sounds = np.zeros(len(self.bars), bool)
        sounds[self.beat_bar[self.sounds.any(axis=1)]] = True
        return sounds[self.beat_bar]

    @cached_property
    def counts(self) -> NDArray[np.int32]:
        """Slices before each in which a pitch sounds, shape (slices + 1, 128)."""
        counts = np.zeros((len(self) + 1, PITCHES), np.int32)
        np.cumsum(self.sounds, axis=0, out=counts[1:])
        return counts

    @cached_property
    def lowest(self) -> Ints:
        """Lowest pitch of each slice, 128 in silence."""
        return np.where(self.sounds.any(axis=1), self.sounds.argmax(axis=1), PITCHES)

    @cached_property
    def highest(self) -> Ints:
        """Highest pitch of each slice, -1 in silence."""
        top = PITCHES - 1 - self.sounds[:, ::-1].argmax(axis=1)
        return np.where(self.sounds.any(axis=1), top, -1)

    def after(self, slices: Ints, bars: float = 1.0) -> Ints:
        """The slice that lies so many sounding bars after each slice."""
        return self._at(self.heard[slices] + bars)

    def before(self, slices: Ints, bars: float = 1.0) -> Ints:
        """The slice from which so many sounding bars are left before each slice."""
        return np.minimum(self._at(self.heard[slices] - bars), slices)

    def _at(self, heard: Floats) -> Ints:
        found = np.searchsorted(self.heard, heard - 1e-6, side="left")
        return np.minimum(found, len(self)).astype(np.int64)

    def between(self, first: Ints, last: Ints) -> Bools:
        """Pitches that sound in slices first to last, shape (k, 128)."""
        return np.asarray(self.counts[last] > self.counts[first])

    def beat(self, at: int) -> float:
        """Beat in its bar at which a slice begins, from 1."""
        return float(at - np.searchsorted(self.beat_bar, self.beat_bar[at]) + 1)


def presence(notes: Notes, bars: PlayedBars) -> Presence:
    """Where each pitch sounds, beat by beat. Needs at least one note."""
    edges, beat_bar = beat_edges(bars)
    slack = bars.beat[notes.bar] // _EDGE
    first = np.searchsorted(edges, notes.onset + slack, side="right") - 1
    first = np.minimum(first, len(beat_bar) - 1)
    last = np.searchsorted(edges, notes.onset + notes.duration - slack, side="left")
    last = np.clip(last, first + 1, len(beat_bar))
    size = (len(beat_bar) + 1) * PITCHES
    change = np.bincount(first * PITCHES + notes.pitch, minlength=size) - np.bincount(
        last * PITCHES + notes.pitch, minlength=size
    )
    sounds = np.cumsum(change.reshape(-1, PITCHES)[:-1], axis=0) > 0
    return Presence(sounds, edges, beat_bar, first, notes, bars)
