"""Cluster indices, and groups known beforehand, against published worked examples."""

from __future__ import annotations

import numpy as np
import pytest

from corpusreg.norms.profiles.clustering import adjusted_rand, cluster, silhouette

# The 75 points of Ruspini 1970 (Information Sciences 2:319-350), four groups in a row;
# coordinates from memory, which the published silhouettes confirm.
POINTS = """
    4 53 5 63 10 59 9 77 13 49 13 69 12 88 15 75 18 61 19 65
    22 74 27 72 28 76 24 58 27 55 28 60 30 52 31 60 32 61 36 72
    28 147 32 149 35 153 33 154 38 151 41 150 38 145 38 143 32 143 34 141 44 156 44 149
    44 143 46 142 47 149 49 152 50 142 53 144 52 152 55 155 54 124 60 136 63 139
    86 132 85 115 85 96 78 94 74 96 97 122 98 116 98 124 99 119 99 128 101 115 108 111
    110 111 108 116 111 126 115 117 117 115
    70 4 77 12 83 21 61 15 69 15 78 16 66 18 58 13 64 20 69 21 66 23 61 25 76 27 72 31 64 30
"""
RUSPINI = np.array(POINTS.split(), float).reshape(-1, 2)
SIZES = (20, 23, 17, 15)
GROUPS = np.repeat(np.arange(4), SIZES)


def test_silhouettes_of_the_ruspini_data() -> None:
    # Kaufman and Rousseeuw 1990, Finding Groups in Data: .7377; by group .726 .755 .669 .804.
    alike = np.full(len(RUSPINI), 1 / len(RUSPINI))
    assert silhouette(RUSPINI, GROUPS, alike) == pytest.approx(0.7377, abs=5e-5)
    for group, published in enumerate((0.726, 0.755, 0.669, 0.804)):
        own = (group == GROUPS) / SIZES[group]
        assert silhouette(RUSPINI, GROUPS, own) == pytest.approx(published, abs=5e-4)


def test_the_groups_of_the_ruspini_data_are_found() -> None:
    found = cluster(RUSPINI, np.arange(len(RUSPINI)))
    assert (found.count, found.clear) == (4, True)
    assert found.stability == 1
    assert found.silhouette == pytest.approx(0.7377, abs=5e-5)
    away = ((RUSPINI[:, None, :] - found.centres[None, :, :]) ** 2).sum(axis=2)
    assert adjusted_rand(away.argmin(axis=1), GROUPS) == 1


def test_adjusted_rand_index_of_a_worked_example() -> None:
    # Yeung and Ruzzo 2001, Bioinformatics 17:763-774, supplement (value from memory): the
    # contingency table [[1, 1, 0], [1, 2, 1], [0, 0, 4]] has .313.
    table = np.array([[1, 1, 0], [1, 2, 1], [0, 0, 4]])
    one, other = (np.repeat(side.ravel(), table.ravel()) for side in np.indices(table.shape))
    assert adjusted_rand(one, other) == pytest.approx(0.313, abs=5e-4)
    # Neither names nor order of the groups matter; the same groups agree wholly.
    assert adjusted_rand(other, 5 - one) == pytest.approx(adjusted_rand(one, other))
    assert adjusted_rand(one, (one + 1) % 3) == 1
