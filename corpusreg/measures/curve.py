"""The shape of register over a piece: its lower edge, middle and upper edge, part by part.

The piece is cut into PARTS equal parts of its played bars. In each the pitches below which
5, 50 and 95 % of the weight lie are its lower edge, its middle and its upper edge. Works of
different length and height are laid over each other by these curves, each counted from the
mean of its middle.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.texture import EDGE, Texture, quantiles

__all__ = ["PARTS", "curve", "distances_between"]

PARTS = 10
Floats = NDArray[np.float64]


def curve(texture: Texture) -> Floats | None:
    """Lower edge, middle and upper edge of each part, shape (PARTS, 3), MIDI numbers.

    None for a piece of fewer bars than parts, and where one of its parts is silent.
    """
    bars = len(texture.bars)
    if bars < PARTS:
        return None
    starts = np.arange(PARTS) * bars // PARTS
    weights = np.add.reduceat(texture.bars, starts, axis=0)
    total = weights.sum(axis=1, keepdims=True)
    if not total.all():
        return None
    found = quantiles(np.cumsum(weights / total, axis=1), (EDGE, 0.5, 1 - EDGE))
    return found.astype(np.float64)


def distances_between(one: Floats, others: Floats) -> Floats:
    """Mean distance of a curve from others in semitones, height left out, shape (n,).

    one: shape (PARTS, 3); others: shape (n, PARTS, 3).
    """
    own = one - one[:, 1].mean()
    theirs = others - others[:, :, 1].mean(axis=1)[:, None, None]
    return np.asarray(np.abs(theirs - own).mean(axis=(1, 2)))
