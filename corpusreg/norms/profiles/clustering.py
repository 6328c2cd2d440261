"""Are there groups of works that use register alike, and how many? Build time only.

k-means on scores, and two questions to which one lump of works must not answer yes
(k-means cuts any lump, and cuts an elongated one at the same place every time):

silhouette  are works closer to their own group than to the next (Rousseeuw 1987)?
stability   do two halves of the composers give the same groups? The adjusted Rand
            index (Hubert and Arabie 1985) of the two ways to group all works.

Each is held against NULLS data sets without clusters: one Gaussian with the covariance
of the works, whose features are given the works' own distributions rank by rank, so that
neither correlated features nor values that many works share look like groups. Of the
numbers of groups with a silhouette farther above the nulls, in their standard deviations,
than that of any null with any number, the most stable is taken; where some are about as
stable, the one with the silhouette farthest above. Groups are clear when there is such a
number, when it is more stable than 95 % of the nulls, and at least STABLE.

All means are weighted, so that every composer counts the same. Seeds are fixed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Clustering", "adjusted_rand", "cluster", "silhouette", "without_length"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

COUNTS = (2, 3, 4, 5)
NULLS = 39
FIRST_NULLS = 10
HALVES = 8
# Below .65 a recovery is called poor (Steinley 2004, Psychological Methods 9:386-396;
# value from memory).
STABLE = 0.65
_LEVEL = 0.05  # stabilities that differ by less count as the same
_MOST_WORKS = 240  # more are sampled, as evenly from the composers as they allow
_SEED = 20


@dataclass(frozen=True)
class Clustering:
    """What was found. Silhouettes and stabilities belong to the number `count`.

    count: the number of groups that stands out most; clear: whether they are clear.
    centres: shape (count, features). silhouette_null, stability_null: the 95 % quantile
    of the nulls, the latter None where it was not needed. surprise: how far the silhouette
    lies above the nulls, in their standard deviations; surprise_null: the furthest of the
    nulls.
    """

    count: int
    clear: bool
    centres: Floats
    silhouette: float
    silhouette_null: float
    stability: float
    stability_null: float | None
    surprise: float
    surprise_null: float


def silhouette(points: Floats, labels: Ints, weights: Floats) -> float:
    """Weighted mean silhouette, -1 to 1; 0 where all labels are the same."""
    from sklearn.metrics import silhouette_samples

    if len(np.unique(labels)) < 2:
        return 0.0
    return float(np.average(silhouette_samples(points, labels), weights=weights))


def adjusted_rand(one: Ints, other: Ints) -> float:
    """Agreement of two ways to group the same works: 1 the same, 0 as by chance."""
    from sklearn.metrics import adjusted_rand_score

    return float(adjusted_rand_score(one, other))


def cluster(
    points: Floats, unit: Ints, *, seed: int = _SEED, thorough: bool = False
) -> Clustering:
    """The groups in points of shape (n, features), scaled so that distances mean something.

    unit: shape (n,), the composer of each. Needs more points than the most groups tried,
    and four units or more. thorough: the stability of the nulls is wanted even where it
    is certain without them that there are no clear groups.
    """
    # Before the limit, which holds only for what is loaded.
    import sklearn.cluster
    import sklearn.metrics
    from threadpoolctl import threadpool_limits

    # These are many small problems: threads cost more than they save, and one alone
    # adds in the same order everywhere; so do checks of what is known.
    quick = sklearn.config_context(assume_finite=True, skip_parameter_validation=True)
    with threadpool_limits(1), quick:
        return _cluster(points, unit, seed, thorough)


def _cluster(points: Floats, unit: Ints, seed: int, thorough: bool) -> Clustering:
    rows = _sample(unit, np.random.default_rng(seed))
    lump = _Lump(points[rows], unit[rows])
    nulls = lump.nulls(np.random.default_rng(seed + 1), NULLS)
    found = np.array([_silhouettes(lump.points, lump.weights)])
    # A few nulls are often enough to see that the groups are nothing special.
    null = np.array([_silhouettes(each, lump.weights) for each in nulls[:FIRST_NULLS]])
    surprise, furthest = _surprise(found, null)
    if thorough or surprise.max() > furthest:
        more = [_silhouettes(each, lump.weights) for each in nulls[FIRST_NULLS:]]
        null = np.vstack((null, more))
        surprise, furthest = _surprise(found, null)
    halves = lump.halves(np.random.default_rng(seed + 2))
    chance = np.random.default_rng(seed + 3).choice(len(rows), len(rows), p=lump.weights)

    def stability(of: Floats, number: int) -> float:
        return _stability(of, lump.weights, halves, COUNTS[number], chance)

    outstanding = np.flatnonzero(surprise > furthest).tolist() or [int(surprise.argmax())]
    steady = {each: stability(lump.points, each) for each in outstanding}
    level = [each for each in outstanding if steady[each] >= max(steady.values()) - _LEVEL]
    best = max(level, key=lambda each: float(surprise[each]))
    stable = steady[best]
    likely = bool(surprise[best] > furthest) and stable >= STABLE
    bar = None
    if likely or thorough:
        bar = float(np.quantile([stability(each, best) for each in nulls], 0.95))
    count = COUNTS[best]
    return Clustering(
        count=count,
        clear=likely and bar is not None and stable > bar,
        centres=_centres(lump.points, lump.weights, count),
        silhouette=float(found[0, best]),
        silhouette_null=float(np.quantile(null[:, best], 0.95)),
        stability=stable,
        stability_null=bar,
        surprise=float(surprise[best]),
        surprise_null=furthest,
    )


def _surprise(found: Floats, null: Floats) -> tuple[Floats, float]:
    """How far each silhouette lies from the nulls' in their own spread; the furthest null."""
    middle, spread = null.mean(axis=0), np.maximum(null.std(axis=0), 1e-9)
    furthest = float(((null - middle) / spread).max())
    return np.asarray(((found - middle) / spread)[0]), furthest


def without_length(points: Floats, bars: Floats, unit: Ints) -> Floats:
    """What is left of points, shape (n, features), when log length and its square are out.

    Weighted least squares; composers count the same.
    """
    length = np.log(bars)
    length = length - length.mean()
    design = np.stack([np.ones_like(length), length, length**2], axis=1)
    root = np.sqrt(_equal(unit))[:, None]
    fit, *_ = np.linalg.lstsq(design * root, points * root, rcond=None)
    return np.asarray(points - design @ fit)


class _Lump:
    """Points, composers and weights of a sample, and what is drawn from them."""

    def __init__(self, points: Floats, unit: Ints) -> None:
        self.points, self.unit, self.weights = points, unit, _equal(unit)

    def nulls(self, rng: np.random.Generator, number: int) -> list[Floats]:
        """Data sets of one Gaussian with the covariance and the distributions of these."""
        covariance = np.cov(self.points, rowvar=False, aweights=self.weights)
        values, vectors = np.linalg.eigh(covariance)
        root = vectors * np.sqrt(np.maximum(values, 0))
        drawn = (rng.normal(size=self.points.shape) @ root.T for _ in range(number))
        return [self._with_own_values(each) for each in drawn]

    def _with_own_values(self, drawn: Floats) -> Floats:
        result = np.empty_like(drawn)
        for column in range(drawn.shape[1]):
            own = np.argsort(self.points[:, column], kind="stable")
            reached = np.cumsum(self.weights[own]) - self.weights[own] / 2
            by_rank = np.argsort(drawn[:, column], kind="stable")
            rank = np.cumsum(self.weights[by_rank]) - self.weights[by_rank] / 2
            nearest = np.minimum(np.searchsorted(reached, rank), len(own) - 1)
            result[by_rank, column] = self.points[own[nearest], column]
        return result

    def halves(self, rng: np.random.Generator) -> list[tuple[Ints, Ints]]:
        """Rows of random halves of the composers, as often as HALVES says."""
        units = np.unique(self.unit)
        found = []
        for _ in range(HALVES):
            first = rng.permutation(units)[: len(units) // 2]
            inside = np.isin(self.unit, first)
            found.append((np.flatnonzero(inside), np.flatnonzero(~inside)))
        return found


def _sample(unit: Ints, rng: np.random.Generator) -> Ints:
    """Rows of at most so many works, each composer giving at most the same number."""
    shuffled = rng.permutation(len(unit))
    _, first, index = np.unique(unit[shuffled], return_index=True, return_inverse=True)
    place = np.zeros(len(unit), np.int64)
    for number in range(len(first)):
        own = np.flatnonzero(index == number)
        place[own] = np.arange(len(own))
    most = 1
    while (place <= most).sum() <= _MOST_WORKS and most < len(unit):
        most += 1
    return np.sort(shuffled[place < most])


def _equal(unit: Ints) -> Floats:
    """Weights of works by which every composer counts the same, shape (n,), sum 1."""
    _, index, count = np.unique(unit, return_inverse=True, return_counts=True)
    return np.asarray(1 / (count[index] * len(count)))


def _fit(points: Floats, weights: Floats, count: int) -> Floats:
    from sklearn.cluster import KMeans

    model = KMeans(count, n_init=2, max_iter=100, random_state=_SEED)
    centres: Floats = model.fit(points, sample_weight=weights * len(weights)).cluster_centers_
    return centres


def _labels(points: Floats, centres: Floats) -> Ints:
    away = ((points[:, None, :] - centres[None, :, :]) ** 2).sum(axis=2)
    return np.asarray(away.argmin(axis=1))


def _silhouettes(points: Floats, weights: Floats) -> list[float]:
    return [
        silhouette(points, _labels(points, _fit(points, weights, count)), weights)
        for count in COUNTS
    ]


def _stability(
    points: Floats, weights: Floats, halves: list[tuple[Ints, Ints]], count: int, chance: Ints
) -> float:
    """Mean agreement of halves on a sample `chance` in which composers count the same.

    0, as by chance, where no pair of halves has works for so many groups.
    """
    found = []
    for pair in halves:
        # One composer may have nearly all works, and the other half too few.
        if min(map(len, pair)) < count:
            continue
        one, other = (
            _labels(points[chance], _fit(points[half], weights[half], count)) for half in pair
        )
        found.append(adjusted_rand(one, other))
    return float(np.mean(found)) if found else 0.0


def _centres(points: Floats, weights: Floats, count: int) -> Floats:
    """Centres, the group that weighs most first; rounded against last-bit differences."""
    centres = _fit(points, weights, count)
    mass = np.bincount(_labels(points, centres), weights, minlength=count)
    order = sorted(range(count), key=lambda i: (-round(float(mass[i]), 9), centres[i].tolist()))
    return np.asarray(np.round(centres[order], 6))
