"""Notes laid out by hand, for tests of the measures: four ticks a beat, four beats a bar."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from corpusreg.measures.texture import Texture, texture
from corpusreg.score.played import Notes, PlayedBars

__all__ = ["BAR", "BEAT", "bars_of", "chords", "line", "notes_of", "weave"]

BEAT = 4
BAR = 4 * BEAT

# (pitch, onset, duration), then where needed loudness, then part.
Row = tuple[float, ...]


def notes_of(rows: Sequence[Row]) -> Notes:
    """Sounding notes in the order that `Notes` promises; bars are bars of 4/4."""
    full = [(*row, *(1.0, 0)[len(row) - 3 :]) for row in rows]
    table = np.array(full, float).reshape(len(rows), 5)
    table = table[np.lexsort((table[:, 2], table[:, 4], table[:, 0], table[:, 1]))]
    pitch, onset, duration, loudness, part = table.T
    n = len(rows)
    return Notes(
        part=part.astype(np.int16),
        staff=np.ones(n, np.int16),
        voice=np.zeros(n, np.int16),
        bar=(onset // BAR).astype(np.int64),
        onset=onset.astype(np.int64),
        duration=duration.astype(np.int64),
        pitch=pitch.astype(np.int64),
        loudness=loudness,
        written=duration.astype(np.int64),
    )


def bars_of(lengths: Sequence[int], beat: int = BEAT) -> PlayedBars:
    """Played bars laid end to end, each of its own length in ticks."""
    length = np.array(lengths, np.int64)
    n = len(length)
    return PlayedBars(
        written=np.arange(n),
        time=np.ones(n, np.int64),
        start=np.concatenate(([0], np.cumsum(length)[:-1])).astype(np.int64),
        length=length,
        full=length,
        beat=np.full(n, beat, np.int64),
        section=np.zeros(n, bool),
        printed=tuple(str(bar + 1) for bar in range(n)),
    )


def weave(rows: Sequence[Row], count: int) -> Texture:
    """Texture of some notes over `count` bars of 4/4."""
    return texture(notes_of(rows), bars_of([BAR] * count))


def chords(*bars: Sequence[int]) -> Texture:
    """Each bar one held chord; an empty bar is silent."""
    rows = [(p, bar * BAR, BAR) for bar, own in enumerate(bars) for p in own]
    return weave(rows, len(bars))


def line(*bars: Sequence[int]) -> Texture:
    """Each bar one voice, its pitches equally long (they divide a bar of 16)."""
    rows = [
        (p, bar * BAR + i * BAR // len(own), BAR // len(own))
        for bar, own in enumerate(bars)
        for i, p in enumerate(own)
    ]
    return weave(rows, len(bars))
