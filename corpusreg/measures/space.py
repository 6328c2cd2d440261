"""How wide a work ranges, and the shape of its register over time.

- span: highest minus lowest pitch, semitones. Every note counts, however short.
- core_span: quantile .95 minus quantile .05 of the work's weight, semitones. A
  short, soft or passing note uses a register without filling it.
- octaves_in_use: exp of the entropy of weight over octaves C to B (Shannon
  1948); 1 when all weight lies in one octave, k when k octaves share it equally.
- band shares: share of weight in each octave C to B.
- curve: lower edge, middle and upper edge, part by part.

For the curve a piece is cut into PARTS equal parts of its played bars. In each the pitches
below which 5, 50 and 95 % of the weight lie are its lower edge, its middle and its upper edge.
Works of different length and height are laid over each other by these curves, each counted
from the mean of its middle.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.texture import EDGE, PITCHES, Texture, quantiles

__all__ = ["PARTS", "band_shares", "core", "curve", "distances_between", "octaves_in_use"]

_BANDS = -(-PITCHES // 12)


def core(total: NDArray[np.float64]) -> tuple[int, int]:
    """Pitches at the quantiles .05 and .95 of weight; total: shape (128,)."""
    reached = np.cumsum(total) / total.sum()
    low, high = (int((reached < share - 1e-9).sum()) for share in (EDGE, 1 - EDGE))
    return low, high


def band_shares(total: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of weight by octave, shape (11,); entry 0 is octave -1 (MIDI 0-11)."""
    padded = np.zeros(_BANDS * 12)
    padded[:PITCHES] = total
    return np.asarray(padded.reshape(_BANDS, 12).sum(axis=1) / total.sum())


def octaves_in_use(total: NDArray[np.float64]) -> float:
    """Effective number of octaves, 1 to 11; total: shape (128,), weight by pitch."""
    share = band_shares(total)
    share = share[share > 0]
    return float(np.exp(-(share * np.log(share)).sum()))


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
