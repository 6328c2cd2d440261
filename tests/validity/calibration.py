"""Part 6: are percentiles right for composers that the reference has not seen?

Works of one half of the composers are placed among those of the other half. Where
percentiles are right they are spread evenly from 0 to 100, at every length.

Conventions
-----------
rank        percentile / 100 with ties spread at random over the width they share.
distance    Kolmogorov distance of the ranks from an even spread, composers weighing
            the same.
critical    1.628 / sqrt(n), the 99 % point of the one-sample distance for large n
            (Smirnov 1948, Ann. Math. Stat. 19:279-281), with n = a b / (a + b) from the
            effective sizes a of the placed works and b of the reference.
effective   1 / (sum over K composers of (1 + (n_c - 1) r) / n_c / K^2): works of one
            composer tell less than as many of different ones by their intraclass
            correlation r (one-way analysis of variance, not below 0).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corpusreg.analysis import Analysis
from corpusreg.definitions import MEASURES
from corpusreg.reference import Cohort, Placement, Rung, Size, place, unit_weights

__all__ = [
    "MODELS", "Measured", "Verdict", "cohort_of", "effective_size", "judge",
    "kolmogorov", "length_interval", "measured", "ranks", "unconditional",
]  # fmt: skip

FEWEST = 8  # composers in either half
POOLED = 0.06
CORRELATION = 0.15
RESAMPLES = 1000
_CRITICAL = 1.628

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Measured:
    """Works of one ensemble: composer number, size, and values by measure; shape (n,)."""

    unit: Ints
    bars: Floats
    voices: Floats
    values: dict[str, Floats]

    def take(self, rows: NDArray[np.bool_]) -> Measured:
        """Some of the works."""
        chosen = {name: own[rows] for name, own in self.values.items()}
        return Measured(self.unit[rows], self.bars[rows], self.voices[rows], chosen)


Model = Callable[[Cohort, str, float, Size], Placement]


def unconditional(fit: Cohort, name: str, value: float, size: Size) -> Placement:
    """Deliberately without regard to length: a benchmark that passes this cannot fail."""
    same = np.ones(fit.works)
    return place(replace(fit, bars=same, voices=same), name, value, Size(1, 1))


MODELS: dict[str, Model] = {"tool": place, "unconditional": unconditional}


def cohort_of(works: Measured) -> Cohort:
    """The works as the tool's own cohort of one ensemble."""
    units = len(np.unique(works.unit))
    return Cohort(
        rung=Rung({"ensemble": "benchmark"}, "benchmark"),
        unit=works.unit,
        values=works.values,
        bars=works.bars,
        voices=works.voices,
        composers=units,
        sources=0,
        collections=1,
    )


@dataclass(frozen=True)
class Verdict:
    """How one model did on one measure of one ensemble.

    unplaced: works that the model declined to place. distances, criticals: of the
    placed ones, pooled and by thirds of length. correlation: of ranks with
    length, with its 95 % interval over resampled composers.
    """

    model: str
    ensemble: str
    measure: str
    works: int
    composers: int
    unplaced: int
    distances: tuple[float, ...]
    criticals: tuple[float, ...]
    correlation: tuple[float, float, float]

    @property
    def faults(self) -> list[str]:
        """What speaks against the model, in words; [] where nothing does."""
        names = ("pooled", "short", "middle", "long")
        found = [
            f"{name}: distance {d:.3f} is not under {c:.3f}"
            for name, d, c in zip(names, self.distances, self.criticals, strict=True)
            if d >= c
        ]
        if self.distances[0] >= POOLED:
            found.append(f"pooled: distance {self.distances[0]:.3f} is not under {POOLED}")
        r, low, high = self.correlation
        if not low <= 0 <= high or max(-low, high) >= CORRELATION:
            found.append(f"correlation with length {r:.2f} ({low:.2f} to {high:.2f})")
        return found


def judge(
    model: str, ensemble: str, measure: str, fit: Measured, test: Measured, seed: int
) -> Verdict | None:
    """One model on one measure; None where either half has too few composers or works."""
    fit, test = (_having(works, measure) for works in (fit, test))
    if min(len(np.unique(works.unit)) for works in (fit, test)) < FEWEST:
        return None
    draw = np.random.default_rng(seed)
    every = ranks(MODELS[model], fit, test, measure, draw)
    placed = np.isfinite(every)
    found, test = every[placed], test.take(placed)
    if len(np.unique(test.unit)) < FEWEST:
        return None
    groups = [np.ones(len(found), bool), *_thirds(test)]
    distances, criticals = [], []
    for rows in groups:
        distances.append(kolmogorov(found[rows], test.unit[rows]))
        criticals.append(_critical(found[rows], test.unit[rows], fit, measure))
    return Verdict(
        model, ensemble, measure, len(every), len(np.unique(test.unit)),
        int((~placed).sum()), tuple(distances), tuple(criticals), length_interval(found, test, draw),
    )  # fmt: skip


def ranks(
    model: Model, fit: Measured, test: Measured, measure: str, draw: np.random.Generator
) -> Floats:
    """Ranks in [0, 1], randomised at ties, shape (n,); NaN for works not placed."""
    cohort = cohort_of(fit)
    result = np.full(len(test.unit), np.nan)
    for row, value in enumerate(test.values[measure].tolist()):
        size = Size(float(test.bars[row]), float(test.voices[row]))
        placed = model(cohort, measure, value, size)
        if placed.percentile is not None:
            spread = placed.tied * (draw.random() - 0.5)
            result[row] = placed.percentile / 100 + spread
    return result


def kolmogorov(found: Floats, unit: Ints) -> float:
    """Largest distance between the weighted ranks' distribution and an even one."""
    order = np.argsort(found)
    weights = unit_weights(unit, np.ones(len(unit)))[order]
    upper = np.cumsum(weights)
    at = found[order]
    return float(max((upper - at).max(), (at - (upper - weights)).max()))


def effective_size(values: Floats, unit: Ints) -> float:
    """Effective number of works, composers weighing the same; see the module's text."""
    _, index, count = np.unique(unit, return_inverse=True, return_counts=True)
    r = _intraclass(values, index, count)
    return float(len(count) ** 2 / ((1 + (count - 1) * r) / count).sum())


def _intraclass(values: Floats, index: Ints, count: Ints) -> float:
    n, k = len(values), len(count)
    if k < 2 or n <= k:
        return 0.0
    means = np.bincount(index, values) / count
    between = (count * (means - values.mean()) ** 2).sum() / (k - 1)
    within = ((values - means[index]) ** 2).sum() / (n - k)
    usual = (n - (count**2).sum() / n) / (k - 1)
    total = between + (usual - 1) * within
    return float(np.clip((between - within) / total, 0, 1)) if total > 0 else 0.0


def _critical(found: Floats, unit: Ints, fit: Measured, measure: str) -> float:
    own = fit.values[measure]
    a, b = effective_size(found, unit), effective_size(_mid_ranks(own), fit.unit)
    return float(_CRITICAL / np.sqrt(a * b / (a + b)))


def length_interval(
    found: Floats, works: Measured, draw: np.random.Generator
) -> tuple[float, float, float]:
    """Rank correlation with length, composers equal, and its 95 % interval."""
    units, index = np.unique(works.unit, return_inverse=True)
    even = unit_weights(works.unit, np.ones(len(found)))
    length = _mid_ranks(works.bars)
    drawn = draw.integers(0, len(units), (RESAMPLES, len(units)))
    times = np.array([np.bincount(row, minlength=len(units)) for row in drawn])
    several = [_correlation(found, length, even * row[index]) for row in times]
    low, high = np.quantile(several, (0.025, 0.975))
    return _correlation(found, length, even), float(low), float(high)


def _mid_ranks(values: Floats) -> Floats:
    ordered = np.sort(values)
    both = (np.searchsorted(ordered, values, side) for side in ("left", "right"))
    return sum(both, np.zeros(len(values))) / (2 * len(values))


def _correlation(a: Floats, b: Floats, weights: Floats) -> float:
    weights = weights / weights.sum()
    a, b = a - weights @ a, b - weights @ b
    return float(weights @ (a * b) / np.sqrt((weights @ a**2) * (weights @ b**2)))


def _thirds(works: Measured) -> list[NDArray[np.bool_]]:
    first, second = np.quantile(works.bars, (1 / 3, 2 / 3))
    return [
        works.bars <= first,
        (works.bars > first) & (works.bars <= second),
        works.bars > second,
    ]


def _having(works: Measured, measure: str) -> Measured:
    return works.take(np.isfinite(works.values[measure]))


def measured(rows: Sequence[tuple[str, Analysis]]) -> Measured:
    """Works from the composer and the analysis of each; values not placeable are NaN."""
    names = [measure.name for measure in MEASURES]
    columns = {name: [_value(found, name) for _, found in rows] for name in names}
    return Measured(
        unit=np.unique([composer for composer, _ in rows], return_inverse=True)[1],
        bars=np.array([len(found.played.bars) for _, found in rows], float),
        voices=np.array([found.texture.voices for _, found in rows], float),
        values={name: np.array(own, float) for name, own in columns.items()},
    )


def _value(found: Analysis, name: str) -> float:
    value = found.values[name]
    return np.nan if value.reason or value.value is None else value.value
