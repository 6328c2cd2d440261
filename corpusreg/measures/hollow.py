"""Hollow textures: bars with a wide empty space inside.

A bar is hollow when, among the pitches that carry weight in it, two neighbours
lie an octave (12 semitones) or more apart above the lowest pair, or 19 semitones
or more apart at the lowest pair: an octave above the bass is ordinary spacing.
A pitch carries weight when it has at least a fiftieth of the bar's weight, so
that a passing note does not bridge a gap.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.texture import Texture

__all__ = ["GAP", "GAP_AT_BASS", "hollow_bars"]

GAP = 12
GAP_AT_BASS = 19
_CARRIES = 0.02


def hollow_bars(texture: Texture) -> NDArray[np.bool_]:
    """For each sounding bar, whether it is hollow; shape (sounding,)."""
    used = texture.profiles >= _CARRIES
    row, pitch = np.nonzero(used)
    gap = np.diff(pitch, append=0)
    same = np.append(row[1:] == row[:-1], False)
    lowest = np.append(True, row[1:] != row[:-1])
    wide = same & (gap >= np.where(lowest, GAP_AT_BASS, GAP))
    hollow = np.zeros(len(used), bool)
    hollow[row[wide]] = True
    return hollow
