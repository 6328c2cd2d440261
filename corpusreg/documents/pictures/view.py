"""What a register map shows, and where: the piece as data, systems, both axes.

Conventions: bars are played bars, half-open; every bar is equally wide, as it counts
the same in the measures. Pitches are MIDI numbers; a note is one step high, centred.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from corpusreg.comparison.comparison import Comparison
from corpusreg.measures.analysis import Analysis

__all__ = [
    "NARROW", "Axes", "MapView", "axes_of", "cells", "edge_rows", "heaviest", "systems",
    "view_of",
]  # fmt: skip

_MARGIN = 2  # semitones beyond the outermost notes
_LEAST_SPAN = 24  # semitones on the axis, so that a narrow piece looks narrow
LEVELS = 4
NARROW = 2.5  # pixels; narrower bars are drawn several in a column
_FAINT = 0.02  # of the heaviest column, below which nothing is drawn


@dataclass(frozen=True)
class MapView:
    """A piece to be drawn. parts: analyses of the sounding parts by name, in score order."""

    title: str
    whole: Analysis
    parts: Mapping[str, Analysis] = field(default_factory=dict)


@dataclass(frozen=True)
class Axes:
    """One system: bars `first` to `last` from x `left`, pitches from the foot line up.

    bar: width of a bar. step: height of a semitone. top: y of the upper edge.
    """

    first: int
    last: int
    left: float
    top: float
    bar: float
    low: int
    high: int
    step: float

    @property
    def width(self) -> float:
        """Pixels from the first barline to the last."""
        return self.bar * (self.last - self.first)

    @property
    def height(self) -> float:
        """Pixels from the lowest note to the highest."""
        return self.step * (self.high - self.low + 1)

    @property
    def foot(self) -> float:
        """y of the lower edge."""
        return self.top + self.height

    @property
    def edges(self) -> range:
        """All barlines."""
        return range(self.first, self.last + 1)

    def x(self, bar: float) -> float:
        """Where a bar (or a place in it, as a fraction) begins."""
        return self.left + self.bar * (bar - self.first)

    def y(self, pitch: float) -> float:
        """The upper edge of a note's row."""
        return self.top + self.step * (self.high - pitch)

    def box(
        self, first: float, last: float, low: float, high: float
    ) -> tuple[float, float, float, float]:
        """x, y, width, height of bars first to last (half-open), notes low to high.

        What lies beyond the system is cut off.
        """
        a, b = max(first, self.first), min(last, self.last)
        bottom, top = max(low, self.low), min(high, self.high)
        return self.x(a), self.y(top), self.bar * (b - a), self.step * (top - bottom + 1)


def view_of(comparison: Comparison) -> MapView:
    """The piece of a comparison."""
    return MapView(comparison.piece.title, comparison.whole, comparison.parts)


def systems(first: int, last: int, most: int) -> list[tuple[int, int]]:
    """Bars cut into systems of equal length, the last one as short as need be.

    >>> systems(0, 10, 4)
    [(0, 4), (4, 8), (8, 10)]
    """
    count = max(-(-(last - first) // most), 1)
    each = -(-(last - first) // count)
    return [(at, min(at + each, last)) for at in range(first, last, each)]


def axes_of(analyses: Sequence[Analysis]) -> tuple[int, int]:
    """Lowest and highest row of an axis that holds all of some analyses."""
    return edge_rows(
        min(each.lowest for each in analyses), max(each.highest for each in analyses)
    )


def edge_rows(lowest: int, highest: int) -> tuple[int, int]:
    """Lowest and highest row of an axis for notes from one pitch to another."""
    low, high = lowest - _MARGIN, highest + _MARGIN
    lacking = max(_LEAST_SPAN - (high - low + 1), 0)
    return low - lacking // 2, high + math.ceil(lacking / 2)


def heaviest(analyses: Sequence[Analysis]) -> float:
    """The most that sounds on one pitch in one beat."""
    return max(float(each.heard.max()) for each in analyses)


def cells(
    analysis: Analysis, axes: Axes, top: float
) -> dict[int, list[tuple[float, float, float, float]]]:
    """Boxes by level 1 to LEVELS: what sounds, beat by beat, equal neighbours joined.

    top: the weight that is drawn darkest.
    """
    if axes.bar < NARROW:
        return _coarse(analysis, axes)
    bars = analysis.played.bars
    edges, beat_bar = bars.beats
    rows = np.flatnonzero((beat_bar >= axes.first) & (beat_bar < axes.last))
    if not len(rows):
        return {}
    weight = analysis.heard[rows]
    level = np.ceil(np.round(weight / top * LEVELS, 6)).astype(np.int64)
    inside = np.append(edges[rows], 0) - np.append(bars.start[beat_bar[rows]], 0)
    place = np.append(beat_bar[rows], axes.last).astype(float)
    place[:-1] += inside[:-1] / np.maximum(bars.length[beat_bar[rows]], 1)
    found: dict[int, list[tuple[float, float, float, float]]] = {}
    for pitch in np.flatnonzero(level.any(axis=0)).tolist():
        line = level[:, pitch]
        cuts = [0, *(np.flatnonzero(np.diff(line)) + 1).tolist(), len(line)]
        for a, b in pairwise(cuts):
            if line[a]:
                x, end = axes.x(place[a]), axes.x(place[b])
                box = (x, axes.y(pitch), end - x, axes.step)
                found.setdefault(int(line[a]), []).append(box)
    return found


def _coarse(
    analysis: Analysis, axes: Axes
) -> dict[int, list[tuple[float, float, float, float]]]:
    """Boxes where bars are narrower than can be told apart: several bars in a column.

    Weight is averaged over the bars of a column and set against the heaviest of them.
    """
    per = math.ceil(NARROW / axes.bar)
    starts = np.arange(axes.first, axes.last, per)
    weight = np.add.reduceat(analysis.texture.bars[: axes.last], starts, axis=0)
    share = weight / weight.max()
    level = np.where(share > _FAINT, np.minimum(1 + (LEVELS * share**0.6), LEVELS), 0)
    found: dict[int, list[tuple[float, float, float, float]]] = {}
    for pitch in np.flatnonzero(level.any(axis=0)).tolist():
        line = level[:, pitch].astype(int)
        cuts = [0, *(np.flatnonzero(np.diff(line)) + 1).tolist(), len(line)]
        for a, b in pairwise(cuts):
            if line[a]:
                x, end = axes.x(starts[a]), axes.x(min(axes.first + per * b, axes.last))
                box = (x, axes.y(pitch), end - x, axes.step)
                found.setdefault(int(line[a]), []).append(box)
    return found
