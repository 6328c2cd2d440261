"""Saturation: how far an octave is filled with sound, moment by moment.

Definition
----------
In every beat each octave C to B takes in

    sound    1 - product over its pitches of (1 - weight), weight as in
             `corpusreg.measures.texture`, with struck and plucked notes dying away
             (below): how continuously, how loud, how many pitches;
    attacks  ATTACK x, for every moment at which notes begin in it, the loudest of
             them and a quarter of the loudness of the others, per beat.

A leaky integral with a time constant of 8 seconds where a tempo is written, of 4
bars elsewhere, carries this from beat to beat, and 1 - exp(-level / FULL) brings it
to [0, 1): a fast loud run fills an octave more than short loud chords, these more
than short soft chords, these more than one soft held note, and silence not at all.
It never falls when a note is made longer, louder or more frequent.

Everything is computed at half and at double the time constant too. A band is
called saturated only where it reaches SATURATED at all three.

Background (drones, ostinati) counts like everything else.

Decay
-----
A note of a piano, harpsichord, harp or guitar dies away while it is held. Its
loudness falls by exp(-age / time constant); time constants are counted in beats,
since seconds would measure which files state a tempo:

    struck 6 beats, plucked 3 beats (common practice, no source).

Within one beat a note has one level, the mean over that beat as if it were held to
its end, so that a shorter note is never louder. Bowed, blown and sung notes keep
their loudness.

Decay counts in saturation and not in the weight that everything else stands on: there it made
folded twins harder to tell, and a score whose instrument has no name would be measured
otherwise than the same music with one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.texture import PITCHES
from corpusreg.score.played import Notes, PlayedBars

__all__ = ["SATURATED", "Saturation", "decayed", "full", "saturation"]

BANDS = -(-PITCHES // 12)
SECONDS, BARS = 8.0, 4.0  # time constants
FACTORS = (1.0, 0.5, 2.0)
ATTACK = 2.0
OTHERS = 0.25
FULL = 3.0
SATURATED = 0.8
_MOMENTS = 8  # to a beat: played chords are spread a little
_BLOCK = 32  # slices
_FASTEST = 20.0  # time constants in a slice: beyond it nothing is left
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Saturation:
    """levels: shape (3, slices, 11), in [0, 1), at the time constant, half and double it.

    Entry [:, :, 0] is octave -1 (MIDI 0-11). beat_bar: shape (slices,), played bar of
    each slice. constant: the time constant in words.
    """

    levels: Floats
    beat_bar: NDArray[np.int64]
    constant: str

    def peak(self, first: int, last: int) -> Floats:
        """Highest level of each octave in played bars first to last, shape (3, 11)."""
        return np.asarray(self._within(first, last).max(axis=1, initial=0.0))

    def mean(self, first: int, last: int) -> Floats:
        """Mean level of each octave in played bars first to last, shape (3, 11)."""
        within = self._within(first, last)
        return np.asarray(within.sum(axis=1) / max(within.shape[1], 1))

    def saturated(self, first: int, last: int) -> tuple[int, ...]:
        """Octave numbers whose peak reaches SATURATED at all three time constants."""
        return tuple((np.flatnonzero(full(self.peak(first, last))) - 1).tolist())

    def _within(self, first: int, last: int) -> Floats:
        a, b = np.searchsorted(self.beat_bar, (first, last))
        return self.levels[:, a:b]


def full(peak: Floats) -> NDArray[np.bool_]:
    """Whether each octave is saturated at all three time constants; peak: shape (3, 11)."""
    return np.asarray((peak >= SATURATED).all(axis=0))


def saturation(
    weights: Floats, notes: Notes, bars: PlayedBars, seconds: Floats | None
) -> Saturation:
    """Saturation of every octave in every beat.

    weights: of each pitch in each beat, with decay, shape (slices, 128). notes: as
    played, for their attacks. seconds: shape (bars,), length of each played bar, or
    None where no tempo is written.
    """
    edges, beat_bar = bars.beats
    lasting = np.diff(edges) / np.maximum(bars.full[beat_bar], 1)
    constant, words = BARS, f"{BARS:.0f} bars"
    if seconds is not None:
        share = np.diff(edges) / np.maximum(bars.length[beat_bar], 1)
        lasting, constant, words = share * seconds[beat_bar], SECONDS, f"{SECONDS:.0f} seconds"
    taken_in = _sound(weights) + ATTACK * _attacks(notes, edges, bars.beat[beat_bar])
    rates = lasting / (constant * np.array(FACTORS)[:, None])
    levels = _leaky(taken_in, np.minimum(rates, _FASTEST))
    return Saturation(-np.expm1(-levels / FULL), beat_bar, words)


def _sound(beats: Floats) -> Floats:
    padded = np.ones((len(beats), BANDS * 12))
    padded[:, :PITCHES] -= np.minimum(beats, 1.0)
    return np.asarray(1 - padded.reshape(len(beats), BANDS, 12).prod(axis=2), np.float64)


def _attacks(notes: Notes, edges: NDArray[np.int64], beat: NDArray[np.int64]) -> Floats:
    """Loudness of attacks per beat, shape (slices, 11)."""
    slices = len(edges) - 1
    at = np.minimum(np.searchsorted(edges, notes.onset, side="right") - 1, slices - 1)
    moment = (notes.onset - edges[at]) * _MOMENTS // np.maximum(beat[at], 1)
    cell = (at * _MOMENTS + np.minimum(moment, _MOMENTS - 1)) * BANDS + notes.pitch // 12
    size = slices * _MOMENTS * BANDS
    added = np.bincount(cell, weights=notes.loudness, minlength=size)
    loudest = np.zeros(size)
    np.maximum.at(loudest, cell, notes.loudness)
    strength = (1 - OTHERS) * loudest + OTHERS * added
    beats = np.maximum(np.diff(edges), 1) / np.maximum(beat, 1)
    return np.asarray(strength.reshape(slices, _MOMENTS, BANDS).sum(axis=1) / beats[:, None])


def _leaky(taken_in: Floats, rates: Floats) -> Floats:
    """The leaky integral of what is taken in, shape (constants, slices, 11).

    rates: shape (constants, slices), by how many time constants each slice lasts.
    Within a block the sum is scaled by what is left of it at the block's beginning.
    """
    gains = -np.expm1(-rates)[:, :, None] * taken_in
    result = np.empty_like(gains)
    level = np.zeros((len(rates), 1, taken_in.shape[1]))
    for start in range(0, len(taken_in), _BLOCK):
        block = slice(start, start + _BLOCK)
        passed = np.cumsum(rates[:, block], axis=1)[:, :, None]
        result[:, block] = np.exp(-passed) * (
            level + np.cumsum(gains[:, block] * np.exp(passed), axis=1)
        )
        level = result[:, block][:, -1:]
    return result


TIME_CONSTANTS: Mapping[str, float] = {"struck": 6.0, "plucked": 3.0}  # beats


def decayed(notes: Notes, bars: PlayedBars, classes: Sequence[str]) -> Notes:
    """The notes of decaying parts cut at beats, each piece at its mean loudness.

    classes: for each part of the score 'sustained', 'struck' or 'plucked'. Onsets of
    pieces are no attacks. Returns the same notes where nothing decays.
    """
    constants = np.array([TIME_CONSTANTS.get(each, np.inf) for each in classes])
    constant = constants[notes.part]
    if not np.isfinite(constant).any():
        return notes
    edges, beat_bar = bars.beats
    end = notes.onset + notes.duration
    first = np.searchsorted(edges, notes.onset, side="right") - 1
    last = np.searchsorted(edges, end, side="left")
    pieces = np.where(np.isfinite(constant), np.maximum(last - first, 1), 1)
    row = np.repeat(np.arange(len(notes)), pieces)
    inside = np.arange(len(row)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    slice_ = np.minimum(first[row] + inside, len(edges) - 2)
    begins = np.maximum(notes.onset[row], edges[slice_])
    dies = np.isfinite(constant)[row]
    stops = np.where(dies, np.minimum(end[row], edges[slice_ + 1]), end[row])
    beat = bars.beat[beat_bar[first[row].clip(max=len(beat_bar) - 1)]]
    level = _mean_level(
        (begins - notes.onset[row]) / beat,
        (np.maximum(edges[slice_ + 1], begins + 1) - notes.onset[row]) / beat,
        constant[row],
    )
    cut = notes.take(row)
    loudness = np.where(dies, cut.loudness * level, cut.loudness)
    sounds = stops > begins
    return replace(cut, onset=begins, duration=stops - begins, loudness=loudness).take(sounds)


def _mean_level(
    young: NDArray[np.float64], old: NDArray[np.float64], constant: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Mean of exp(-age / constant) between two ages in beats; 1 where nothing decays."""
    constant = np.where(np.isfinite(constant), constant, 1e12)
    span = np.maximum(old - young, 1e-9)
    return np.asarray(
        np.exp(-young / constant) * -np.expm1(-span / constant) * constant / span, np.float64
    )
