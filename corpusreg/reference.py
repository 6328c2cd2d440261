"""Reference distributions: cohorts, weighted ranks and their intervals.

Conventions
-----------
unit        the statistical unit: a composer, or for anonymous and folk works
            their source. Units weigh the same, however many works they have;
            within a unit its works share the weight equally.
percentile  mid-rank, 0 to 100: the weighted share of the cohort below the
            value plus half of the share that equals it.
interval    95 %, Student's t with K - 1 degrees of freedom on the logit scale,
            from the spread of the K units' own shares below the value.
quantile    the inverse of the mid-rank percentile, linear between values; with
            equal weights type 5 of Hyndman and Fan 1996 (American Statistician
            50:361-365).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "MINIMUM_UNITS",
    "MINIMUM_WORKS",
    "Cohort",
    "Placement",
    "Rung",
    "ladder",
    "oddness",
    "place",
    "student_t",
    "unit_weights",
    "weighted_quantile",
]

MINIMUM_WORKS = 30
MINIMUM_UNITS = 8
# The last rung is used with fewer, since there is nothing broader to go to.
MINIMUM_UNITS_BROAD = 4

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Rung:
    """One step of the ladder: which works, by column and value of the store."""

    where: Mapping[str, str]
    title: str
    broad: bool = False

    @property
    def name(self) -> str:
        """As a user would write it after --cohort."""
        return ",".join(f"{column}={value}" for column, value in self.where.items())


@dataclass(frozen=True)
class Cohort:
    """Works to be compared with.

    unit: shape (n,), the number of each work's unit. values: by measure name,
    shape (n,), NaN where a work has none. sources: units that are no composers.
    """

    rung: Rung
    unit: NDArray[np.int64]
    values: Mapping[str, Floats]
    composers: int
    sources: int
    collections: int

    @property
    def works(self) -> int:
        """Number of works."""
        return len(self.unit)

    @property
    def units(self) -> int:
        """Number of statistical units."""
        return len(np.unique(self.unit))

    @property
    def effective(self) -> float:
        """Effective number of works: how many equally weighted ones would tell as much.

        1 / sum(weight^2) (Kish 1965); 0 for an empty cohort.
        """
        weights = unit_weights(self.unit, np.ones(self.works, bool))
        return float(1 / (weights**2).sum()) if self.works else 0.0

    @property
    def wanted(self) -> str:
        """The least that is asked for, in words."""
        least = MINIMUM_UNITS_BROAD if self.rung.broad else MINIMUM_UNITS
        return f"at least {MINIMUM_WORKS} works by {least} composers are asked for"

    @property
    def enough(self) -> bool:
        """Whether it is large enough to place a piece."""
        least = MINIMUM_UNITS_BROAD if self.rung.broad else MINIMUM_UNITS
        return self.works >= MINIMUM_WORKS and self.units >= least

    @cached_property
    def oddnesses(self) -> Floats:
        """How odd the oddest measure of each work of the cohort is, shape (n,), 0 to 50."""
        places = [_mid_ranks(own, self.weights(name)) for name, own in self.values.items()]
        with np.errstate(invalid="ignore"):
            return np.nanmax(np.abs(np.array(places) - 50), axis=0, initial=0)

    def weights(self, name: str) -> Floats:
        """Weights of the works that have the measure, summing to 1; 0 for the others."""
        return unit_weights(self.unit, np.isfinite(self.values[name]))


@dataclass(frozen=True)
class Placement:
    """Where a value lies. All in percentile points except median; None where not placed.

    tied: share of the cohort (0 to 1) with exactly this value.
    """

    percentile: float | None
    interval: tuple[float, float] | None
    median: float | None
    quartiles: tuple[float, float] | None
    tied: float
    reason: str = ""


def ladder(kind: str, words: str, family: str, texture: str) -> list[Rung]:
    """The rungs for a piece, narrowest first; the last is called broad.

    kind, family, texture: as in the works table. words: the kind as people say
    it ('songs for one or two voices and accompaniment').
    """
    rungs = [Rung({"ensemble": kind}, words)]
    if family:
        rungs.append(Rung({"family": family}, family))
    broad = {
        "single line": "all single lines",
        "several voices": "all works of more than one voice",
    }[texture]
    return [*rungs, Rung({"texture": texture}, broad, broad=True)]


def unit_weights(unit: NDArray[np.int64], has: NDArray[np.bool_]) -> Floats:
    """Weights by which every unit counts the same; shape (n,), sum 1 over `has`."""
    weights = np.zeros(len(unit))
    if has.any():
        _, index, count = np.unique(unit[has], return_inverse=True, return_counts=True)
        weights[has] = 1.0 / count[index] / len(count)
    return weights


def weighted_quantile(values: Floats, weights: Floats, share: float) -> float:
    """Quantile at a share in [0, 1]; values and weights of shape (n,), weights > 0."""
    distinct, index = np.unique(values, return_inverse=True)
    mass = np.bincount(index, weights)
    middle = (np.cumsum(mass) - mass / 2) / mass.sum()
    return float(np.interp(share, middle, distinct))


def place(cohort: Cohort, name: str, value: float) -> Placement:
    """Percentile of a value of measure `name` in a cohort, with its interval."""
    values, weights = cohort.values[name], cohort.weights(name)
    has = weights > 0
    units = len(np.unique(cohort.unit[has]))
    least = MINIMUM_UNITS_BROAD if cohort.rung.broad else MINIMUM_UNITS
    if has.sum() < MINIMUM_WORKS or units < least:
        return Placement(None, None, None, None, 0.0, "too few to place")
    own, mass = values[has], weights[has]
    shares = _unit_shares(own, cohort.unit[has], value)
    percentile = 100 * float(shares.mean())
    median, low, high = (weighted_quantile(own, mass, share) for share in (0.5, 0.25, 0.75))
    return Placement(
        percentile=percentile,
        interval=_interval(shares),
        median=median,
        quartiles=(low, high),
        tied=float(mass[own == value].sum()),
    )


def oddness(placements: Sequence[Placement]) -> float:
    """How far the oddest of several placements is from the middle, 0 to 50."""
    return max((abs(p.percentile - 50) for p in placements if p.percentile is not None), default=0)


def student_t(degrees: int) -> float:
    """The .975 quantile of Student's t; within .2 % from 3 degrees on.

    Cornish-Fisher expansion (Abramowitz and Stegun 1964, 26.7.5), with the exact
    closed forms for 1 and 2 degrees; it spares the comparison a heavy import.
    """
    if degrees <= 2:
        return {1: 12.706204736, 2: 4.3026527297}[degrees]
    x = NormalDist().inv_cdf(0.975)
    terms = (
        (x**3 + x) / 4,
        (5 * x**5 + 16 * x**3 + 3 * x) / 96,
        (3 * x**7 + 19 * x**5 + 17 * x**3 - 15 * x) / 384,
        (79 * x**9 + 776 * x**7 + 1482 * x**5 - 1920 * x**3 - 945 * x) / 92160,
    )
    return x + sum(term / degrees**power for power, term in enumerate(terms, start=1))


def _unit_shares(values: Floats, unit: NDArray[np.int64], value: float) -> Floats:
    """For each unit, its share of works below the value plus half of those equal to it."""
    below = (values < value) + 0.5 * (values == value)
    _, index, count = np.unique(unit, return_inverse=True, return_counts=True)
    return np.asarray(np.bincount(index, below) / count)


def _interval(shares: Floats) -> tuple[float, float]:
    units = len(shares)
    p = float(shares.mean())
    # At the very ends the spread between units vanishes; one work's half-rank of
    # the weight is the least that can be told apart.
    smallest = 0.5 / (units + 1)
    inside = min(max(p, smallest), 1 - smallest)
    spread = max(float(shares.std(ddof=1)), np.sqrt(smallest * (1 - smallest) / units))
    error = spread / np.sqrt(units) / (inside * (1 - inside))
    middle = np.log(inside / (1 - inside))
    reach = student_t(units - 1) * error
    low, high = (100 / (1 + np.exp(-(middle + side * reach))) for side in (-1, 1))
    return min(float(low), 100 * p), max(float(high), 100 * p)


def _mid_ranks(values: Floats, weights: Floats) -> Floats:
    """Percentile of each value within its own weighted sample; NaN stays NaN."""
    ranks = np.full(len(values), np.nan)
    has = weights > 0
    if has.any():
        _, index = np.unique(values[has], return_inverse=True)
        mass = np.bincount(index, weights[has])
        ranks[has] = 100 * (np.cumsum(mass) - mass / 2)[index]
    return ranks
