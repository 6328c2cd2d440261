"""Part 6: are percentiles right for composers that the reference has not seen?

Each composer's works are placed among those of all other composers. Where percentiles
are right they are spread evenly from 0 to 100, at every length. The numbers of the model
are tuned on one half of the composers, so that the other half is judged apart too.

Conventions
-----------
rank        percentile / 100 with ties spread at random over the width they share.
distance    Kolmogorov distance of the ranks from an even spread, composers weighing
            the same.
critical    1.628 / sqrt(n), the 99 % point of the distance for large n (Smirnov 1948,
            Ann. Math. Stat. 19:279-281), n being the effective size.
ideal       the same questions asked of the same works with their values dealt out anew
            at random, so that no model can be wrong: what chance alone gives. A pooled
            distance or correlation that one deal in twenty reaches as well refutes
            nothing. Dealing also takes away what the works of one composer have in
            common, so that chance is rather told too small than too large.
effective   1 / (sum over K composers of (1 + (n_c - 1) r) / n_c / K^2): works of one
            composer tell less than as many of different ones by their intraclass
            correlation r (one-way analysis of variance, not below 0).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.analysis import Analysis
from corpusreg.measures.definitions import MEASURES
from corpusreg.norms.reference import Cohort, Placement, Rung, Size, place, unit_weights

__all__ = [
    "MODELS", "Ideal", "Measured", "Verdict", "cohort_of", "effective_size", "ideal", "judge",
    "kolmogorov", "length_interval", "measured", "ranks", "unconditional",
]  # fmt: skip

FEWEST = 8  # composers
POOLED = 0.06
CORRELATION = 0.15
RESAMPLES = 1000
DEALS = 40
_CRITICAL = 1.628

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Measured:
    """Works of one ensemble: composer number and half, size, values; shape (n,)."""

    unit: Ints
    half: NDArray[np.str_]
    bars: Floats
    voices: Floats
    values: dict[str, Floats]

    def take(self, rows: Mask) -> Measured:
        """Some of the works."""
        chosen = {name: own[rows] for name, own in self.values.items()}
        return Measured(
            self.unit[rows], self.half[rows], self.bars[rows], self.voices[rows], chosen
        )


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
class Ideal:
    """What chance gives for works dealt out anew.

    pooled, correlation: distance and size of the correlation with length that nineteen
    deals in twenty stay under. bounded: share of deals whose interval of the correlation
    lies inside CORRELATION.
    """

    deals: int
    pooled: float
    correlation: float
    bounded: float


@dataclass(frozen=True)
class Verdict:
    """How one model did on one measure of one ensemble.

    unplaced: works that the model declined to place. distances, criticals: of the
    placed ones, pooled and by thirds of length. correlation: of ranks with
    length, with its 95 % interval over resampled composers.
    """

    model: str
    ensemble: str
    half: str
    measure: str
    works: int
    composers: int
    unplaced: int
    distances: tuple[float, ...]
    criticals: tuple[float, ...]
    correlation: tuple[float, float, float]
    ideal: Ideal | None = None

    @property
    def faults(self) -> dict[str, str]:
        """What speaks against the model, in words, by kind; {} where nothing does."""
        names = ("pooled", "short", "middle", "long")
        large = [
            f"{name}: {d:.3f} is not under {c:.3f}"
            for name, d, c in zip(names, self.distances, self.criticals, strict=True)
            if d >= c
        ]
        found = {"distance": "; ".join(large)} if large else {}
        if self.half == "both" and self.distances[0] >= POOLED:
            found["pooled"] = f"distance {self.distances[0]:.3f} is not under {POOLED}"
        r, low, high = self.correlation
        if not low <= 0 <= high:
            found["correlation"] = f"with length {r:.2f} ({low:.2f} to {high:.2f})"
        return found

    @property
    def bounded(self) -> bool:
        """Whether the interval of the correlation with length lies inside CORRELATION."""
        _, low, high = self.correlation
        return max(-low, high) < CORRELATION

    @property
    def word(self) -> str:
        """'rejected', 'accepted', 'not shown' or 'cannot be tested'.

        'not shown': not refuted, but by too few composers to bound the correlation.
        'cannot be tested': what speaks against it, chance alone does as well.
        """
        if any(not self._by_chance(kind) for kind in self.faults):
            return "rejected"
        if self.faults:
            return "cannot be tested"
        return "accepted" if self.bounded else "not shown"

    def _by_chance(self, kind: str) -> bool:
        if self.ideal is None:
            return False
        return (kind == "pooled" and self.distances[0] < self.ideal.pooled) or (
            kind == "correlation" and abs(self.correlation[0]) < self.ideal.correlation
        )


def ideal(
    model: str, ensemble: str, half: str, measure: str, works: Measured, seed: int
) -> Ideal | None:
    """What the questions give by chance, from DEALS deals; None where they are not asked."""
    works = works.take(np.isfinite(works.values[measure]))
    draw = np.random.default_rng(seed)
    found = []
    for deal in range(DEALS):
        dealt = replace(works, values={measure: draw.permutation(works.values[measure])})
        verdict = judge(model, ensemble, half, measure, dealt, deal)
        if verdict is None:
            return None
        found.append(verdict)
    sizes = [abs(v.correlation[0]) for v in found]
    return Ideal(
        deals=DEALS,
        pooled=float(np.quantile([v.distances[0] for v in found], 0.95)),
        correlation=float(np.quantile(sizes, 0.95)),
        bounded=sum(v.bounded for v in found) / DEALS,
    )


def judge(
    model: str, ensemble: str, half: str, measure: str, works: Measured, seed: int
) -> Verdict | None:
    """One model on one measure: works of a half ('both') among those of other composers.

    None where fewer than FEWEST composers are left.
    """
    has = np.isfinite(works.values[measure])
    works = works.take(has)
    chosen = (works.half == half) | (half == "both")
    draw = np.random.default_rng(seed)
    every = ranks(MODELS[model], works, chosen, measure, draw)
    found, test = every[np.isfinite(every)], works.take(np.isfinite(every))
    if len(np.unique(test.unit)) < FEWEST:
        return None
    groups = [np.ones(len(found), bool), *_thirds(test)]
    return Verdict(
        model=model,
        ensemble=ensemble,
        half=half,
        measure=measure,
        works=int(chosen.sum()),
        composers=len(np.unique(test.unit)),
        unplaced=int(chosen.sum()) - len(found),
        distances=tuple(kolmogorov(found[rows], test.unit[rows]) for rows in groups),
        criticals=tuple(
            _CRITICAL / effective_size(found[rows], test.unit[rows]) ** 0.5 for rows in groups
        ),
        correlation=length_interval(found, test, draw),
    )


def ranks(
    model: Model, works: Measured, chosen: Mask, measure: str, draw: np.random.Generator
) -> Floats:
    """Ranks in [0, 1], randomised at ties, shape (n,); NaN where not chosen or not placed."""
    result = np.full(len(works.unit), np.nan)
    for unit in np.unique(works.unit[chosen]):
        cohort = cohort_of(works.take(works.unit != unit))
        for row in np.flatnonzero(chosen & (works.unit == unit)):
            size = Size(float(works.bars[row]), float(works.voices[row]))
            placed = model(cohort, measure, float(works.values[measure][row]), size)
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


def _thirds(works: Measured) -> list[Mask]:
    first, second = np.quantile(works.bars, (1 / 3, 2 / 3))
    return [
        works.bars <= first,
        (works.bars > first) & (works.bars <= second),
        works.bars > second,
    ]


def measured(rows: Sequence[tuple[str, str, Analysis]]) -> Measured:
    """Works from composer, half and analysis of each; values not placeable are NaN."""
    names = [measure.name for measure in MEASURES]
    columns = {name: [_value(found, name) for *_, found in rows] for name in names}
    return Measured(
        unit=np.unique([composer for composer, *_ in rows], return_inverse=True)[1],
        half=np.array([half for _, half, _ in rows], np.str_),
        bars=np.array([len(found.played.bars) for *_, found in rows], float),
        voices=np.array([found.texture.voices for *_, found in rows], float),
        values={name: np.array(own, float) for name, own in columns.items()},
    )


def _value(found: Analysis, name: str) -> float:
    value = found.values[name]
    return np.nan if value.reason or value.value is None else value.value
