"""Effect sizes, tests and trends: published worked examples, scipy, and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.regression.mixed_linear_model import MixedLM

from corpusreg.norms import effects
from corpusreg.norms.effects import Groups

# Benjamini and Hochberg 1995, table 1.
PUBLISHED_P = np.array(
    [.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262, .5719,
     .6528, .7590, 1]
)  # fmt: skip
# A worked teaching example of the Mann-Kendall test (College of the Holy Cross).
TREND = np.array(
    [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7]
)
whole = st.integers(0, 6).map(float)


def apart(earlier: list[float], later: list[float], both: int = 0) -> Groups:
    """Groups whose last and first `both` units are the same."""
    first = np.arange(len(earlier))
    second = np.arange(len(later)) + len(earlier) - both
    return Groups(first, np.array(earlier), second, np.array(later))


def test_false_discovery_rate_as_published_and_by_scipy() -> None:
    found = effects.adjusted(PUBLISHED_P)
    assert (found <= 0.05).sum() == 4
    assert (PUBLISHED_P * len(PUBLISHED_P) <= 0.05).sum() == 3
    shuffled = np.random.default_rng(1).permutation(PUBLISHED_P)
    assert effects.adjusted(shuffled) == pytest.approx(stats.false_discovery_control(shuffled))


def test_cliffs_delta_as_published() -> None:
    earlier, later = [8.0, 9, 7, 10, 9], [10.0, 11, 9, 12, 10]
    found = effects.effect([apart(earlier, later)])
    assert found.delta == pytest.approx(0.76)
    assert (found.delta + 1) / 2 == pytest.approx(0.88)
    assert effects.delta(np.array(later), np.array(earlier)) == pytest.approx(-0.76)


def test_mann_kendall_as_published() -> None:
    years = np.arange(14.0)
    found = effects.trend([(years, TREND)])
    assert (found.s, round(found.z, 4)) == (54, 2.9058)


@given(st.lists(st.tuples(whole, whole), min_size=4, max_size=25))
def test_trend_with_ties_is_scipys(points: list[tuple[float, float]]) -> None:
    years, values = (np.array(column) for column in zip(*points, strict=True))
    if len(np.unique(years)) < 2 or len(np.unique(values)) < 2:
        assert effects.trend([(years, values)]).s == 0
        return
    variance = effects._kendall_variance(years, values)
    found = effects.trend([(years, values)])
    tau = stats.kendalltau(years, values, method="asymptotic")
    assert 2 * stats.norm.sf(abs(found.s) / math.sqrt(variance)) == pytest.approx(tau.pvalue)


@given(st.permutations(range(9)), st.integers(4, 9))
def test_trend_without_ties_is_scipys_exact_one(order: list[int], count: int) -> None:
    values = np.array(order[:count], float)
    years = np.arange(count, dtype=float)
    found = effects.trend([(years, values)])
    expected = stats.kendalltau(years, values, method="exact")
    assert found.tau == pytest.approx(expected.statistic)
    assert found.p == pytest.approx(expected.pvalue)
    assert effects.smallest_trend_p(count) <= found.p + 1e-12


def test_slope_with_effects_of_composers_is_that_of_statsmodels() -> None:
    random = np.random.default_rng(3)
    unit = np.repeat(np.arange(20), random.integers(1, 9, 20))
    years = 1800.0 + 3 * unit + random.normal(0, 8, len(unit))
    values = 0.02 * years + random.normal(0, 2, 20)[unit] + random.normal(0, 1, len(unit))
    alone = np.zeros(len(unit), np.int64)
    slope, low, high = effects.composers_slope(years, values, unit, alone)
    design = np.column_stack([np.ones(len(unit)), (years - years.mean()) / 100])
    fit = MixedLM(values, design, groups=unit).fit(reml=True)
    assert slope == pytest.approx(fit.params[1], rel=1e-3)
    wanted = 2 * stats.t.ppf(0.975, 18) * fit.bse[1]
    assert high - low == pytest.approx(wanted, rel=5e-3)


def test_a_slope_between_collections_only_is_unsure_once_they_have_effects() -> None:
    random = np.random.default_rng(5)
    unit = np.repeat(np.arange(40), 5)
    group = unit // 8
    years = 1700.0 + 50 * group + random.uniform(0, 50, len(unit))
    level = np.array([0.0, 6, 2, 9, 5])[group]  # of each collection, whatever the year
    values = level + random.normal(0, 1, 40)[unit] + random.normal(0, 1, len(unit))
    alone = np.zeros(len(unit), np.int64)
    assert effects.composers_slope(years, values, unit, alone)[1] > 0
    _, low, high = effects.composers_slope(years, values, unit, group)
    assert low < 0 < high


def test_strata_of_a_trend_are_added_and_not_compared() -> None:
    years = np.arange(8.0)
    rising, falling = years.copy(), -years
    assert effects.trend([(years, rising), (years, falling)]).s == 0
    both = effects.trend([(years, rising), (years, rising)])
    assert both.s == 56
    # Two ensembles far apart in height and in time: no trend within either.
    flat = [(years, np.tile([0.0, 1], 4)), (years + 100, np.tile([50.0, 51], 4))]
    assert effects.trend(flat).p > 0.05
    merged = (np.concatenate([y for y, _ in flat]), np.concatenate([v for _, v in flat]))
    assert effects.trend([merged]).p < 0.05


@given(
    st.lists(st.floats(0, 1).map(lambda x: round(x, 6)), min_size=4, max_size=16, unique=True),
    st.data(),
)
def test_rank_test_is_scipys_exact_one(values: list[float], data: st.DataObject) -> None:
    cut = data.draw(st.integers(1, len(values) - 1))
    earlier, later = values[:cut], values[cut:]
    expected = stats.mannwhitneyu(earlier, later, method="exact").pvalue
    found = effects.rank_test(apart(earlier, later))
    assert found == pytest.approx(expected)
    assert effects.smallest_p(len(earlier), len(later)) <= found + 1e-12


def rank_sum(first: np.ndarray, second: np.ndarray, axis: int = -1) -> np.ndarray:
    pooled = np.concatenate((first, second), axis=axis)
    ranks = stats.rankdata(pooled, axis=axis)
    return np.take(ranks, range(first.shape[axis]), axis=axis).sum(axis=axis)


@given(st.lists(whole, min_size=2, max_size=4), st.lists(whole, min_size=2, max_size=4))
def test_rank_test_with_ties_is_the_permutation_test(
    earlier: list[float], later: list[float]
) -> None:
    mean = len(earlier) * (len(earlier) + len(later) + 1) / 2
    expected = stats.permutation_test(
        (np.array(earlier), np.array(later)),
        lambda a, b, axis=-1: abs(rank_sum(a, b, axis) - mean),
        alternative="greater",
        vectorized=True,
        n_resamples=np.inf,
    )
    found = effects.rank_test(apart(earlier, later))
    assert found == pytest.approx(expected.pvalue)


def test_units_of_both_groups_only_exchange_their_values() -> None:
    # All five in both: sign-flips of five pairs, every later value the higher.
    assert effects.rank_test(apart([1, 2, 3, 4, 5], [11, 12, 13, 14, 15], both=5)) == 2 / 32
    assert effects.smallest_p(5, 5, both=5) == 2 / 32
    # One of them: three and three others, and one pair that can be turned round.
    mixed = apart([1, 2, 3, 4], [14, 15, 16, 17], both=1)
    assert effects.rank_test(mixed) == pytest.approx(2 / (20 * 2))
    assert effects.smallest_p(4, 4, both=1) == 2 / 40


def test_exact_and_normal_rank_tests_agree(monkeypatch: pytest.MonkeyPatch) -> None:
    random = np.random.default_rng(4)
    for both in (0, 3):
        groups = apart(
            list(random.normal(size=25)), list(random.normal(0.5, 1, size=28)), both=both
        )
        exact = effects.rank_test(groups)
        with monkeypatch.context() as patch:
            patch.setattr(effects, "_EXACT", 0)
            assert effects.rank_test(groups) == pytest.approx(exact, abs=0.02)


def test_four_against_five_cannot_reach_a_hundredth() -> None:
    assert effects.smallest_p(4, 5) == pytest.approx(2 / 126)
    perfect = apart([1, 2, 3, 4], [5, 6, 7, 8, 9])
    assert effects.rank_test(perfect) == pytest.approx(2 / 126)
    assert effects.smallest_p(1, 1) == 1


def test_tests_that_cannot_pass_are_not_counted() -> None:
    # Gilbert's and Tarone's rule by hand: at k = 2 two tests can reach .025.
    smallest = np.array([0.001, 0.0159, 0.04, 0.3])
    assert effects.can_pass(smallest).tolist() == [True, True, False, False]
    assert not effects.can_pass(np.array([0.06, 0.5])).any()
    assert effects.can_pass(np.array([0.03])).all()
    assert not len(effects.can_pass(np.zeros(0)))


def uneven(found: list[float]) -> float:
    """Largest distance between how often p is at most a value it takes, and that value.

    An exact p takes steps, so that only there it is exactly as frequent as it says.
    """
    p = np.sort(found)
    return float(np.abs(np.searchsorted(p, p, side="right") / len(p) - p).max())


def test_without_effect_p_is_uniform() -> None:
    random = np.random.default_rng(5)
    groups = [
        apart(list(random.normal(size=9)), list(random.normal(size=11))) for _ in range(600)
    ]
    p = [effects.rank_test(each) for each in groups]
    assert uneven(p) < 0.066  # 1 % critical value of Kolmogorov's distance for 600
    trends = [effects.trend([(np.arange(12.0), random.normal(size=12))]).p for _ in range(600)]
    assert abs((np.array(trends) <= 0.05).mean() - 0.05) < 0.025


def test_without_effect_p_is_uniform_when_units_are_in_both() -> None:
    """A composer's two values are alike; a test that took them for two would be wrong."""
    random = np.random.default_rng(6)
    alike, found = [], []
    for _ in range(600):
        own = random.normal(size=17)
        earlier, later = (
            own[:12] + random.normal(size=12) / 9,
            own[5:] + random.normal(size=12) / 9,
        )
        alike.append((list(earlier), list(later)))
        found.append(effects.rank_test(apart(*alike[-1], both=7)))
    # Half a step of p on average is lost here, since steps differ from case to case.
    assert uneven(found) < 0.1
    assert (np.array(found) <= 0.05).mean() < 0.075
    # The same values taken for those of other units: p is then never small.
    apart_p = [effects.rank_test(apart(first, second)) for first, second in alike]
    assert uneven(apart_p) > 0.15


def cover(earlier: int, later: int, shift: float, both: int, runs: int = 250) -> float:
    """How often the interval holds the true delta of two normal groups."""
    random = np.random.default_rng(7)
    truth = math.erf(shift / 2)
    hits = 0
    for _ in range(runs):
        first, second = random.normal(size=earlier), random.normal(size=later) + shift
        if both:
            own = 0.8 * random.normal(size=both)
            first[-both:] = 0.6 * first[-both:] + own
            second[:both] = shift + 0.6 * (second[:both] - shift) + own
        interval = effects.effect([apart(list(first), list(second), both)]).interval
        assert interval is not None
        hits += interval[0] <= truth <= interval[1]
    return hits / runs


@pytest.mark.parametrize(
    ("earlier", "later", "shift", "both"),
    [(8, 10, 0.0, 0), (20, 20, 0.5, 0), (20, 20, 1.5, 3), (20, 20, 0.0, 10), (6, 7, 0.0, 1)],
)
def test_intervals_cover(earlier: int, later: int, shift: float, both: int) -> None:
    assert 0.92 <= cover(earlier, later, shift, both) <= 1.0


def test_units_of_both_are_drawn_together() -> None:
    """With all units in both and one order among them, no resample can change the sign."""
    values = np.arange(12.0)
    joint = effects.effect([apart(list(values), list(values + 0.5), both=12)])
    lone = effects.effect([apart(list(values), list(values + 0.5))])
    assert joint.delta == lone.delta > 0
    assert joint.interval is not None and lone.interval is not None
    assert joint.interval[0] > 0 > lone.interval[0]
    assert (joint.both, lone.both) == (12, 0)


def test_strata_compare_only_within_themselves() -> None:
    """Songs low, quartets high; the later group is mostly quartets and no higher in either."""
    songs = Groups(np.arange(8), np.arange(8.0), np.array([8, 9]), np.array([3.0, 4]))
    quartets = Groups(
        np.array([10, 11]), np.array([53.0, 54]), np.arange(12, 20), np.arange(50.0, 58)
    )
    within = effects.effect([songs, quartets])
    assert within.delta == pytest.approx(0, abs=0.01)
    pooled = Groups(
        np.concatenate((songs.earlier, quartets.earlier)),
        np.concatenate((songs.earlier_values, quartets.earlier_values)),
        np.concatenate((songs.later, quartets.later)),
        np.concatenate((songs.later_values, quartets.later_values)),
    )
    assert effects.effect([pooled]).delta > 0.5
    assert (within.earlier, within.later) == (10, 10)


def test_a_group_of_three_has_no_interval() -> None:
    assert effects.effect([apart([1, 2, 3], [4, 5, 6, 7, 8])]).interval is None
    assert effects.median_interval(np.arange(9.0), np.repeat([0, 1, 2], 3)) is None


def test_median_interval_covers_with_unequal_units() -> None:
    random = np.random.default_rng(8)
    hits = 0
    for _ in range(300):
        sizes = np.minimum(random.geometric(0.1, size=12), 60)
        unit = np.repeat(np.arange(12), sizes)
        values = 0.7 * random.normal(size=12)[unit] + 0.7 * random.normal(size=len(unit))
        interval = effects.median_interval(values, unit)
        assert interval is not None
        hits += interval[0] <= 0 <= interval[1]
    assert 0.92 <= hits / 300 <= 0.98


def test_means_are_those_of_units() -> None:
    units, means = effects.unit_means(np.array([1.0, 3, 10]), np.array([7, 7, 2]))
    assert units.tolist() == [2, 7]
    assert means.tolist() == [10, 2]


def test_ranks_within_length_take_length_away() -> None:
    """A value that is nothing but length has the same place at every length."""
    random = np.random.default_rng(9)
    bars = np.exp(random.uniform(3, 6, size=600))
    unit = np.arange(600) % 40
    values = np.log(bars) * 10 + random.normal(size=600)
    found = effects.ranks_within_length(values, unit, bars)
    inside = np.abs(np.log(bars) - 4.5) < 1
    plain = stats.spearmanr(values[inside], bars[inside]).statistic
    left = stats.spearmanr(found[inside], bars[inside]).statistic
    assert plain > 0.95
    assert abs(left) < 0.25
    assert np.nanmin(found) >= 0 and np.nanmax(found) <= 100


def test_ranks_within_length_leave_out_a_units_own_works() -> None:
    lone = effects.ranks_within_length(np.arange(5.0), np.zeros(5, int), np.full(5, 40.0))
    assert np.isnan(lone).all()
    far = effects.ranks_within_length(
        np.array([1.0, 2, 3]), np.array([0, 1, 2]), np.array([10.0, 10, 5000])
    )
    assert far[:2].tolist() == [0, 100]
    assert np.isnan(far[2])
