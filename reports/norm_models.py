"""Is a model of the norm better than the kernel that places a piece among works of its length?

kernel          the one in use: works of about the length, composers equal
kernel_density  the same, near in length and in density (pitches sounding at once)
composers       normal scores of the measure as a line in the logarithm of the length, its
                square and the logarithm of the density, with random effects of composers
collections     that, with random effects of collections; those with fewer than APART_UNITS
                composers count as one
dated           that, with the year as a line that bends at 1800 and 1900

Fitted by restricted maximum likelihood (statsmodels). A new piece is by another composer in
another collection, so all variances count. Composers are left out, a fifth at a time, and their
works predicted. Loss: pinball loss of the quantiles SHARES in normal scores (Koenker and
Bassett 1978, Econometrica 46:33-50), every composer counting the same. Calibration: the
Kolmogorov distance of the places of left-out works from an even spread. The variances are
worked out once from all composers, which favours the models a little.
"""

from __future__ import annotations

import warnings
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm
from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

from corpusreg.norms.reference import APART_UNITS, Among, Cohort, Size, weighted_quantiles

__all__ = ["compare"]

SHARES = np.array([0.1, 0.25, 0.5, 0.75, 0.9])
FOLDS = 5
MOST_OF_ONE = 8  # works of a composer that are used
SEED = 1
Floats = NDArray[np.float64]


def compare(cohort: Cohort, year: Floats, name: str) -> dict[str, Any]:
    """By method: loss beyond the kernel's in percent with its interval, and calibration."""
    draw = np.random.default_rng(SEED)
    usable = np.flatnonzero(
        np.isfinite(cohort.values[name]) & [each is not None for each in cohort.collection]
    )
    rows = np.concatenate([
        draw.permutation(usable[cohort.unit[usable] == unit])[:MOST_OF_ONE]
        for unit in np.unique(cohort.unit[usable])
    ])  # fmt: skip
    units, index = np.unique(cohort.unit[rows], return_inverse=True)
    weight = 1 / np.bincount(index)[index]
    score = _normal_scores(cohort.values[name][rows], weight)
    fold = draw.permutation(len(units))[index] % FOLDS
    collection = _large(cohort.collection[rows], index)
    plain, dated = _design(cohort, year, rows, False), _design(cohort, year, rows, True)
    alone = np.zeros(len(rows), np.intp)
    quantiles = {
        "kernel": _of_kernel(cohort, name, rows, score, fold),
        "kernel_density": _of_kernel(_mixed(cohort), name, rows, score, fold),
        "composers": _of_model(plain, score, index, alone, fold),
        "collections": _of_model(plain, score, index, collection, fold),
        "dated": _of_model(dated, score, index, collection, fold),
    }
    has = np.all([np.isfinite(own[:, 0]) for own in quantiles.values()], axis=0)
    there = np.bincount(index[has], minlength=len(units)) > 0

    def by_composer(values: Floats) -> Floats:
        sums = np.bincount(index[has], values[has], len(units))
        return np.asarray(sums[there] / np.bincount(index[has], minlength=len(units))[there])

    base = by_composer(_pinball(quantiles["kernel"], score))
    found: dict[str, Any] = {"works": int(has.sum()), "composers_of": int(there.sum())}
    for words, own in quantiles.items():
        gain = 100 * (by_composer(_pinball(own, score)) - base) / base.mean()
        reach = 1.96 * gain.std(ddof=1) / len(gain) ** 0.5
        found[words] = {
            "loss": [float(gain.mean() + side * reach) for side in (0, -1, 1)],
            "even": _distance(_place(own, score)[has], weight[has]),
        }
    return found


def _large(collection: NDArray[np.object_], index: NDArray[np.intp]) -> NDArray[np.intp]:
    """Collections by number; those with few composers are one, since they tell no spread."""
    names, number = np.unique(collection.astype(str), return_inverse=True)
    small = [len(np.unique(index[number == k])) < APART_UNITS for k in range(len(names))]
    return np.where(np.array(small)[number], len(names), number)


def _mixed(cohort: Cohort) -> Cohort:
    """The same works near a piece by length and by density."""
    return replace(cohort, rung=replace(cohort.rung, where={"medium": cohort.rung.title}))


def _normal_scores(values: Floats, weight: Floats) -> Floats:
    _, index = np.unique(values, return_inverse=True)
    mass = np.bincount(index, weight)
    return np.asarray(norm.ppf((np.cumsum(mass) - mass / 2) / mass.sum())[index])


def _design(cohort: Cohort, year: Floats, rows: NDArray[np.intp], dated: bool) -> Floats:
    bars, voices = np.log(cohort.bars[rows]), np.log(cohort.voices[rows])
    bars, voices = bars - bars.mean(), voices - voices.mean()
    columns = [np.ones(len(rows)), bars, bars**2, voices]
    if dated:
        known = np.isfinite(year[rows])
        own = np.where(known, year[rows], year[rows][known].mean() if known.any() else 0.0)
        columns += [np.maximum(own - bend, 0) / 100 for bend in (1600, 1800, 1900)]
        columns += [(~known).astype(float)]
    design = np.column_stack(columns)
    return design[:, [0, *(1 + np.flatnonzero(design[:, 1:].std(axis=0) > 1e-9))]]


def _of_kernel(
    cohort: Cohort, name: str, rows: NDArray[np.intp], score: Floats,
    fold: NDArray[np.intp],
) -> Floats:  # fmt: skip
    """Quantiles for each work from works of other folds near its length, (rows, SHARES)."""
    found = np.full((len(rows), len(SHARES)), np.nan)
    for k in range(FOLDS):
        rest = rows[fold != k]
        chosen = replace(
            cohort, unit=cohort.unit[rest], values={name: cohort.values[name][rest]},
            bars=cohort.bars[rest], voices=cohort.voices[rest],
        )  # fmt: skip
        for place, row in zip(np.flatnonzero(fold == k), rows[fold == k], strict=True):
            kernel = chosen.near(Size(float(cohort.bars[row]), float(cohort.voices[row])), name)
            if kernel is not None:
                near = kernel > 1e-3
                weights = Among.of(
                    score[fold != k][near], kernel[near], chosen.unit[near]
                ).weights
                found[place] = weighted_quantiles(score[fold != k][near], weights, SHARES)
    return found


def _of_model(
    design: Floats, score: Floats, index: NDArray[np.intp], groups: NDArray[np.intp],
    fold: NDArray[np.intp],
) -> Floats:  # fmt: skip
    """Quantiles for each work from a model without the composers of its fold."""
    within = np.unique(1000 * groups + index, return_inverse=True)[1]
    composer, place, rest = _variances(design, score, groups, within)
    found = np.empty((len(score), len(SHARES)))
    for k in range(FOLDS):
        known = fold != k
        apart = composer * (within[known][:, None] == within[known]) + place * (
            groups[known][:, None] == groups[known]
        )
        factor = np.linalg.cholesky(apart + rest * np.eye(known.sum()))
        x, y = np.linalg.solve(factor, design[known]), np.linalg.solve(factor, score[known])
        inverse = np.linalg.inv(x.T @ x)
        new = design[~known]
        middle = new @ (inverse @ x.T @ y)
        spread = np.sqrt(composer + place + rest + ((new @ inverse) * new).sum(axis=1))
        found[~known] = middle[:, None] + spread[:, None] * norm.ppf(SHARES)
    return found


def _variances(
    design: Floats, score: Floats, groups: NDArray[np.intp], within: NDArray[np.intp]
) -> tuple[float, float, float]:
    """Variances between composers, between collections, and of the rest."""
    if len(np.unique(groups)) < 3:  # a spread between two collections cannot be told
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            fit = MixedLM(score, design, groups=within).fit(reml=True)
        return float(fit.cov_re[0, 0]), 0.0, float(fit.scale)
    names, columns, matrices = np.unique(groups), [], []
    for group in names:
        own = np.unique(within[groups == group], return_inverse=True)
        matrices.append((own[1][:, None] == np.arange(len(own[0]))).astype(float))
        columns.append([str(each) for each in own[0]])
    order = np.argsort(groups, kind="stable")
    parts = VCSpec(["composer"], [columns], [matrices])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = MixedLM(
            score[order], design[order], groups=groups[order],
            exog_re=np.ones((len(order), 1)), exog_vc=parts,
        ).fit(reml=True, method="lbfgs", maxiter=50)  # fmt: skip
    return float(fit.vcomp[0]), float(fit.cov_re[0, 0]), float(fit.scale)


def _pinball(quantiles: Floats, score: Floats) -> Floats:
    away = score[:, None] - quantiles
    return np.asarray(np.maximum(SHARES * away, (SHARES - 1) * away).mean(axis=1))


def _place(quantiles: Floats, score: Floats) -> Floats:
    """The share that a prediction puts below a value, between and beyond its quantiles."""
    z = norm.ppf(SHARES)
    found = np.empty(len(score))
    for row, (own, value) in enumerate(zip(quantiles, score, strict=True)):
        steps = np.maximum(np.diff(own), 1e-9)
        slopes = (
            np.concatenate(([steps[0]], steps, [steps[-1]])) / np.diff(z)[[0, 0, 1, 2, 3, 3]]
        )
        at = int(np.searchsorted(own, value))
        k = min(max(at - 1, 0), len(z) - 1)
        found[row] = norm.cdf(z[k] + (value - own[k]) / slopes[at])
    return found


def _distance(places: Floats, weight: Floats) -> float:
    order = np.argsort(places)
    mass = weight[order] / weight.sum()
    steps, own = np.cumsum(mass), places[order]
    return float(max((steps - own).max(), (own - steps + mass).max()))
