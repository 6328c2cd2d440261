"""A piece against cohorts made by hand: which is chosen, what is placed, what is shown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from event_pieces import BAR, Row, score

from corpusreg.comparison.comparison import Comparison, Piece, compare
from corpusreg.measures.analysis import Analysis, analyse
from corpusreg.measures.definitions import MEASURES
from corpusreg.measures.events import Event
from corpusreg.measures.shifts import Shift
from corpusreg.measures.stays import Stay
from corpusreg.norms.reference import Cohort, Rung
from corpusreg.score.played import perform

PIECE = Piece("Piece", "piece.mxl", ("Upper", "Lower"), "chamber")
NARROW = Rung({"ensemble": "chamber"}, "duos")
BROAD = Rung({"family": "works for keyboard"}, "works for keyboard", broad=True)


def cohort(rung: Rung, works: int, odd: tuple[float, ...] = ()) -> Cohort:
    """Works of 16 bars and two voices by ten composers, with values 0, 1, 2, … throughout."""
    values = {m.name: np.arange(works, dtype=float) for m in MEASURES}
    unit = np.arange(works) % 10
    full = np.ones(works)
    return Cohort(rung, unit, values, 16 * full, 2 * full, 10, 0, 1, np.array(odd))


def piece(bars: int = 16) -> Analysis:
    rows: list[Row] = [(0, bar * BAR, BAR, 60 + 12 * (bar % 2)) for bar in range(bars)]
    return analyse(perform(score([*rows, *((1, at, lasts, 48) for _, at, lasts, _ in rows)])))


WHOLE = piece()


def compared(whole: Analysis, *cohorts: Cohort, parts: int = 0) -> Comparison:
    own = {f"Part {number}": whole for number in range(parts)}
    return compare(PIECE, whole, own, cohorts, len(whole.played.bars))


def test_the_narrowest_cohort_that_is_large_enough_is_chosen() -> None:
    small, enough, broad = cohort(NARROW, 20), cohort(NARROW, 40), cohort(BROAD, 60)
    found = compared(WHOLE, small, broad)
    assert (found.cohort, list(found.others)) == (broad, [])
    found = compared(WHOLE, enough, broad)
    assert (found.cohort, list(found.others)) == (enough, ["works for keyboard"])
    # Span is 24: mid-rank 24.5 of 40, and of 60 among works for keyboard.
    assert found.measures[0].placement.percentile == pytest.approx(100 * 24.5 / 40, abs=0.1)
    assert found.others["works for keyboard"]["span"].percentile == pytest.approx(
        2450 / 60, abs=0.1
    )
    nowhere = compared(WHOLE, small, cohort(BROAD, 20))
    assert nowhere.cohort is small
    assert nowhere.odder is None
    assert {m.placement.percentile for m in nowhere.measures} == {None}


def test_a_value_that_may_not_be_placed_keeps_its_reason() -> None:
    found = {each.measure.name: each for each in compared(WHOLE, cohort(NARROW, 40)).measures}
    hollow = found["hollow_share"]
    assert (hollow.value, hollow.placement.percentile) == (None, None)
    assert hollow.placement.reason == "needs three voices or more"
    short = cohort(NARROW, 40)
    short = replace(short, bars=short.bars / 2)
    found = {each.measure.name: each for each in compared(piece(8), short).measures}
    assert found["span"].placement.percentile is not None
    assert found["shift_rate"].value is not None
    assert found["shift_rate"].placement.percentile is None
    assert found["shift_rate"].placement.reason.startswith("too short to place")


def test_odder_is_the_share_of_works_as_far_out_or_farther() -> None:
    plain = compared(WHOLE, cohort(NARROW, 40, (0.0,)))
    far = max(abs(m.placement.percentile - 50)
              for m in plain.measures if m.placement.percentile is not None)  # fmt: skip
    odd = (far - 1, far, far + 1, far + 2)
    assert compared(WHOLE, cohort(NARROW, 40, odd)).odder == 0.75
    # Of the next broader cohort where this one is too small to place its own works.
    assert compared(WHOLE, cohort(NARROW, 40), cohort(BROAD, 60, odd)).odder == 0.75
    assert compared(WHOLE, cohort(NARROW, 40)).odder is None


def test_stays_and_events_of_parts_are_told_from_two_parts_on() -> None:
    gap = Event("gap", None, 0, 4, 0, 1.0, (50, 62), 50, 62, 0.4)
    entry = Event("entry", None, 2, 3, 2, 1.0, (36, 47), 36, 47, 0.3)
    whole = replace(WHOLE, events=(gap, entry))
    one, two = (compared(whole, cohort(NARROW, 40), parts=n) for n in (1, 2))
    assert {stay.part for stay in one.stays} == {None}
    assert {stay.part for stay in two.stays} == {None, "Part 0", "Part 1"}
    assert [(e.part, e.event.kind) for e in one.events] == [(None, "gap"), (None, "entry")]
    # Gaps belong to the whole.
    assert [(e.part, e.event.kind) for e in two.events[2:]] == [
        ("Part 0", "entry"), ("Part 1", "entry"),
    ]  # fmt: skip
    own = [stay for stay in one.stays if stay.part is None]
    assert [stay.rank for stay in own] == list(range(1, len(own) + 1))
    assert [WHOLE.stays.index(stay.stay) for stay in own] == list(WHOLE.ranking)


def test_the_bars_that_show_each_measure() -> None:
    def shift(bar: int, mass: float) -> Shift:
        return Shift(bar, mass, "up", "mass", mass, 9, 9, 1.0, 48, 72)

    def event(kind: str, bar: int, strength: float) -> Event:
        return Event(kind, None, bar, bar + 1, bar, 1.0, (36,), 36, 47, strength)  # type: ignore[arg-type]

    stays = [(0, 2, 30), (2, 5, 24), (5, 9, 25), (9, 12, 12), (12, 13, 0), (13, 16, 3)]
    hollow = np.isin(np.arange(16), (0, 2, 3, 5, 6, 7, 9, 10, 15)).astype(float)
    whole = replace(
        WHOLE,
        stays=tuple(Stay(a, b, 40, 40 + width, 1.0) for a, b, width in stays),
        ranking=tuple(range(6)),
        shifts=(shift(2, 9.0), shift(5, 7.0), shift(9, 8.0), shift(12, 7.0), shift(13, 6.0)),
        events=(event("withheld_bass", 8, 0.4), event("cleared", 5, 0.3),
                event("pedal_point", 3, 0.9), event("entry", 1, 0.2), event("entry", 9, 0.1)),
        hollow=hollow,
    )  # fmt: skip
    found = compared(whole, cohort(NARROW, 40))
    shown = {each.measure.name: each.passages for each in found.measures}
    # The lowest and the highest note where they first sound.
    assert shown["span"] == ((0, 1), (1, 2))
    assert shown["longest_dwell"] == shown["expected_dwell"] == ((5, 9),)
    assert shown["narrow_dwell"] == ((2, 5), (9, 12), (13, 16))
    for name in ("shift_rate", "movement_bar", "movement_phrase"):
        assert shown[name] == ((2, 3), (5, 6), (9, 10))
    assert shown["entries"] == ((1, 2), (5, 6), (8, 9))
    assert shown["pedal_points"] == ((3, 4),)
    # The longest three, of equals the first.
    assert shown["hollow_share"] == ((2, 4), (5, 8), (9, 11))
    assert shown["core_span"] == ()
