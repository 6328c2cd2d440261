"""Ranks, weights and intervals on cohorts small enough to work out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corpusreg.comparison import placing
from corpusreg.instruments.ensembles import kinds
from corpusreg.norms.reference import (
    MINIMUM_UNITS,
    MINIMUM_WORKS,
    Cohort,
    Placement,
    Rung,
    Size,
    ladder,
    place,
    student_t,
    unit_weights,
    unusualness,
    unusualness_of_works,
    weighted_quantile,
)

NARROW = Rung({"ensemble": "choir"}, "choirs")
BROAD = Rung({"family": "works for keyboard"}, "works for keyboard", broad=True)
PIECE = Size(32.0, 3.0)


def cohort(
    values: list[float],
    unit: list[int],
    bars: list[float] | float = 32.0,
    voices: list[float] | float = 3.0,
    rung: Rung = NARROW,
) -> Cohort:
    n = len(values)
    return Cohort(
        rung=rung,
        unit=np.array(unit, np.int64),
        values={"span": np.array(values, float)},
        bars=np.broadcast_to(np.array(bars, float), n).copy(),
        voices=np.broadcast_to(np.array(voices, float), n).copy(),
        composers=len(set(unit)),
        sources=0,
        collections=1,
    )


def even(works: int = 40, units: int = 10) -> Cohort:
    """Values 1, 2, 3, … dealt out to the composers in turn."""
    return cohort([1.0 + i for i in range(works)], [i % units for i in range(works)])


def percentile(found: Cohort, value: float, size: Size = PIECE) -> float:
    placed = place(found, "span", value, size).percentile
    assert placed is not None
    return placed


# Weights


def test_every_unit_weighs_the_same() -> None:
    """One composer of four works, one of one: a half each."""
    found = unit_weights(np.array([7, 7, 7, 7, 3]), np.ones(5))
    assert found.tolist() == pytest.approx([1 / 8] * 4 + [1 / 2])


def test_within_a_unit_the_nearer_work_weighs_more() -> None:
    found = unit_weights(np.array([0, 0, 1]), np.array([0.9, 0.3, 1.0]))
    assert found.tolist() == pytest.approx([3 / 8, 1 / 8, 1 / 2])


def test_a_unit_far_from_the_piece_weighs_less() -> None:
    """Half of what is enough counts half: a third against two thirds."""
    found = unit_weights(np.array([0, 1]), np.array([0.125, 1.0]))
    assert found.tolist() == pytest.approx([1 / 3, 2 / 3])
    # Many far works together are enough.
    found = unit_weights(np.array([0, 0, 0, 0, 1]), np.array([0.125] * 4 + [1.0]))
    assert found[:4].sum() == pytest.approx(1 / 2)


def test_no_weight_at_all() -> None:
    assert unit_weights(np.array([0, 1]), np.zeros(2)).tolist() == [0, 0]
    # A unit with none beside one with some.
    assert unit_weights(np.array([0, 1]), np.array([0.0, 0.5])).tolist() == [0, 1]


@given(st.lists(st.tuples(st.integers(0, 5), st.floats(0.001, 1)), min_size=1, max_size=30))
def test_weights_add_up_to_one(rows: list[tuple[int, float]]) -> None:
    unit, kernel = (np.array(column) for column in zip(*rows, strict=True))
    found = unit_weights(unit, kernel)
    assert found.sum() == pytest.approx(1)
    assert found.min() >= 0
    # No unit outweighs one whose works are enough.
    added = {u: found[unit == u].sum() for u in set(unit.tolist())}
    most = max(added.values())
    for u, weight in added.items():
        if kernel[unit == u].sum() >= 0.25:
            assert weight == pytest.approx(most)


def test_effective_number_of_works() -> None:
    """Kish: one over the sum of squared weights. 1/(4/64 + 1/4) = 3.2."""
    assert cohort([1, 2, 3, 4, 5], [0, 0, 0, 0, 1]).effective == pytest.approx(3.2)
    assert cohort([1, 2, 3, 4], [0, 1, 2, 3]).effective == pytest.approx(4)
    assert cohort([], []).effective == 0


# Quantiles


@pytest.mark.parametrize(
    ("share", "value"), [(0.0, 1), (0.05, 1), (0.25, 3), (0.5, 5.5), (0.75, 8), (1.0, 10)]
)
def test_quantiles_with_equal_weights_are_type_5(share: float, value: float) -> None:
    """Of 1 to 10 (Hyndman and Fan 1996): type 5 at .25 is 3."""
    values = np.arange(1.0, 11.0)
    assert weighted_quantile(values, np.ones(10), share) == pytest.approx(value)
    assert np.quantile(values, share, method="hazen") == pytest.approx(value)


@settings(max_examples=50)
@given(st.lists(st.integers(0, 12), min_size=1, max_size=20, unique=True), st.floats(0, 1))
def test_quantiles_of_distinct_values_are_numpys(values: list[int], share: float) -> None:
    given_values = np.array(values, float)
    ours = weighted_quantile(given_values, np.ones(len(values)), share)
    assert ours == pytest.approx(np.quantile(given_values, share, method="hazen"), abs=1e-9)


def test_a_weight_of_two_is_a_value_given_twice() -> None:
    twice = weighted_quantile(np.array([1.0, 5, 5, 9]), np.ones(4), 0.3)
    once = weighted_quantile(np.array([1.0, 5, 9]), np.array([1.0, 2, 1]), 0.3)
    assert once == pytest.approx(twice)


# Percentiles


def test_percentiles_are_mid_ranks() -> None:
    found = even()
    assert percentile(found, 0.5) == 0
    assert percentile(found, 20.5) == pytest.approx(50)
    assert percentile(found, 41) == 100
    assert percentile(found, 1) == pytest.approx(100 * 0.5 / 40)


def test_ties_count_half() -> None:
    """As 1 2 3 3 4 at 3, tenfold: below it 40 %, up to it 80 %, so 60."""
    values = [1.0, 2, 3, 3, 4] * 10
    found = cohort(values, [i // 5 for i in range(50)])
    placed = place(found, "span", 3.0, PIECE)
    assert placed.percentile == pytest.approx(60)
    assert placed.tied == pytest.approx(0.4)
    assert percentile(found, 2.999) == pytest.approx(40)
    assert percentile(found, 3.001) == pytest.approx(80)


def test_an_atom_is_told_by_its_share() -> None:
    found = cohort([0.0] * 28 + [5.0] * 12, [i % 10 for i in range(40)])
    placed = place(found, "span", 0.0, PIECE)
    assert placed.tied == pytest.approx(0.7)
    assert placed.percentile == pytest.approx(35)


def test_a_prolific_composer_does_not_decide() -> None:
    """Nine composers with one low work each, one with ninety-one high ones."""
    found = cohort([1.0] * 9 + [9.0] * 91, [*range(9), *[9] * 91])
    assert percentile(found, 5.0) == pytest.approx(90)


def test_the_median_and_the_quartiles_come_with_it() -> None:
    placed = place(even(), "span", 3.0, PIECE)
    assert placed.median == pytest.approx(20.5)
    assert placed.quartiles == pytest.approx((10.5, 30.5))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 6), min_size=32, max_size=60),
    st.integers(9, 20),
    st.integers(0, 1000),
)
def test_places_rise_with_the_value_and_lie_in_their_intervals(
    values: list[int], units: int, seed: int
) -> None:
    unit = np.random.default_rng(seed).permutation(np.arange(len(values)) % units)
    found = cohort([float(v) for v in values], unit.tolist())
    before = (-1.0, -1.0, -1.0)
    for value in (-1.0, *np.arange(0, 6.5, 0.5)):
        placed = place(found, "span", float(value), PIECE)
        assert placed.percentile is not None
        assert placed.interval is not None
        low, high = placed.interval
        assert 0 <= low <= placed.percentile <= high <= 100
        assert low < high
        now = (placed.percentile, low, high)
        assert placed.percentile >= before[0] - 1e-9
        before = now


@pytest.mark.parametrize("units", [8, 12, 20, 100])
def test_intervals_rise_with_the_value_but_for_a_point(units: int) -> None:
    """Every composer has a level of his own. The spread of each place is its own, so near
    the ends, where it is widest, an edge may step back by less than a point."""
    level = [float(i % units) for i in range(4 * units)]
    found = cohort(level, [i % units for i in range(4 * units)])
    placed = [place(found, "span", value, PIECE) for value in np.arange(-0.5, units, 0.5)]
    edges = np.array([p.interval for p in placed])
    assert edges.shape == (2 * units + 1, 2)
    assert np.diff(edges, axis=0).min() > -1
    assert (edges[0, 0], edges[-1, 1]) == (0, 100)


def test_more_units_make_narrower_intervals() -> None:
    widths = []
    for units in (8, 16, 40, 160):
        unit = [i // 4 for i in range(4 * units)]
        found = cohort([float(u % 7) for u in unit], unit)
        low, high = place(found, "span", 3.0, PIECE).interval or (0.0, 0.0)
        widths.append(high - low)
    assert widths == sorted(widths, reverse=True)
    assert widths[0] > 2 * widths[-1]


def test_the_interval_by_hand_where_all_agree() -> None:
    """Ten composers at the middle, and a quarter of one on each side of everything.

    Variance 2 x (.25 / 10.5)^2 x .25 x 10 / 9 = .000315; t for 9 degrees 2.262 (tables);
    2.262 x .01775 / .25 = .1606 on the logit scale: 54.0.
    """
    found = cohort([5.0] * 40, [i % 10 for i in range(40)])
    assert place(found, "span", 5.0, PIECE).interval == pytest.approx((45.99, 54.01), abs=0.05)


def test_many_works_of_one_unit_make_no_narrower_interval() -> None:
    """Ten composers who each write one kind: ten works or a thousand, as sure."""
    few = cohort([float(i % 10) for i in range(40)], [i % 10 for i in range(40)])
    many = cohort([float(i % 10) for i in range(1000)], [i % 10 for i in range(1000)])
    assert place(few, "span", 5.0, PIECE).interval == pytest.approx(
        place(many, "span", 5.0, PIECE).interval
    )


def test_works_without_the_measure_do_not_count() -> None:
    found = even(60)
    values = found.values["span"].copy()
    values[40:] = np.nan
    found = replace(found, values={"span": values})
    assert percentile(found, 20.5) == pytest.approx(50)
    values[20:] = np.nan
    assert place(found, "span", 20.5, PIECE).percentile is None


# Nearness in length


def test_works_of_other_lengths_count_less() -> None:
    """A work e^.25 times as long lies one bandwidth away: exp(-1/2)."""
    bars = [32.0] * 50 + [32.0 * np.exp(0.25)] * 50
    found = cohort([1.0] * 50 + [9.0] * 50, [i % 20 for i in range(100)], bars).near(PIECE)
    assert found is not None
    assert found[0] == pytest.approx(1)
    assert found[-1] == pytest.approx(np.exp(-0.5))
    twice = cohort([1.0] * 100, [i % 20 for i in range(100)], bars).near(Size(32.0, 30.0))
    assert twice is not None
    assert twice == pytest.approx(found)  # voices tell nothing within one ensemble


def test_where_ensembles_are_mixed_voices_count_too() -> None:
    voices = [3.0] * 50 + [3.0 * np.exp(0.25)] * 50
    found = cohort([1.0] * 100, [i % 20 for i in range(100)], voices=voices, rung=BROAD).near(
        PIECE
    )
    assert found is not None
    assert found[-1] == pytest.approx(np.exp(-0.5))


@pytest.mark.parametrize(
    ("works", "units", "enough"),
    [
        (MINIMUM_WORKS, MINIMUM_UNITS, True),
        (MINIMUM_WORKS - 1, MINIMUM_UNITS, False),
        (MINIMUM_WORKS, MINIMUM_UNITS - 1, False),
    ],
)
def test_the_least_cohort(works: int, units: int, enough: bool) -> None:
    found = cohort([1.0] * works, [i % units for i in range(works)])
    assert (found.near(PIECE) is not None) == enough
    placed = place(found, "span", 1.0, PIECE)
    assert (placed.percentile is not None) == enough
    assert (placed.reason == "") == enough


def test_a_family_needs_as_many_units_as_an_ensemble() -> None:
    for rung in (NARROW, BROAD):
        assert cohort([1.0] * 40, [i % 7 for i in range(40)], rung=rung).near(PIECE) is None
        assert cohort([1.0] * 40, [i % 8 for i in range(40)], rung=rung).near(PIECE) is not None


def test_nothing_is_placed_among_works_without_a_medium() -> None:
    found = cohort([1.0] * 40, [i % 10 for i in range(40)])
    unnamed = replace(found, rung=replace(found.rung, medium=False))
    assert found.near(PIECE) is not None
    assert unnamed.near(PIECE) is None
    assert place(unnamed, "span", 1.0, PIECE).percentile is None


def test_nothing_is_extrapolated() -> None:
    """Three works of two composers must be as long as the piece, and three as short."""
    bars = [30.0] * 37 + [40.0] * 3
    unit = [i % 10 for i in range(40)]
    found = cohort([1.0] * 40, unit, bars)
    assert found.near(Size(40.0, 3.0)) is not None
    assert found.near(Size(41.0, 3.0)) is None
    assert found.near(Size(30.0, 3.0)) is not None
    assert found.near(Size(29.0, 3.0)) is None
    assert cohort([1.0] * 40, unit, [30.0] * 38 + [40.0] * 2).near(Size(40.0, 3.0)) is None
    alone = cohort([1.0] * 40, [*unit[:37], 9, 9, 9], bars)
    assert alone.near(Size(40.0, 3.0)) is None
    two = cohort([1.0] * 40, [*unit[:37], 8, 9, 9], bars)
    assert two.near(Size(40.0, 3.0)) is not None


def test_the_kernel_widens_until_there_is_enough_and_no_further() -> None:
    unit = [i % 20 for i in range(200)]
    spread = np.exp(np.linspace(np.log(8), np.log(128), 200)).tolist()
    near = cohort([1.0] * 200, unit, spread).near(PIECE)
    assert near is not None
    assert near.sum() >= MINIMUM_WORKS
    # With a quarter of the works it must look further away.
    thin = cohort([1.0] * 50, unit[:50], spread[::4]).near(PIECE)
    assert thin is not None
    assert thin.sum() >= MINIMUM_WORKS
    assert thin[0] > 10 * near[0]
    # All works ten times as long or as short: never enough.
    far = cohort([1.0] * 200, unit, [3.2, 320.0] * 100).near(PIECE)
    assert far is None


@pytest.mark.parametrize(("units", "width"), [(12, 0.25), (11, 1.0)])
def test_the_kernel_widens_below_twelve_units(units: int, width: float) -> None:
    bars = [32.0] * 60 + [32.0 * np.exp(0.25)] * 60
    near = cohort([1.0] * 120, [i % units for i in range(120)], bars).near(PIECE)
    assert near is not None
    assert near[-1] == pytest.approx(np.exp(-((0.25 / width) ** 2) / 2))


@pytest.mark.parametrize(("away", "placed"), [(1.64, True), (1.727, False)])
def test_a_unit_too_far_away_at_the_widest_does_not_make_up_the_number(
    away: float, placed: bool
) -> None:
    """Seven composers at hand and an eighth with one work: exp(-away^2 / 2) of a work counts,
    a quarter is enough. At 1.727 it is .225: nine tenths of an eighth composer, 7.99 in all.
    """
    bars = [32.0] * 40 + [32.0 * float(np.exp(away))]
    unit = [*(i % 7 for i in range(40)), 7]
    found = cohort([1.0] * 41, unit, bars)
    assert (found.near(PIECE) is not None) == placed


def test_a_place_is_told_apart_by_collection_and_never_put_into_the_interval() -> None:
    """Two collections of eight composers each, one wide and one narrow; a third has five."""
    values = [*range(40), *range(40, 80), *([0.0] * 10)]
    unit = [
        *(i % 8 for i in range(40)),
        *(8 + i % 8 for i in range(40)),
        *(16 + i % 5 for i in range(10)),
    ]
    plain = cohort(list(map(float, values)), unit)
    names = np.array(["narrow"] * 40 + ["wide"] * 40 + ["few"] * 10, object)
    told = replace(plain, collection=names)
    place_ = place(told, "span", 20.0, PIECE)
    assert place_.collections == {"narrow": pytest.approx(100 * 20.5 / 40), "wide": 0.0}
    assert place_.range == (0.0, pytest.approx(51.25))
    assert place_.interval == place(plain, "span", 20.0, PIECE).interval
    assert place(plain, "span", 20.0, PIECE).range is None


# Oddness


def test_an_uneven_piece_has_a_wider_interval_and_the_same_place() -> None:
    found = even()
    sure = place(found, "span", 20.0, PIECE)
    uneven = place(found, "span", 20.0, PIECE, error=6.0)
    assert sure.percentile == uneven.percentile
    assert sure.interval and uneven.interval
    # A standard error of 6 is 15 points here, and nearly two of them lie on either side.
    assert 27 < uneven.interval[1] - sure.percentile < 33
    assert sure.interval[1] - sure.percentile < 8


def in_collections(shift: float) -> Cohort:
    """Four collections of eight composers; the values of each lie `shift` above the last."""
    rows = [(c, u, 1.0 + k) for c in range(4) for u in range(8) for k in range(20)]
    found = cohort([value + shift * c for c, _, value in rows], [8 * c + u for c, u, _ in rows])
    names = np.array(["abcd"[c] for c, _, _ in rows], object)
    return replace(found, collection=names)


def test_another_collection_is_predicted_from_how_far_collections_differ() -> None:
    """Each collection weighs the same, t with 2 degrees; alike ones still err."""
    alike = place(in_collections(0.0), "span", 10.5, PIECE).elsewhere
    apart = place(in_collections(4.0), "span", 16.5, PIECE)
    assert alike is not None and apart.elsewhere is not None and apart.range is not None
    assert alike == pytest.approx((50, 50), abs=8)  # as unsure as a collection is in itself
    assert apart.elsewhere[0] < apart.range[0] < 50 < apart.range[1] < apart.elsewhere[1]
    logits = np.log([p / (100 - p) for p in apart.collections.values()])
    reach = 2.920 * np.sqrt(logits.var(ddof=1) * (1 + 1 / 4))
    low = 100 / (1 + np.exp(-(logits.mean() - reach)))
    assert apart.elsewhere[0] == pytest.approx(low, abs=4)


def test_three_collections_predict_none() -> None:
    found = in_collections(4.0)
    few = replace(found, collection=np.where(found.collection == "d", "c", found.collection))
    assert place(few, "span", 16.5, PIECE).elsewhere is None


def at(value: float | None) -> Placement:
    return Placement(value, None, None, None, 0.0)


def test_oddness_is_the_furthest_from_the_middle() -> None:
    assert unusualness([at(50), at(30), at(60)]) == 20
    assert unusualness([at(None), at(97)]) == 47
    assert unusualness([at(None)]) == 0
    assert unusualness([]) == 0


def test_works_are_compared_with_other_units_only() -> None:
    """Composer 0 alone has high works: among the others each of them is beyond all."""
    values = [100.0] * 4 + [float(i % 9) for i in range(36)]
    found = unusualness_of_works(cohort(values, [0] * 4 + [1 + i % 12 for i in range(36)]), 100)
    assert len(found) == 40
    assert (found == 50).sum() == 4
    assert found.tolist() == sorted(found.tolist())


def test_a_sample_of_works_is_taken_at_even_steps() -> None:
    assert len(unusualness_of_works(even(100, 12), 7)) == 7
    assert unusualness_of_works(even(100, 12), 7).tolist() == (
        unusualness_of_works(even(100, 12), 7).tolist()
    )
    # Where no work can be placed there is no oddness.
    assert len(unusualness_of_works(even(20, 4), 7)) == 0
    assert len(unusualness_of_works(cohort([], []), 7)) == 0


# Rungs, Student's t


def test_the_ladder_ends_at_the_family() -> None:
    rungs = ladder("string quartet", "string quartets", "works for bowed strings")
    assert [rung.name for rung in rungs] == [
        "ensemble=string quartet", "family=works for bowed strings",
    ]  # fmt: skip
    assert [rung.broad for rung in rungs] == [False, True]
    assert [rung.mixed for rung in rungs] == [False, True]
    assert [rung.title for rung in ladder("song", "songs", "")] == ["songs"]


def test_no_family_holds_voices_together_with_instruments() -> None:
    """Among works for other forces a place tells the forces apart."""
    families: dict[str, set[str]] = {}
    for kind in kinds().values():
        families.setdefault(kind.family, set()).add(kind.kind)
    del families[""]
    assert families == {
        "works for keyboard": {"piano", "organ", "keyboard"},
        "works for plucked instruments": {"guitar", "harp", "plucked ensemble"},
        "works for bowed strings": {"string quartet", "string ensemble"},
        "works for winds and brass": {"wind ensemble", "brass ensemble"},
    }
    assert {kind.kind for kind in kinds().values() if not kind.placed} == {
        "unnamed parts", "mixed and unnamed parts",
    }  # fmt: skip


@pytest.mark.parametrize("degrees", [3, 4, 5, 7, 10, 20, 50, 1000])
def test_students_t(degrees: int) -> None:
    from scipy.stats import t

    assert student_t(degrees) == pytest.approx(t.ppf(0.975, degrees), rel=0.002)


@pytest.mark.parametrize(
    ("where", "collections", "said"),
    [
        ({"ensemble": "song", "period": "romantic"}, 1, True),
        ({"ensemble": "song", "period": "romantic"}, 2, False),
        ({"ensemble": "song"}, 1, False),
        ({"period": "romantic", "collection": "songs"}, 1, False),
    ],
)
def test_a_period_of_one_collection_is_called_that(
    where: dict[str, str], collections: int, said: bool
) -> None:
    group = replace(
        cohort([1.0, 2.0], [0, 1], rung=Rung(where, "songs")), collections=collections
    )
    words = placing._one_collection(group)
    assert bool(words) == said
    assert all("that collection rather than the period" in line for line in words)
