"""Part 6, second half: do 95 % intervals of percentiles hold the truth 95 % of the time?

A world of composers is invented, each with a level of their own and works round it.
Cohorts of twenty composers of very unequal size are drawn from it, a value whose true
percentile is known is placed, and its interval is asked whether it holds the truth.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from corpusreg.norms.reference import Size, place

from .calibration import Measured, cohort_of

__all__ = ["RANKS", "SIZES", "coverage"]

RANKS = (5, 10, 25, 50, 75, 90, 95)
# Works by composer, as unequal as in real collections: half have three or fewer.
SIZES = (1, 1, 1, 2, 2, 2, 3, 3, 3, 3, 4, 5, 6, 8, 10, 14, 20, 30, 45, 60)
ALIKE = 0.3  # share of variance between composers


def coverage(rounds: int, seed: int) -> dict[int, tuple[int, int]]:
    """By true percentile: how many intervals held it, of how many."""
    draw = np.random.default_rng(seed)
    unit = np.repeat(np.arange(len(SIZES)), SIZES)
    same, halves = np.ones(len(unit)), np.full(len(unit), "both")
    held = dict.fromkeys(RANKS, 0)
    for _ in range(rounds):
        level = draw.normal(0, np.sqrt(ALIKE), len(SIZES))
        values = level[unit] + draw.normal(0, np.sqrt(1 - ALIKE), len(unit))
        cohort = cohort_of(Measured(unit, halves, same, same, {"span": values}))
        for rank in RANKS:
            placed = place(cohort, "span", NormalDist().inv_cdf(rank / 100), Size(1, 1))
            assert placed.interval is not None
            held[rank] += placed.interval[0] <= rank <= placed.interval[1]
    return {rank: (count, rounds) for rank, count in held.items()}
