"""Height in the instrument and in the ensemble: worked examples and laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from corpusreg.instruments import height as height_of
from corpusreg.instruments import load
from corpusreg.measures import height
from corpusreg.measures.stays import Stay
from corpusreg.score.pitch import parse_note

TABLE = load()
ROWS = sorted(TABLE)
INSTRUMENTS = st.sampled_from(ROWS).map(TABLE.__getitem__)
AMOUNTS = st.dictionaries(
    st.integers(12, 115), st.floats(0.01, 100), min_size=1, max_size=20
).map(lambda cells: amount(cells))


def amount(cells: dict[int, float]) -> NDArray[np.float64]:
    found = np.zeros(128)
    for pitch, much in cells.items():
        found[pitch] = much
    return found


def test_a4_is_another_height_on_every_instrument() -> None:
    """The same note, by the ranges of published tables (see the rows' sources)."""
    a4 = amount({69: 1.0})

    def on(name: str) -> float:
        return height.measure(a4, TABLE[name].professional).mean

    assert on("bassoon") > 0.8
    assert on("clarinet") < 0.55
    assert on("flute") < 0.3
    assert on("piccolo") < 0, "below its lowest note: flagged, not clipped"


def test_what_can_be_heard_goes_from_a0_to_c8() -> None:
    found = height.heights(height.AUDIBLE)
    assert (found[parse_note("A0")], found[parse_note("C8")]) == (0, 1)


def test_an_octave_from_c4_in_a_range_of_two_by_hand() -> None:
    # Range C3 to C5: C4 is .5 and C5 is 1; three times as much C4 as C5.
    found = height.measure(amount({60: 3.0, 72: 1.0}), (48, 72))
    assert (found.mean, found.low, found.high) == (0.625, 0.5, 1.0)


def test_edge_is_tenths_and_beyond_comfort_by_hand() -> None:
    # Range 40-60: tenths are 40-42 and 58-60; comfortable 44-57 leaves 43 outside too.
    flags = height.at_edge((40, 60), (44, 57))
    assert np.flatnonzero(~flags).tolist() == list(range(44, 58))
    wide = height.at_edge((40, 60), (40, 60))
    assert np.flatnonzero(~wide).tolist() == list(range(43, 58))


def test_thirds_and_grid_by_hand() -> None:
    # Compass 30-90: middle 50-70. Range 30-60: middle 40-50.
    assert height.thirds((30, 90))[[30, 49, 50, 70, 71, 90, 95]].tolist() == [
        0, 0, 1, 1, 2, 2, 2,
    ]  # fmt: skip
    found = height.grid(amount({35: 1, 45: 1, 60: 2}), (30, 90), (30, 60))
    assert found.tolist() == [[0.25, 0.25, 0], [0, 0, 0.5], [0, 0, 0]]
    middle = height.middle_but_edge((30, 90), (30, 60), (33, 57))
    assert np.flatnonzero(middle).tolist() == list(range(57, 71))
    edge = height.edge_but_middle((30, 90), (30, 60))
    assert np.flatnonzero(edge).tolist() == list(range(40, 50))


def test_still_is_four_fifths_of_a_passage_in_one_stay() -> None:
    stays = [Stay(0, 8, 40, 50, 1.0), Stay(8, 20, 50, 60, 1.0)]
    assert height.is_still(stays, 0, 10)
    assert not height.is_still(stays, 0, 11)
    assert not height.is_still([], 0, 4)


@given(AMOUNTS, INSTRUMENTS)
def test_shares_add_up_and_lie_between_none_and_all(cells, row) -> None:  # type: ignore[no-untyped-def]
    span = row.professional
    assert height.grid(cells, height.AUDIBLE, span).sum() == pytest.approx(1)
    assert height.third_shares(cells, span).sum() == pytest.approx(1)
    edge = height.at_edge(span, row.comfortable)
    assert 0 <= height.share(cells, edge) <= 1
    # Edge and ease are the whole: nothing beyond the comfortable span is at ease.
    assert height.share(cells, edge) + height.share(cells, ~edge) == pytest.approx(1)
    beyond = ~height.inside([row.comfortable])
    assert height.share(cells, edge) >= height.share(cells, beyond) - 1e-12


@given(AMOUNTS, INSTRUMENTS, st.integers(-12, 12))
def test_transposing_moves_height_by_its_share_of_the_range(cells, row, by) -> None:  # type: ignore[no-untyped-def]
    low, high = row.professional
    before = height.measure(cells, (low, high))
    after = height.measure(np.roll(cells, by), (low, high))
    for name in ("mean", "low", "high"):
        moved = getattr(after, name) - getattr(before, name)
        assert moved == pytest.approx(by / (high - low))


@given(AMOUNTS, st.floats(0.1, 50))
def test_longer_or_louder_throughout_changes_no_share(cells, factor) -> None:  # type: ignore[no-untyped-def]
    span = (40, 80)
    before, after = height.measure(cells, span), height.measure(factor * cells, span)
    assert after.mean == pytest.approx(before.mean)
    assert (after.low, after.high) == (before.low, before.high)


@given(AMOUNTS, INSTRUMENTS, INSTRUMENTS)
def test_equally_high_gives_the_same_mean(cells, home, other) -> None:  # type: ignore[no-untyped-def]
    by = height.equally_high(cells, home.professional, other.professional)
    mean = float(cells @ np.arange(128) / cells.sum())
    there = height_of(mean + by, other)
    assert there == pytest.approx(height.measure(cells, home.professional).mean)
    assert height.equally_high(cells, home.professional, home.professional) == pytest.approx(0)


@given(AMOUNTS, INSTRUMENTS)
def test_the_scale_of_heights_keeps_all_weight(cells, row) -> None:  # type: ignore[no-untyped-def]
    scaled = height.on_height(cells[None], row.professional, 36)
    assert scaled.sum() == pytest.approx(cells.sum())


def test_the_scale_of_heights_puts_equal_heights_on_one_step() -> None:
    low = height.on_height(amount({34: 1})[None], TABLE["bassoon"].professional, 36)
    flute = height.on_height(amount({60: 1})[None], TABLE["flute"].professional, 36)
    assert low.argmax() == flute.argmax() == 46
