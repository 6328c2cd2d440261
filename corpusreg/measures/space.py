"""How wide a work ranges.

- span: highest minus lowest pitch, semitones. Every note counts, however short.
- core_span: quantile .95 minus quantile .05 of the work's weight, semitones. A
  short, soft or passing note uses a register without filling it.
- octaves_in_use: exp of the entropy of weight over octaves C to B (Shannon
  1948); 1 when all weight lies in one octave, k when k octaves share it equally.
- band shares: share of weight in each octave C to B.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.texture import EDGE, PITCHES

__all__ = ["band_shares", "core", "octaves_in_use"]

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
