"""What is told and what is not, on both sides of every border; on values made by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from by_hand import bars_of
from test_words import REPEATED, placed

from corpusreg.comparison.comparison import PlacedEvent, PlacedMeasure, PlacedStay
from corpusreg.measures.definitions import BY_NAME
from corpusreg.measures.events import Event
from corpusreg.measures.shifts import Shift
from corpusreg.measures.stays import Stay
from corpusreg.norms.reference import Cohort, Placement, Rung
from corpusreg.text import sentences
from corpusreg.text.events import event_words, told_events

NOT_PLACED = Placement(None, None, None, None, 0.0, "too short")


def measured(name: str, placement: Placement) -> PlacedMeasure:
    return PlacedMeasure(BY_NAME[name], 7.0, placement, ((4, 5),))


def comparison(*measures: PlacedMeasure, odder: float | None = 0.1, **others: Any) -> Any:
    return SimpleNamespace(measures=measures, odder=odder, **others)


# What stands out


@pytest.mark.parametrize(
    ("placement", "out"),
    [
        (placed(90, 76, 96), True),
        (placed(89, 76, 96), False),
        (placed(10, 4, 24), True),
        (placed(11, 4, 24), False),
        # The whole interval lies in the outer quarter.
        (placed(92, 75, 97), False),
        (placed(8, 3, 25), False),
        # What a fifth of the works share is nothing unusual.
        (placed(92, 80, 97, tied=0.2), False),
        (placed(92, 80, 97, tied=0.19), True),
        (NOT_PLACED, False),
    ],
)
def test_what_stands_out(placement: Placement, out: bool) -> None:
    assert len(sentences.standing_out(comparison(measured("span", placement)))) == out


@pytest.mark.parametrize(("odder", "out"), [(0.5, 1), (0.51, 0), (None, 0)])
def test_nothing_stands_out_where_most_works_are_as_odd(odder: float | None, out: int) -> None:
    found = comparison(measured("span", placed(97, 92, 100)), odder=odder)
    assert len(sentences.standing_out(found)) == out
    none = sentences.nothing_words(found, besides=True)
    assert none.startswith("Of the measures below none stands out") == (odder is not None)


def test_the_furthest_out_leads_its_family_and_high_and_low_are_told_apart() -> None:
    found = comparison(
        measured("span", placed(92, 85, 96)),
        measured("core_span", placed(96, 92, 99)),
        measured("octaves_in_use", placed(3, 1, 8)),
        measured("shift_rate", placed(6, 2, 12)),
    )
    told = [(a.measure.name, [b.measure.name for b in more])
            for a, more in sentences.leading(found)]  # fmt: skip
    assert told == [("octaves_in_use", []), ("core_span", ["span"]), ("shift_rate", [])]


@pytest.mark.parametrize(
    ("name", "placement", "far"),
    [
        ("span", placed(95, 90, 99), True),
        ("core_span", placed(95, 90, 99), True),
        ("span", placed(5, 1, 10), False),
        ("shift_rate", placed(95, 90, 99), False),
    ],
)
def test_only_a_wide_reach_is_far_apart(name: str, placement: Placement, far: bool) -> None:
    assert sentences.far_apart(comparison(measured(name, placement))) == far


@pytest.mark.parametrize(
    ("here", "there", "said"),
    [
        (20, 35, "span below 6 in 10 (here below 8 in 10)"),
        (24, 38, None),  # less than 15 ranks away
        (30, 70, None),  # both in the middle half
        (60, 80, "span above 8 in 10 (here above 6 in 10)"),
        (76, 99, None),  # both in the upper quarter
    ],
)
def test_a_neighbouring_cohort_disagrees(here: float, there: float, said: str | None) -> None:
    found = comparison(
        measured("span", placed(here, here - 5, here + 5)),
        others={"choirs": {"span": placed(there, there - 5, min(there + 5, 100))}},
    )
    sentence = f"Among choirs it would lie elsewhere: {said}."
    assert sentences.disagreements(found) == ([sentence] if said else [])


def test_a_cohort_that_places_nothing_does_not_disagree() -> None:
    found = comparison(measured("span", placed(5, 1, 10)), others={"all": {"span": NOT_PLACED}})
    assert sentences.disagreements(found) == []


# Values, intervals, sizes


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("span", 24.0, "24 semitones"),
        ("span", 1.0, "1 semitone"),
        ("movement_bar", 2.34, "2.3 semitones"),
        ("shift_rate", 123.4, "123 per 100 bars"),
        ("narrow_dwell", 0.256, "26 % of bars"),
        ("longest_dwell", None, "-"),
    ],
)
def test_values_with_their_units(name: str, value: float | None, said: str) -> None:
    assert sentences.value_words(BY_NAME[name], value) == said


def test_intervals_over_octaves() -> None:
    said = [sentences.interval_words(each) for each in (0, 1, 11.4, 11.6, 24, 61, 72)]
    assert said == [
        "less than a semitone", "a semitone", "a major seventh", "an octave", "two octaves",
        "five octaves and a semitone", "6 octaves",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("labels", "written", "said"),
    [
        (("1", "2", "3"), 3, "3 bars"),
        (("0", "1", "2"), 3, "2 bars and an upbeat"),
        (("1", "2", "1 (2nd time)", "2 (2nd time)"), 2, "2 bars, 4 as played"),
        (("1",), 1, "1 bar"),
    ],
)
def test_how_long_a_piece_is(labels: tuple[str, ...], written: int, said: str) -> None:
    bars = replace(bars_of([16] * len(labels)), labels=labels)
    assert sentences.length_words(comparison(bars=bars, written_bars=written)) == said


def test_what_a_cohort_is_made_of() -> None:
    def of(composers: int, sources: int) -> str:
        n = np.zeros(30)
        rung = Rung({"ensemble": "choir"}, "choirs")
        return sentences.cohort_words(
            Cohort(rung, n.astype(np.int64), {}, n, n, composers, sources, 1)
        )

    assert of(12, 0) == "30 works (choirs) by 12 composers, from 1 collection"
    assert of(1, 2) == (
        "30 works (choirs) by 1 composer and 2 sources of anonymous music, from 1 collection"
    )
    assert of(0, 1) == "30 works (choirs) by 1 source of anonymous music, from 1 collection"


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        (("Flute", "Piano"), "flute and piano"),
        (("Flute", "Flute"), "duo"),
        (("Flute", ""), "duo"),
        (("Flute", "Oboe", "Piano"), "duo"),
    ],
)
def test_two_named_parts_are_said(parts: tuple[str, ...], said: str) -> None:
    piece = SimpleNamespace(parts=parts, ensemble="duo")
    assert sentences.forces(comparison(piece=piece)) == said


# Stays and shifts


def stay(first: int, last: int, rank: int, part: str | None = None) -> PlacedStay:
    return PlacedStay(part, Stay(first, last, 60, 72, 1.0), rank, rank == 1, (4,), True)


def test_stays_of_the_whole_are_told_once_and_by_rank() -> None:
    stays = (stay(3, 6, 1), stay(0, 3, 2), stay(6, 7, 3), stay(0, 2, 1, "Flute"))
    told = sentences.told_stays(comparison(stays=stays, bars=REPEATED), 2)
    assert [each.stay.first for each in told] == [3, 6]
    assert [sentences.stay_words(each, REPEATED) for each in told] == [
        "bars 1 to 3 (2nd time) (3 bars): C4 to C5, narrow",
        "bar 4: C4 to C5, wide",
    ]


def moved(bar: int = 1, **changes: Any) -> Shift:
    plain: dict[str, Any]
    plain = {"size": 9.0, "direction": "up", "by": "mass", "mass": 9.0, "top": 9, "bottom": 9}
    return Shift(bar=bar, abrupt=1.0, low=48, high=72, **(plain | changes))


def test_the_clearest_shifts_are_the_largest_in_order_of_time() -> None:
    shifts = [moved(6, mass=5.0), moved(5, mass=8.0), moved(4, mass=9.0), moved(1, mass=9.0)]
    told = sentences.clearest_shifts(comparison(shifts=shifts, bars=REPEATED), 2)
    # Bar 2 is heard twice and told the first time.
    assert [shift.bar for shift in told] == [1, 5]


@pytest.mark.parametrize(
    ("shift", "said"),
    [
        (moved(by="part", direction="down"), "one part moves down by about a major sixth"),
        (moved(by="top", top=-14, size=14.0),
         "the highest notes move down by about an octave and a whole tone"),
        (moved(by="bottom", bottom=12, size=12.0),
         "the lowest notes move up by about an octave"),
        (moved(top=2, bottom=-2),
         "the outer notes stay; the weight between them moves up by about a major sixth"),
        (moved(top=4, bottom=3),
         "the weight moves up, more than the outer notes do, by about a major sixth"),
        (moved(top=5, bottom=3), "the whole moves up by about a major sixth"),
        (moved(top=3, bottom=-4, direction="opening"),
         "the weight moves outward, more than the outer notes do, by about a major sixth"),
        (moved(top=-7, bottom=7, direction="closing"),
         "the sound draws together by about a major sixth"),
    ],
)  # fmt: skip
def test_which_way_a_shift_goes(shift: Shift, said: str) -> None:
    assert sentences.shift_words(shift, REPEATED) == f"bar 2: {said}"


def test_few_moves_are_heard_in_the_longest_stay() -> None:
    whole = SimpleNamespace(stays=[Stay(0, 2, 60, 72, 1.0), Stay(2, 7, 48, 60, 1.0)])
    found = comparison(whole=whole)
    few, many = placed(5, 1, 10), placed(95, 90, 99)
    assert sentences.where(measured("shift_rate", few), found) == ((2, 7),)
    assert sentences.where(measured("shift_rate", many), found) == ((4, 5),)
    assert sentences.where(measured("span", few), found) == ((4, 5),)


# Events


def event(bar: int = 1, **changes: Any) -> Event:
    plain: dict[str, Any]
    plain = {"kind": "withheld_bass", "first": bar, "last": bar + 1, "beat": 1.0, "low": 36,
             "high": 48, "pitches": (36, 48), "strength": 0.5, "silence": 4.0, "since": 0,
             "edge": 57, "distance": 21.0, "lasts": 8.0}  # fmt: skip
    return Event(part=None, bar=bar, **(plain | changes))


def test_the_first_events_are_told_once_and_in_order_of_time() -> None:
    events = [event(4), event(1), event(6), event(2), event(3, kind="shift")]
    found = comparison(
        events=[PlacedEvent("Flute", event(0)), *(PlacedEvent(None, e) for e in events)],
        bars=REPEATED,
    )
    # Bar 2 is heard twice: the time that is ranked first counts.
    assert [each.bar for each in told_events(found, 2)] == [4, 6]


BARS = bars_of([16] * 8)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "The bass is withheld: nothing below A3 for four bars, then C2 in bar 2"),
        ({"since": None, "again": 0}, "The bass is withheld: nothing below A3 for four bars,"
         " then C2 in bar 2, under the music of bar 1 again"),
        ({"kind": "withheld_top", "edge": 30, "grazes": 1}, "The top is withheld: almost"
         " nothing above F♯1 for four bars, then C3 in bar 2"),
        ({"kind": "cleared"}, "The middle clears after bar 1 for four bars; bar 2 fills it"
         " again with C2 and C3"),
        ({"kind": "entry"}, "The space at C2–C3 fills in bar 2 after four bars"),
        ({"kind": "entry", "since": None, "pitches": (36,), "high": 36},
         "The space at C2 fills in bar 2 for the first time"),
        ({"kind": "climb", "last": 4, "place": "top"},
         "The top line climbs an octave and a major sixth in bars 2–4, from C2 to C3"),
        ({"kind": "descent", "last": 4, "by": "bottom", "distance": 12.0},
         "The lowest line descends an octave in bars 2–4, from C3 to C2"),
        ({"kind": "wedge", "last": 4, "direction": "closing"},
         "The outer lines close in by an octave and a major sixth in bars 2–4"),
        ({"kind": "pedal_point", "place": "bass", "ending": "resolves", "high": 36},
         "C2 is held or repeated in the bass for eight bars, a pedal point; it"
         " resolves in bar 2"),
        ({"kind": "shift", "direction": "up", "by": "bottom"},
         "Bar 2 lifts the bass by an octave and a major sixth"),
        ({"kind": "high_point", "high": 36, "approach": "leap"},
         "High point C2 in bar 2, by a leap of an octave and a major sixth"),
        ({"kind": "gap", "last": 6}, "Bars 2–6 leave a gap: nothing sounds between C2 and C3"),
    ],
)  # fmt: skip
def test_every_kind_of_event_as_a_sentence(changes: dict[str, Any], said: str) -> None:
    assert event_words(event(**changes), BARS) == said
