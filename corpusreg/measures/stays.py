"""Stays: stretches of bars that keep one register.

Definition
----------
1. Five weight quantiles (.1 .3 .5 .7 .9) of every sounding bar are cut into
   segments of constant value by exact least squares: the cuts that make the sum
   of squared deviations (semitones squared, summed over the five quantiles, one
   bar counting 1) plus PENALTY for each segment smallest (optimal partitioning,
   Jackson et al. 2005).
2. A cut at which the texture does not shift is merged away, smallest first.
3. A stay also ends where a bar has drifted from the stay's own running profile
   by the threshold of a shift.

A silent bar belongs to the stay before it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.shifts import is_shift
from corpusreg.measures.texture import EDGE, Texture, distances, quantiles

__all__ = ["PENALTY", "Stay", "cuts", "expected_dwell", "segment", "stays"]

PENALTY = 60.0
_SHARES = (0.1, 0.3, 0.5, 0.7, 0.9)


@dataclass(frozen=True)
class Stay:
    """Played bars `first` to `last` (half-open) that keep one register.

    low, high: edges of the stay's weight (quantiles .05 and .95), MIDI numbers.
    fullness: mean weight a bar, in pitches sounding throughout at full loudness.
    """

    first: int
    last: int
    low: int
    high: int
    fullness: float

    @property
    def bars(self) -> int:
        """Length in bars."""
        return self.last - self.first

    @property
    def width(self) -> int:
        """Semitones between the edges."""
        return self.high - self.low


def segment(signal: NDArray[np.float64], penalty: float) -> list[int]:
    """Ends of the segments of an exact penalised least-squares fit.

    signal: shape (n, dimensions). The cost of a segment is its sum of squared
    deviations from its mean; every segment adds `penalty`. Returns segment ends,
    the last one being n. Ties are broken in favour of the longer last segment.
    """
    n = len(signal)
    added = np.vstack((np.zeros(signal.shape[1]), np.cumsum(signal, axis=0)))
    squares = np.concatenate(([0.0], np.cumsum((signal**2).sum(axis=1))))
    best = np.zeros(n + 1)
    best[0] = -penalty
    came_from = np.zeros(n + 1, np.int64)
    candidates = np.zeros(0, np.int64)
    for end in range(1, n + 1):
        candidates = np.append(candidates, end - 1)
        gap = added[end] - added[candidates]
        cost = squares[end] - squares[candidates] - (gap**2).sum(axis=1) / (end - candidates)
        total = best[candidates] + cost
        choice = int(np.argmin(total))
        best[end] = total[choice] + penalty
        came_from[end] = candidates[choice]
        # A start that is already dearer than a new segment can never win again
        # (Killick et al. 2012); the slack keeps rounding from deciding.
        candidates = candidates[total <= best[end] + 1e-6]
    ends = []
    at = n
    while at > 0:
        ends.append(at)
        at = int(came_from[at])
    return ends[::-1]


def cuts(texture: Texture) -> list[int]:
    """Ends of stays counted in sounding bars, the last one being their number."""
    signal = quantiles(texture.cumulated, _SHARES).astype(float)
    ends = _merge(texture, segment(signal, PENALTY))
    return _split_drift(texture, ends)


def stays(texture: Texture) -> list[Stay]:
    """All stays in order of time; they cover the work from the first bar to the last."""
    if not len(texture.sounding):
        return []
    ends = cuts(texture)
    starts = [0, *ends[:-1]]
    first = [0, *texture.sounding[ends[:-1]].tolist()]
    last = [*first[1:], len(texture.bars)]
    added = np.vstack((np.zeros(texture.bars.shape[1]), np.cumsum(texture.bars, axis=0)))
    result = []
    for start, end, a, b in zip(starts, ends, first, last, strict=True):
        profile = texture.cumulated[start:end].mean(axis=0)
        low, high = quantiles(profile[None], (EDGE, 1 - EDGE))[0]
        weight = float((added[b] - added[a]).sum()) / (b - a)
        result.append(Stay(a, b, int(low), int(high), weight))
    return result


def expected_dwell(lengths: NDArray[np.float64]) -> float:
    """Mean length of the stay one is in at a random moment, sum(d^2) / sum(d)."""
    return float((lengths**2).sum() / lengths.sum())


def _moves(a: NDArray[np.float64], b: NDArray[np.float64]) -> tuple[float, float, float]:
    """Mass, top and bottom moves between two summed profiles, semitones."""
    ends = quantiles(np.stack((a, b)), (EDGE, 1 - EDGE))
    bottom, top = ends[1] - ends[0]
    return float(distances(a, b)), float(top), float(bottom)


def _merge(texture: Texture, ends: list[int]) -> list[int]:
    """Remove cuts at which the neighbouring segments do not differ by a shift."""
    added = np.vstack((np.zeros(128), np.cumsum(texture.cumulated, axis=0)))
    points = [0, *ends]

    def moves(index: int) -> tuple[float, float, float]:
        a, b, c = points[index - 1], points[index], points[index + 1]
        return _moves((added[b] - added[a]) / (b - a), (added[c] - added[b]) / (c - b))

    while len(points) > 2:
        sizes = [moves(index) for index in range(1, len(points) - 1)]
        weak = [
            (mass, index)
            for index, (mass, top, bottom) in enumerate(sizes, start=1)
            if not is_shift(mass, top, bottom, texture.single_line)
        ]
        if not weak:
            break
        del points[min(weak)[1]]
    return points[1:]


def _split_drift(texture: Texture, ends: list[int]) -> list[int]:
    """End a stay where a two-bar window has left the stay's own running profile."""
    result: list[int] = []
    start = 0
    for end in ends:
        result += _drift_ends(texture, start, end)
        result.append(end)
        start = end
    return result


def _drift_ends(texture: Texture, start: int, end: int) -> list[int]:
    found = []
    running = texture.cumulated[start].copy()
    length = 1
    for bar in range(start + 1, end):
        window = texture.cumulated[bar : min(bar + 2, end)].mean(axis=0)
        mass, top, bottom = _moves(running / length, window)
        if is_shift(mass, top, bottom, texture.single_line):
            found.append(bar)
            running, length = texture.cumulated[bar].copy(), 1
        else:
            running += texture.cumulated[bar]
            length += 1
    return found
