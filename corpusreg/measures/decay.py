"""Decay of struck and plucked sounds, beat by beat.

A note of a piano, harpsichord, harp or guitar dies away while it is held. Its
loudness falls by exp(-age / time constant); time constants are counted in beats,
since seconds would measure which files state a tempo:

    struck 6 beats, plucked 3 beats (common practice, no source).

Within one beat a note has one level, the mean over that beat as if it were held to
its end, so that a shorter note is never louder. Bowed, blown and sung notes keep
their loudness.

Decay counts in saturation and not in the weight that everything else stands on. Tried
in the weight on 24 works of each kind (tests/validity), it left hidden stays, entrances
and folded twins as they were, but twins whose entries keep the old register had the
longer usual stay less often (piano 89 to 78 %, songs 70 to 60 %), their wider core span
more often (piano 61 to 72 %); and a score whose instrument has no name would be
measured otherwise than the same music with one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.texture import beat_edges
from corpusreg.score.played import Notes, PlayedBars

__all__ = ["decayed"]

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
    edges, beat_bar = beat_edges(bars)
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
