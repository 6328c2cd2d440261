"""The notes of a piece as numbers small enough to travel in a page that plays them.

Conventions: times in milliseconds from the beginning of the piece as played. Where no
tempo is written every felt beat lasts BEAT seconds. Inside a bar time runs evenly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corpusreg import instruments
from corpusreg.score.played import Played

__all__ = ["BEAT", "sound"]

BEAT = 0.75  # seconds; 80 a minute


@dataclass(frozen=True)
class Sound:
    """Notes in order of onset; lists of notes have one entry a note.

    bars: when each played bar begins, and the end of the last, shape (bars + 1,).
    steps: from the onset before (the first from 0). lasts, pitches (MIDI numbers):
    of each note. loud: 0 to 100. fades: 1 where the sound dies away by itself (piano,
    plucked, struck), else 0. tempo_known: whether the tempo is written.
    """

    bars: list[int]
    steps: list[int]
    lasts: list[int]
    pitches: list[int]
    loud: list[int]
    fades: list[int]
    tempo_known: bool


def sound(played: Played) -> Sound:
    """All notes of a work as heard."""
    bars, notes = played.bars, played.notes
    seconds = played.seconds
    if seconds is None:
        seconds = BEAT * bars.length / np.maximum(bars.beat, 1)
    edges = np.concatenate(([0.0], np.cumsum(seconds)))
    ticks = np.append(bars.start, bars.start[-1] + bars.length[-1])
    # A bar of no length would make time stand still; it holds no notes.
    begins = np.interp(notes.onset, ticks, edges)
    ends = np.interp(notes.onset + notes.duration, ticks, edges)
    onset = np.rint(1000 * begins).astype(np.int64)
    matched = instruments.load().match_all(played.parts)
    fading = np.array([m is not None and m.decay != "sustained" for m in matched], bool)
    return Sound(
        bars=np.rint(1000 * edges).astype(np.int64).tolist(),
        steps=np.diff(onset, prepend=0).tolist(),
        lasts=np.maximum(np.rint(1000 * (ends - begins)), 1).astype(np.int64).tolist(),
        pitches=notes.pitch.tolist(),
        loud=np.rint(100 * notes.loudness).astype(np.int64).tolist(),
        fades=fading[notes.part].astype(np.int64).tolist(),
        tempo_known=played.tempo_known,
    )
