"""Differences between groups of composers, and trends over years: sizes, intervals, tests.

Conventions
-----------
unit        the composer (or the source of anonymous works). A unit has one value in a
            group: the mean of its works there. Units weigh the same.
delta       Cliff's delta of the later group over the earlier (Cliff 1993): the share of
            pairs of units in which the later is higher, less the share in which it is
            lower; -1 to 1. Vargha and Delaney's A (2000) is (delta + 1) / 2.
both        a unit that belongs to both groups is drawn for both or for neither, and in
            the test its two values change places; it is never taken for two units.
strata      parts between which nothing is compared, such as ensembles; their deltas are
            put together with weights fixed by the numbers of units, n m / (n + m).
interval    95 %, Student's t on the logit scale of A, from 999 resamples of units.
trend       Mann and Kendall's S of one value a unit over its mean year, with ties in
            both (Kendall 1970); in strata S and its variance are added up. The slope is a
            straight line's through the works, with random effects of composers and
            collections.
correction  false discovery rate (Benjamini and Hochberg 1995), among the tests that
            could pass at all: the smallest p a test can reach follows from its numbers
            of units alone, and tests that cannot reach what the others leave are not
            counted (Tarone 1990, Gilbert 2005).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from corpusreg.norms.reference import (
    BANDWIDTH,
    ENOUGH,
    student_t,
    unit_weights,
    weighted_quantile,
)

__all__ = [
    "ALPHA", "LEAST_UNITS", "Groups", "adjusted", "can_pass", "composers_slope", "delta",
    "effect", "median_interval", "rank_test", "ranks_within_length", "smallest_p",
    "smallest_trend_p", "trend", "unit_means",
]  # fmt: skip

ALPHA = 0.05
LEAST_UNITS = 4  # in the smaller group, for an interval
LEAST_GROUPS = 4  # fewer tell little of how groups differ
_RATIO = 12.0  # logarithm of the largest ratio of variances
RESAMPLES = 999
_SEED = 20_000
_EXACT = 60  # units up to which the rank test counts every arrangement
_EXACT_TREND = 50

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Groups:
    """Two groups of units in one stratum: unit numbers and their values, shape (n,) each."""

    earlier: Ints
    earlier_values: Floats
    later: Ints
    later_values: Floats

    @property
    def both(self) -> Ints:
        """Units that belong to both groups."""
        return np.intersect1d(self.earlier, self.later)


@dataclass(frozen=True)
class Effect:
    """A difference: delta in [-1, 1]; interval None where a group has too few units.

    earlier, later, both: numbers of units.
    """

    delta: float
    interval: tuple[float, float] | None
    earlier: int
    later: int
    both: int


@dataclass(frozen=True)
class Trend:
    """Mann-Kendall: s, z and two-sided p; tau = s over the number of pairs."""

    s: int
    z: float
    p: float
    tau: float
    units: int

    @property
    def error(self) -> float | None:
        """Standard error of tau, from the variance of S; None where S is 0 or 1."""
        if not self.z:
            return None
        return abs((self.tau - math.copysign(self.tau / self.s, self.tau)) / self.z)

    @property
    def interval(self) -> tuple[float, float] | None:
        """95 % interval of tau; None where it has no error."""
        return None if self.error is None else _tau_interval(self.tau, self.error)

    def drawn(self, taus: Sequence[float]) -> tuple[float, tuple[float, float] | None, float]:
        """Tau, interval and p from the taus of years drawn again and again; see `effect`."""
        tau = float(np.mean(taus))
        if self.error is None:
            return tau, None, 1.0
        error = math.hypot(self.error, _between(taus))
        return tau, _tau_interval(tau, error), _two_sided(tau / error)


def _tau_interval(tau: float, error: float) -> tuple[float, float]:
    reach = NormalDist().inv_cdf(0.975) * error
    return max(tau - reach, -1.0), min(tau + reach, 1.0)


def unit_means(values: Floats, unit: Ints) -> tuple[Ints, Floats]:
    """Units in order and the mean value of each; values, unit of shape (n,)."""
    units, index = np.unique(unit, return_inverse=True)
    return units, np.bincount(index, values) / np.bincount(index)


def median_interval(
    values: Floats, unit: Ints, counts: Floats | None = None
) -> tuple[float, float] | None:
    """95 % interval of the unit-weighted median (Woodruff 1952, JASA 47:635-646).

    The interval of the share below the median is turned into values. counts: how often
    each value stands, else once. None with fewer than LEAST_UNITS units.
    """
    units, index = np.unique(unit, return_inverse=True)
    count = len(units)
    if count < LEAST_UNITS:
        return None
    often = np.ones(len(unit)) if counts is None else counts
    weights = unit_weights(unit, often)
    median = weighted_quantile(values, weights, 0.5)
    below = (values < median) + 0.5 * (values == median)
    shares = np.bincount(index, often * below) / np.bincount(index, often)
    error = float(np.sqrt(((shares - 0.5) ** 2).sum() / (count * (count - 1))))
    low, high = _logit_interval(0.5, error, count, count - 1)
    return weighted_quantile(values, weights, low), weighted_quantile(values, weights, high)


def delta(earlier: Floats, later: Floats) -> float:
    """Cliff's delta of `later` over `earlier`; values of shape (n,) and (m,), n, m > 0.

    >>> round(delta(np.array([8, 9, 7, 10, 9]), np.array([10, 11, 9, 12, 10])), 2)
    0.76
    """
    return float(np.sign(later[None, :] - earlier[:, None]).mean())


def effect(strata: Sequence[Groups], drawn: Sequence[float] = ()) -> Effect:
    """The difference between two groups over all strata; each has a unit on both sides.

    drawn: the same difference with what is uncertain drawn again and again; their mean is
    then the difference, and their spread belongs to its error (Rubin 1987, Multiple
    Imputation for Nonresponse in Surveys, 3.1).
    """
    weights = np.array(
        [len(s.earlier) * len(s.later) / (len(s.earlier) + len(s.later)) for s in strata]
    )
    deltas = np.array([delta(s.earlier_values, s.later_values) for s in strata])
    found = float(np.mean(drawn)) if len(drawn) else float(weights @ deltas / weights.sum())
    earlier = np.unique(np.concatenate([s.earlier for s in strata]))
    later = np.unique(np.concatenate([s.later for s in strata]))
    smaller = min(len(earlier), len(later))
    interval = None
    if smaller >= LEAST_UNITS:
        error = float(_resampled(strata, weights, np.union1d(earlier, later)).std()) / 2
        error = math.hypot(error, _between(drawn) / 2)
        # Degrees of freedom as if both groups were as small as the smaller: in simulation
        # with 4 to 20 units a group this covers in 95 to 99 of 100.
        low, high = _logit_interval((found + 1) / 2, error, smaller, 2 * smaller - 2)
        interval = (min(2 * low - 1, found), max(2 * high - 1, found))
    both = np.intersect1d(earlier, later)
    return Effect(found, interval, len(earlier), len(later), len(both))


def _between(drawn: Sequence[float]) -> float:
    """The part of a standard error that comes from what was drawn."""
    if len(drawn) < 2:
        return 0.0
    return float(np.std(drawn, ddof=1)) * math.sqrt(1 + 1 / len(drawn))


@lru_cache(maxsize=128)
def _draws(units: int) -> NDArray[np.uint8]:
    """How often each unit is in each resample, shape (RESAMPLES, units)."""
    random = np.random.default_rng(_SEED)
    drawn = random.multinomial(units, np.full(units, 1 / units), RESAMPLES)
    return drawn.astype(np.uint8)


def _resampled(strata: Sequence[Groups], weights: Floats, units: Ints) -> Floats:
    """Deltas of resamples of units; those in which a group is empty are left out."""
    drawn = _draws(len(units)).astype(np.float32)  # whole numbers below 2 to the 24th: exact
    total, weight = np.zeros(RESAMPLES), np.zeros(RESAMPLES)
    for stratum, each in zip(strata, weights.tolist(), strict=True):
        before = drawn[:, np.searchsorted(units, stratum.earlier)]
        after = drawn[:, np.searchsorted(units, stratum.later)]
        signs = np.sign(stratum.later_values[None, :] - stratum.earlier_values[:, None])
        pairs = before.sum(axis=1) * after.sum(axis=1)
        lead = ((before @ signs.astype(np.float32)) * after).sum(axis=1)
        total += each * lead.astype(float) / np.maximum(pairs, 1)
        weight += each * (pairs > 0)
    return np.asarray(total[weight > 0] / weight[weight > 0])


def _logit_interval(
    share: float, error: float, units: int, degrees: int
) -> tuple[float, float]:
    """95 % interval of a share in [0, 1] that has this standard error."""
    # At the ends all units agree and the spread vanishes; half a unit beyond the
    # outermost is the least that can be told apart.
    smallest = 0.5 / (units + 1)
    inside = min(max(share, smallest), 1 - smallest)
    error = max(error, math.sqrt(smallest * (1 - smallest)) / units)
    middle = math.log(inside / (1 - inside))
    reach = student_t(degrees) * error / (inside * (1 - inside))
    low, high = (1 / (1 + math.exp(-(middle + side * reach))) for side in (-1, 1))
    return low, high


def rank_test(groups: Groups) -> float:
    """Two-sided p of the rank sum, by all arrangements that were as likely.

    Units of one group change groups, units of both exchange their two values. Exact,
    ties included, up to 60 values of units; the normal approximation beyond.
    """
    values = np.concatenate((groups.earlier_values, groups.later_values))
    ranks = 2 * _midranks(values)
    first = ranks[: len(groups.earlier)]
    second = ranks[len(groups.earlier) :]
    in_both = np.isin(groups.earlier, groups.both)
    pairs = list(
        zip(
            first[in_both].tolist(),
            second[np.isin(groups.later, groups.both)].tolist(),
            strict=True,
        )
    )
    single = np.concatenate((first[~in_both], second[~np.isin(groups.later, groups.both)]))
    chosen = int((~in_both).sum())
    observed = float(first.sum())
    mean = chosen * float(single.mean() if len(single) else 0) + sum(map(sum, pairs)) / 2
    away = abs(observed - mean)
    if len(values) > _EXACT:
        return _normal_rank_p(single, chosen, pairs, away)
    counts = _arrangements(single.astype(int).tolist(), chosen, pairs)
    sums = np.arange(len(counts))
    return float(counts[np.abs(sums - mean) >= away - 1e-6].sum() / counts.sum())


def _arrangements(
    single: list[int], chosen: int, pairs: Sequence[tuple[float, float]]
) -> Floats:
    """In how many ways each sum of doubled ranks comes about, shape (largest sum + 1,)."""
    largest = sum(single) + sum(int(max(pair)) for pair in pairs)
    counts = np.zeros((chosen + 1, largest + 1))
    counts[0, 0] = 1
    for rank in single:
        counts[1:, rank:] += counts[:-1, : largest + 1 - rank].copy()
    sums = counts[chosen]
    for pair in pairs:
        one, other = (np.roll(sums, int(rank)) for rank in pair)
        sums = one + other
    return np.asarray(sums)


def _normal_rank_p(
    single: Floats, chosen: int, pairs: Sequence[tuple[float, float]], away: float
) -> float:
    count = len(single)
    variance = math.fsum((one - other) ** 2 / 4 for one, other in pairs)
    if count > 1:
        spread = float(((single - single.mean()) ** 2).sum())
        variance += chosen * (count - chosen) / (count * (count - 1)) * spread
    return _two_sided(away / math.sqrt(variance)) if variance else 1.0


def _midranks(values: Floats) -> Floats:
    _, index, count = np.unique(values, return_inverse=True, return_counts=True)
    return np.asarray((np.cumsum(count) - (count - 1) / 2)[index])


def _two_sided(z: float) -> float:
    return 2 * NormalDist().cdf(-abs(z))


def smallest_p(earlier: int, later: int, both: int = 0) -> float:
    """The smallest p that `rank_test` can reach with so many units in each group.

    earlier, later: units, those in both included.

    >>> round(smallest_p(4, 5), 4)
    0.0159
    """
    arrangements = math.comb(earlier + later - 2 * both, earlier - both) << both
    return min(1.0, 2 / arrangements)


def trend(strata: Sequence[tuple[Floats, Floats]]) -> Trend:
    """Mann-Kendall test over strata of (years, values), each of shape (n,), n > 1.

    Exact for one stratum without ties up to 50 units; else normal, corrected for
    continuity.
    """
    s = sum(_kendall_s(years, values) for years, values in strata)
    variance = math.fsum(_kendall_variance(years, values) for years, values in strata)
    z = (s - math.copysign(1, s)) / math.sqrt(variance) if s and variance else 0.0
    p = _two_sided(z)
    units = sum(len(years) for years, _ in strata)
    years, values = strata[0]
    untied = len(np.unique(years)) == len(np.unique(values)) == units
    if len(strata) == 1 and untied and units <= _EXACT_TREND:
        p = _kendall_exact(s, units)
    pairs = sum(math.comb(len(each), 2) for each, _ in strata)
    return Trend(s, z, p, s / pairs, units)


def smallest_trend_p(units: int) -> float:
    """The smallest p that `trend` can reach with so many units in one stratum.

    >>> round(smallest_trend_p(5), 4)
    0.0167
    """
    return min(1.0, 2 / math.factorial(units))


def _kendall_s(years: Floats, values: Floats) -> int:
    signs = np.sign(np.subtract.outer(years, years)) * np.sign(
        np.subtract.outer(values, values)
    )
    return int(signs.sum()) // 2


def _kendall_variance(years: Floats, values: Floats) -> float:
    n = len(years)
    tied = [np.unique(each, return_counts=True)[1].astype(float) for each in (years, values)]
    whole = n * (n - 1) * (2 * n + 5)
    lost = sum(float((t * (t - 1) * (2 * t + 5)).sum()) for t in tied)
    twos = math.prod(float((t * (t - 1)).sum()) for t in tied)
    threes = math.prod(float((t * (t - 1) * (t - 2)).sum()) for t in tied)
    variance = (whole - lost) / 18 + twos / (2 * n * (n - 1))
    return variance + (threes / (9 * n * (n - 1) * (n - 2)) if n > 2 else 0.0)


def _kendall_exact(s: int, units: int) -> float:
    """Two-sided p of S without ties, from the number of orders with each S."""
    orders = np.ones(1)
    for size in range(2, units + 1):
        orders = np.convolve(orders, np.ones(size))
    discordant = np.arange(len(orders))
    reached = np.abs(math.comb(units, 2) - 2 * discordant) >= abs(s)
    return float(orders[reached].sum() / orders.sum())


def composers_slope(
    years: Floats, values: Floats, unit: Ints, group: Ints
) -> tuple[float, float, float]:
    """Slope a century and its 95 % interval, with random effects of units and of groups.

    years, values, unit, group: of each work, shape (n,), at least two different years. Units
    are composers and groups collections, which have effects from LEAST_GROUPS on. Restricted
    maximum likelihood (Patterson and Thompson 1971, Biometrika 58:545-554); Student's t with
    the number of units less two.
    """
    from scipy.optimize import minimize

    count = len(values)
    columns = np.column_stack([np.ones(count), (years - years.mean()) / 100, values])
    several = len(np.unique(group)) >= LEAST_GROUPS
    if several:
        columns = np.column_stack([columns, group[:, None] == np.unique(group)])
    belongs = (unit[:, None] == np.unique(unit)).astype(float)
    works, of_units, every = belongs.sum(axis=0), belongs.T @ columns, columns.T @ columns

    def weighed(logs: Floats) -> tuple[Floats, float]:
        """Products of line and values when the variances stand to the rest's in such ratios.

        The units are taken out of all products first, then the groups (Woodbury's identity);
        with them goes the logarithm of the determinant.
        """
        ratios = np.exp(np.clip(logs, -_RATIO, _RATIO))
        shrunk = ratios[0] / (1 + ratios[0] * works)
        inner = every - (of_units * shrunk[:, None]).T @ of_units
        size = float(np.log1p(ratios[0] * works).sum())
        if not several:
            return inner, size
        mixed = np.eye(len(inner) - 3) + ratios[1] * inner[3:, 3:]
        apart = inner[:3, 3:] @ np.linalg.solve(mixed, ratios[1] * inner[3:, :3])
        return inner[:3, :3] - apart, size + float(np.linalg.slogdet(mixed)[1])

    def fitted(products: Floats) -> tuple[float, float]:
        """The slope, and the sum of squares that the line leaves."""
        line = np.linalg.solve(products[:2, :2], products[:2, 2])
        return float(line[1]), max(float(products[2, 2] - products[2, :2] @ line), 1e-12)

    def loss(logs: Floats) -> float:
        products, size = weighed(logs)
        fixed = float(np.linalg.slogdet(products[:2, :2])[1])
        return size + fixed + (count - 2) * math.log(fitted(products)[1])

    products, _ = weighed(minimize(loss, np.zeros(1 + several), method="Nelder-Mead").x)
    slope, rest = fitted(products)
    variance = rest / (count - 2) * float(np.linalg.inv(products[:2, :2])[1, 1])
    reach = student_t(max(len(works) - 2, 3)) * math.sqrt(variance)
    return slope, slope - reach, slope + reach


def adjusted(p: Floats) -> Floats:
    """p-values corrected for the false discovery rate, shape (n,)."""
    order = np.argsort(p)
    raised = p[order] * len(p) / np.arange(1, len(p) + 1)
    result = np.empty(len(p))
    result[order] = np.minimum(np.minimum.accumulate(raised[::-1])[::-1], 1)
    return result


def can_pass(smallest: Floats) -> NDArray[np.bool_]:
    """Which tests can pass at all when corrected, from their smallest p, shape (n,).

    The fewest tests k so that no more than k can reach ALPHA / k; those are counted.
    """
    for count in range(1, len(smallest) + 1):
        reached = smallest <= ALPHA / count
        if reached.sum() <= count:
            return np.asarray(reached)
    return np.zeros(len(smallest), bool)


def ranks_within_length(values: Floats, unit: Ints, bars: Floats) -> Floats:
    """Place of each work among works of about its length by other units, 0 to 100.

    values, unit, bars: shape (n,). Weights as in `corpusreg.norms.reference`: units count the
    same, in full from a quarter of a work of about the length. What is longer or shorter
    is first moved along the local line of the values over the logarithm of length. NaN
    where there is no work of about the length.
    """
    order = np.argsort(unit, kind="stable")
    back = np.argsort(order)
    _, first, index = np.unique(unit[order], return_index=True, return_inverse=True)
    last = np.append(first[1:], len(values))
    values, logs = values[order], np.log(bars[order])
    found = np.full(len(values), np.nan)
    for length in np.unique(logs):
        rows = np.flatnonzero(logs == length)
        further = logs - length
        near = np.exp(-(further**2) / (2 * BANDWIDTH**2))
        weight = near / np.maximum(np.add.reduceat(near, first), ENOUGH)[index]
        slopes, total = _slopes_without_own(further, values, weight, first, index[rows])
        for row, slope, others in zip(rows, slopes, total, strict=True):
            if others >= 1:
                side = np.sign(values - slope * further - values[row])
                own = slice(first[index[row]], last[index[row]])
                above = weight @ side - weight[own] @ side[own]
                found[row] = 50 * (1 - above / others)
    return found[back]


def _slopes_without_own(
    x: Floats, values: Floats, weight: Floats, first: Ints, own: Ints
) -> tuple[Floats, Floats]:
    """Slopes of weighted straight lines through the works of all units but one, and the weight
    of these; own: which unit each line leaves out. first: where each unit begins."""
    sums = []
    for each in (weight, weight * x, weight * x**2, weight * values, weight * x * values):
        of_unit = np.add.reduceat(each, first)
        sums.append(of_unit.sum() - of_unit[own])
    total = sums[0]
    x_mean, squares, mean, products = (
        each / np.where(total > 0, total, 1) for each in sums[1:]
    )
    spread = squares - x_mean**2
    slope = (products - x_mean * mean) / np.where(spread > 1e-9, spread, 1)
    return np.where(spread > 1e-9, slope, 0.0), total
