"""Statistics against published definitions, worked examples and scipy."""

from __future__ import annotations

import math

import duckdb
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from corpusreg.measures.space import octaves_in_use
from corpusreg.measures.texture import distances
from corpusreg.norms.reference import (
    Cohort,
    Rung,
    Size,
    place,
    student_t,
    unit_weights,
    weighted_quantile,
)

# NIST/SEMATECH e-Handbook of Statistical Methods, section on percentiles: twelve
# readings, 90th percentile 95.1981 by the rule p(N + 1), which is type 6.
NIST = [95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610]
NIST += [95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682]
# Hyndman and Fan 1996, American Statistician 50:361-365: the nine types of 1..10 at .25.
NINE_TYPES = (3, 3, 2, 2.5, 3, 2.75, 3.25, 2.9167, 2.9375)
NUMPY_NAMES = (
    "inverted_cdf", "averaged_inverted_cdf", "closest_observation",
    "interpolated_inverted_cdf", "hazen", "weibull", "linear", "median_unbiased",
    "normal_unbiased",
)  # fmt: skip
FIVE, SEVEN = 5, 7


def own_quantile(values: list[float], share: float) -> float:
    return weighted_quantile(np.array(values, float), np.ones(len(values)), share)


def store_quantile(values: list[float], share: float) -> float:
    """The quantile that queries use."""
    with duckdb.connect() as connection:
        text = "SELECT quantile_cont(v, ?) FROM (SELECT unnest(?::DOUBLE[]) AS v)"
        row = connection.execute(text, [share, values]).fetchone()
    assert row is not None
    return float(row[0])


# --- quantiles -----------------------------------------------------------------------


def test_quantile_types_of_one_to_ten() -> None:
    values = [float(n) for n in range(1, 11)]
    assert own_quantile(values, 0.25) == NINE_TYPES[FIVE - 1]
    assert store_quantile(values, 0.25) == NINE_TYPES[SEVEN - 1]
    # That the nine figures were copied right.
    for name, expected in zip(NUMPY_NAMES, NINE_TYPES, strict=True):
        assert np.quantile(values, 0.25, method=name) == pytest.approx(expected, abs=5e-5)


def test_quantiles_of_the_handbook() -> None:
    assert np.quantile(NIST, 0.9, method="weibull") == pytest.approx(95.1981, abs=5e-5)
    # Type 5 at N p + 1/2 = 11.3: three tenths of the way from the 11th to the 12th.
    assert own_quantile(NIST, 0.9) == pytest.approx(95.1959 + 0.3 * (95.1990 - 95.1959))
    # Type 7 at 1 + (N - 1) p = 10.9.
    assert store_quantile(NIST, 0.9) == pytest.approx(95.19568)


@given(
    st.lists(st.integers(-1000, 1000), min_size=1, max_size=40, unique=True),
    st.floats(0, 1),
)
def test_quantiles_are_type_5_where_no_values_are_equal(
    values: list[int], share: float
) -> None:
    expected = np.quantile(values, share, method="hazen")
    assert own_quantile([float(v) for v in values], share) == pytest.approx(expected, abs=1e-9)


@given(st.lists(st.integers(0, 50), min_size=2, max_size=30, unique=True), st.data())
def test_whole_weights_are_repetitions_inside_a_value(
    values: list[int], data: st.DataObject
) -> None:
    # The mid-rank of a value of weight k is the mean rank of k equal values, the
    # convention of scipy's rankdata; the quantile is its inverse.
    times = data.draw(st.lists(st.integers(1, 5), min_size=len(values), max_size=len(values)))
    repeated = np.repeat(values, times)
    for value in values:
        rank = float(stats.rankdata(repeated)[repeated == value][0])
        share = (rank - 0.5) / len(repeated)
        found = weighted_quantile(np.array(values, float), np.array(times, float), share)
        assert found == pytest.approx(value, abs=1e-9)


# --- places --------------------------------------------------------------------------


def cohort(values: list[float], units: list[int]) -> Cohort:
    count = len(values)
    return Cohort(
        rung=Rung({"ensemble": "piano"}, "piano music"),
        unit=np.array(units),
        values={"span": np.array(values, float)},
        bars=np.full(count, 50.0),
        voices=np.full(count, 4.0),
        composers=len(set(units)),
        sources=0,
        collections=1,
    )


def percentile(values: list[float], units: list[int], value: float) -> float:
    found = place(cohort(values, units), "span", value, Size(50, 4)).percentile
    assert found is not None
    return found


def test_percentile_rank_is_the_mean_of_strict_and_weak() -> None:
    # scipy.stats.percentileofscore, documentation: 1 2 3 3 4 at 3: strict 40, weak 80,
    # mean 60. Eight times over, since nothing is placed among five works.
    values = [1.0, 2.0, 3.0, 3.0, 4.0] * 8
    kinds = {
        kind: stats.percentileofscore(values, 3, kind=kind)
        for kind in ("strict", "weak", "mean")
    }
    assert kinds == pytest.approx({"strict": 40, "weak": 80, "mean": 60})
    assert percentile(values, list(range(40)), 3) == pytest.approx(kinds["mean"])


@given(st.lists(st.integers(0, 12), min_size=40, max_size=60), st.integers(-1, 13))
def test_percentile_rank_is_scipys(values: list[int], value: int) -> None:
    expected = stats.percentileofscore(values, value, kind="mean")
    found = percentile([float(v) for v in values], list(range(len(values))), value)
    assert found == pytest.approx(expected)


def test_composers_count_alike_in_a_percentile() -> None:
    # By hand: one composer has 21 works below, ten have one work each above; the
    # share below is 1 of 11 composers.
    values, units = [1.0] * 21 + [9.0] * 10, [0] * 21 + list(range(1, 11))
    assert percentile(values, units, 5) == pytest.approx(100 / 11)


def test_effective_number() -> None:
    # Kish 1965, Survey Sampling: (sum w)^2 / sum w^2. Works of weight 1/2 and three
    # times 1/6 are worth 1 / (1/4 + 3/36) = 3.
    assert cohort([1, 2, 3, 4], [0, 1, 1, 1]).effective == pytest.approx(3)
    weights = unit_weights(np.array([0, 1, 1, 1]), np.ones(4))
    assert weights == pytest.approx([1 / 2, 1 / 6, 1 / 6, 1 / 6])


# Two-sided 95 % points in every table of Student's t (Student 1908; Fisher 1925).
@pytest.mark.parametrize(
    ("degrees", "point"), [(3, 3.182), (4, 2.776), (10, 2.228), (30, 2.042), (120, 1.980)]
)
def test_student_t_of_the_tables(degrees: int, point: float) -> None:
    assert student_t(degrees) == pytest.approx(point, rel=0.002)


def test_student_t_is_scipys() -> None:
    degrees = np.concatenate((np.arange(3, 60, 0.25), [100, 1000, 1e6]))
    own = [student_t(float(d)) for d in degrees]
    assert own == pytest.approx(stats.t.ppf(0.975, degrees), rel=0.002)


# --- distances and entropy -----------------------------------------------------------


def summed(weights: dict[int, float]) -> np.ndarray:
    profile = np.zeros(128)
    for pitch, weight in weights.items():
        profile[pitch] = weight
    return np.cumsum(profile / profile.sum())


def distance(a: dict[int, float], b: dict[int, float]) -> float:
    return float(distances(summed(a), summed(b)))


def test_wasserstein_distances_in_closed_form() -> None:
    # Point masses: their distance. A shift by c: c. The uniform distributions on
    # [0, 1] and [0, 2]: 1/2; on 12 and 24 keys, half of the difference of the widths.
    assert distance({60: 1}, {67: 1}) == pytest.approx(7)
    chord = {48: 2.0, 60: 1.0, 64: 0.5}
    assert distance(chord, {pitch + 5: w for pitch, w in chord.items()}) == pytest.approx(5)
    narrow, wide = dict.fromkeys(range(48, 60), 1.0), dict.fromkeys(range(48, 72), 1.0)
    assert distance(narrow, wide) == pytest.approx(0.5 * 12)


weights_of_pitches = st.dictionaries(
    st.integers(0, 127), st.floats(0.01, 10), min_size=1, max_size=12
)


@given(weights_of_pitches, weights_of_pitches)
def test_wasserstein_distances_are_scipys(a: dict[int, float], b: dict[int, float]) -> None:
    expected = stats.wasserstein_distance(list(a), list(b), list(a.values()), list(b.values()))
    assert distance(a, b) == pytest.approx(expected, abs=1e-9)


def octaves(shares: list[float]) -> float:
    total = np.zeros(128)
    for octave, share in enumerate(shares):
        total[12 * octave + 5] = share
    return octaves_in_use(total)


def test_octaves_in_use_by_shannons_entropy() -> None:
    # Shannon 1948: the entropy of k equal shares is log k; of 1/2, 1/4, 1/4 it is 1.5
    # bits (of 1/2, 1/4, 1/8, 1/8 it is 1.75).
    assert octaves([1]) == pytest.approx(1)
    assert octaves([1, 1, 1, 1]) == pytest.approx(4)
    assert octaves([2, 1, 1]) == pytest.approx(2**1.5)
    assert octaves([4, 2, 1, 1]) == pytest.approx(2**1.75)


@given(st.lists(st.floats(0.01, 100), min_size=1, max_size=10))
def test_octaves_in_use_are_scipys_entropy(shares: list[float]) -> None:
    assert octaves(shares) == pytest.approx(math.exp(stats.entropy(shares)))
