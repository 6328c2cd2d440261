"""How far the measures of a piece depend on which of its passages one hears.

A piece is cut into blocks of bars, each is left out in turn, and the spread of what the
others give is the standard error of the value (the jackknife; Quenouille 1956, Biometrika
43:353-360, with blocks, since neighbouring bars are alike). What is made of stays leaves out
one stay after the other instead. No measure is worked out again: sums by block do. Few blocks
tell little of their spread, so that the error is widened as Student's t is wider than the
normal curve.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures import movement, space
from corpusreg.measures.analysis import EVENT_RATES, LONG_STAY, Analysis, is_narrow
from corpusreg.measures.shifts import counts_in_rate
from corpusreg.measures.stays import expected_dwell

__all__ = ["errors"]

BLOCKS = 8
SHORTEST = 2  # bars in a block
FEWEST = 3  # blocks, or stays: fewer tell nothing of a spread

# The .975 quantile of Student's t by degrees of freedom; the normal curve has 1.96.
_STUDENT = {2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 6: 2.447, 7: 2.365}

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def errors(analysis: Analysis) -> Mapping[str, float]:
    """Standard error of each measure in its own unit; a measure without one is not there."""
    bars = len(analysis.played.bars)
    count = min(BLOCKS, bars // SHORTEST)
    found = _of_stays(analysis)
    if count >= FEWEST:
        found |= _of_blocks(analysis, np.arange(bars) * count // bars, count)
    return {name: float(error) for name, error in found.items() if np.isfinite(error)}


def _of_blocks(analysis: Analysis, block: Ints, count: int) -> dict[str, float]:
    woven = analysis.texture
    bars = _counts(block, count)

    def rate(at: Ints) -> float:
        return _jackknife(100 * _without(_counts(block[at], count)) / _without(bars))

    def mean(steps: Floats, bar: Ints) -> float:
        here = block[bar]
        added, times = np.bincount(here, steps, count), _counts(here, count)
        with np.errstate(invalid="ignore", divide="ignore"):
            return _jackknife(_without(added) / _without(times))

    sounding = woven.beats.sum(axis=1) > 0
    beat = woven.beat_bar[sounding]
    beats = movement.between_beats(woven)
    inside = beat[1:] == beat[:-1]
    phrases = movement.between_phrases(woven)
    kinds = {
        name: np.array([e.bar for e in analysis.events if e.kind in which], np.int64)
        for name, which in EVENT_RATES.items()
    }
    weight = _without(np.add.reduceat(woven.bars, np.searchsorted(block, range(count))))
    core = np.array([space.core(each) for each in weight if each.any()])
    spread = np.array([space.octaves_in_use(each) for each in weight if each.any()])
    counted = [shift.bar for shift in analysis.moves if counts_in_rate(shift)]
    return {
        "span": _jackknife(_spans(analysis, block, count)),
        "core_span": _jackknife(core[:, 1] - core[:, 0]),
        "octaves_in_use": _jackknife(spread),
        "movement_beat": mean(beats, beat[1:]),
        "movement_bar": mean(movement.between_bars(woven), woven.sounding[1:]),
        "movement_phrase": mean(phrases, 4 + np.arange(len(phrases))),
        "travel": mean(beats[inside], beat[1:][inside]),
        "shift_rate": rate(np.array(counted, np.int64)),
        "hollow_share": mean(analysis.hollow, np.arange(len(block))),
        **{name: rate(at) for name, at in kinds.items()},
    }


def _spans(analysis: Analysis, block: Ints, count: int) -> Floats:
    """The span without each block."""
    notes = analysis.played.notes
    low, high = np.full(count, 999), np.full(count, -999)
    np.minimum.at(low, block[notes.bar], notes.pitch)
    np.maximum.at(high, block[notes.bar], notes.pitch)
    others = ~np.eye(count, dtype=bool)
    return np.array([high[rows].max() - low[rows].min() for rows in others], float)


def _of_stays(analysis: Analysis) -> dict[str, float]:
    length = np.array([stay.bars for stay in analysis.stays], float)
    if len(length) < FEWEST:
        return {}
    narrow = np.array([
        stay.bars * (stay.bars >= LONG_STAY and is_narrow(stay, analysis.texture.single_line))
        for stay in analysis.stays
    ], float)  # fmt: skip
    left = [np.delete(length, row) for row in range(len(length))]
    return {
        "expected_dwell": _jackknife(np.array([expected_dwell(each) for each in left])),
        "longest_dwell": _jackknife(np.array([each.max() for each in left])),
        "narrow_dwell": _jackknife(_without(narrow) / _without(length)),
    }


def _counts(index: Ints, count: int) -> Floats:
    return np.bincount(index, minlength=count).astype(float)


def _without(blocks: NDArray[Any]) -> Floats:
    """The sum of all other blocks, for each block."""
    return np.asarray(blocks.sum(axis=0) - blocks)


def _jackknife(left: Floats) -> float:
    """Standard error, from the value without each block in turn; NaN where one has none."""
    count = len(left)
    error = np.sqrt((count - 1) / count * ((left - left.mean()) ** 2).sum())
    return float(error * _STUDENT.get(count - 1, 2.2) / 1.96)
