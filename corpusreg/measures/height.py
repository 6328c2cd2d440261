"""How high something lies for the one who plays it, and for the ensemble.

Conventions
-----------
span      (lowest, highest) MIDI number, both ends included, the highest above the lowest.
height    h = (pitch - lowest) / (highest - lowest) over a span: 0 at its lowest
          note, 1 at its highest, below 0 or above 1 outside it; never clipped.
amount    shape (128,), how much of something there is on each MIDI number: weight
          (`corpusreg.measures.texture`) or sounding time. Not all zero.
edge      the lowest and the highest tenth of an instrument's range, and all that
          lies beyond its comfortable span or beyond the range.
thirds    low, middle and high third of a span; a note on a border belongs to the
          middle, what lies beyond the span to the third beside it.
grid      amount by third of the ensemble's compass and third of the instrument's
          range, as shares. The compass of an ensemble is the union of its
          instruments' professional ranges: one cut from the piece itself would
          find a low, a middle and a high in every six-note tune.
audible   A0 to C8, the keyboard of the piano, as the space that is written for
          (common practice, no source).
still     one stay covers four fifths of a passage.

On the scale of heights a range counts as many steps as the ranges of the players
have semitones on average, so that the thresholds of stays and shifts apply to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.stays import Stay
from corpusreg.measures.texture import EDGE, PITCHES
from corpusreg.score.played import Notes

__all__ = [
    "AUDIBLE", "Floats", "Height", "Run", "at_edge", "edge_but_middle", "equally_high", "grid",
    "heights", "inside", "is_still", "longest_run", "measure", "middle_but_edge", "on_height",
    "runs_of", "share", "third_shares", "thirds", "union",
]  # fmt: skip

Span = tuple[int, int]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Run = tuple[int, int]  # bars, half-open

AUDIBLE: Span = (21, 108)
EDGE_TENTH = 0.1
STILL = 0.8  # share of a passage
_PITCH = np.arange(PITCHES)


@dataclass(frozen=True)
class Height:
    """Where an amount lies in a span.

    mean: mean height. low, high: heights of the quantiles .05 and .95 of the amount.
    """

    mean: float
    low: float
    high: float


def heights(span: Span) -> Floats:
    """Height of every MIDI number in a span, shape (128,)."""
    low, high = span
    return (_PITCH - low) / (high - low)


def measure(amount: Floats, span: Span) -> Height:
    """Mean and edges of an amount as heights in a span."""
    h = heights(span)
    reached = np.cumsum(amount) / amount.sum()
    low, high = (int((reached < q - 1e-9).sum()) for q in (EDGE, 1 - EDGE))
    return Height(float(amount @ h / amount.sum()), float(h[low]), float(h[high]))


def inside(spans: Iterable[Span]) -> Flags:
    """Which MIDI numbers lie in one span or another, shape (128,)."""
    found = np.zeros(PITCHES, bool)
    for low, high in spans:
        found |= (low <= _PITCH) & (high >= _PITCH)
    return found


def share(amount: Floats, where: Flags) -> float:
    """Share of an amount (0 to 1) that lies on the flagged MIDI numbers."""
    # Sums in different order may differ in the last bit.
    return min(float(amount[where].sum() / amount.sum()), 1.0)


def at_edge(span: Span, comfortable: Span) -> Flags:
    """Which MIDI numbers lie at the edge of an instrument, shape (128,)."""
    h = heights(span)
    # The tolerance keeps a note on the border of a tenth from being decided by rounding.
    outer = (h <= EDGE_TENTH + 1e-9) | (h >= 1 - EDGE_TENTH - 1e-9)
    return np.asarray(outer | ~inside([comfortable]), np.bool_)


def thirds(span: Span) -> NDArray[np.int64]:
    """Third of a span for every MIDI number: 0 low, 1 middle, 2 high; shape (128,)."""
    h = heights(span)
    return np.where(h < 1 / 3 - 1e-9, 0, np.where(h > 2 / 3 + 1e-9, 2, 1)).astype(np.int64)


def third_shares(amount: Floats, span: Span) -> Floats:
    """Shares of an amount in the low, middle and high third of a span, shape (3,)."""
    shares = np.bincount(thirds(span), weights=amount, minlength=3) / amount.sum()
    return np.asarray(shares, np.float64)


def grid(amount: Floats, compass: Span, span: Span) -> Floats:
    """Shares by third of the compass (rows) and of the instrument's range, shape (3, 3)."""
    cell = 3 * thirds(compass) + thirds(span)
    shares = np.bincount(cell, weights=amount, minlength=9) / amount.sum()
    return np.asarray(shares.reshape(3, 3), np.float64)


def middle_but_edge(compass: Span, span: Span, comfortable: Span) -> Flags:
    """MIDI numbers in the middle third of the compass, at the edge of the instrument."""
    return np.asarray((thirds(compass) == 1) & at_edge(span, comfortable), np.bool_)


def edge_but_middle(compass: Span, span: Span) -> Flags:
    """MIDI numbers in an outer third of the compass, in the middle third of the instrument.

    Thirds and not tenths of the compass: its outer tenths are the outer tenths of
    its outermost instruments, whose middle never lies there.
    """
    return np.asarray((thirds(compass) != 1) & (thirds(span) == 1), np.bool_)


def union(spans: Sequence[Span]) -> Span:
    """The span from the lowest to the highest note of some spans, at least one."""
    return min(low for low, _ in spans), max(high for _, high in spans)


def on_height(bars: Floats, span: Span, steps: int) -> Floats:
    """Weights by bar on the scale of heights, shape (bars, 128).

    steps: of a range, 1 to 127; the range lies in the middle of the scale. What lies
    beyond the scale counts on its last step: it serves stays only.
    """
    step = np.round(heights(span) * steps).astype(np.int64) + (PITCHES - steps) // 2
    step = np.clip(step, 0, PITCHES - 1)
    result = np.zeros((len(bars), PITCHES))
    np.add.at(result.T, step, bars.T)
    return result


def is_still(stays: Sequence[Stay], first: int, last: int) -> bool:
    """Whether one stay covers four fifths of the played bars `first` to `last` (half-open)."""
    covered = (min(stay.last, last) - max(stay.first, first) for stay in stays)
    return max(covered, default=0) >= STILL * (last - first)


def equally_high(amount: Floats, home: Span, other: Span) -> float:
    """Semitones up (positive) that give an amount the mean height in `other` it has at home.

    >>> low_note = np.eye(128)[60]
    >>> equally_high(low_note, (60, 72), (48, 60))
    -12.0
    """
    low, high = other
    mean = float(amount @ _PITCH / amount.sum())
    return low + measure(amount, home).mean * (high - low) - mean


def longest_run(notes: Notes, where: Flags) -> Run | None:
    """The longest run of bars with half of their time or more on the flagged pitches."""
    return max(
        runs_of(notes, where[notes.pitch]),
        key=lambda run: (run[1] - run[0], -run[0]),
        default=None,
    )


def runs_of(notes: Notes, where: Flags) -> list[Run]:
    """Runs of bars with half of their time or more in the flagged notes, where: shape (n,)."""
    much = np.bincount(notes.bar, weights=notes.duration * where)
    all_time = np.bincount(notes.bar, weights=notes.duration)
    runs: list[Run] = []
    for bar in np.flatnonzero((all_time > 0) & (2 * much >= all_time)).tolist():
        if runs and runs[-1][1] == bar:
            runs[-1] = (runs[-1][0], bar + 1)
        else:
            runs.append((bar, bar + 1))
    return runs
