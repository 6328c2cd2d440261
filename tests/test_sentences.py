"""What is told and what is not, on both sides of every border; on values made by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from by_hand import bars_of
from test_words import REPEATED

from corpusreg.comparison.comparison import PlacedMeasure, PlacedStay
from corpusreg.measures.definitions import BY_NAME
from corpusreg.measures.events import Event
from corpusreg.measures.shifts import Shift
from corpusreg.measures.stays import Stay
from corpusreg.norms.reference import Cohort, Placement, Rung
from corpusreg.score.pitch import USUAL
from corpusreg.text import sentences
from corpusreg.text.findings import event_words

NOT_PLACED = Placement(None, None, None, None, 0.0, "too short")


def measured(name: str, placement: Placement) -> PlacedMeasure:
    return PlacedMeasure(BY_NAME[name], 7.0, placement, ((4, 5),))


def comparison(*measures: PlacedMeasure, odder: float | None = 0.1, **others: Any) -> Any:
    return SimpleNamespace(measures=measures, odder=odder, **others)


# What stands out


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
        (("1", "2", "1", "2"), 2, "2 bars, 4 as played"),
        (("1",), 1, "1 bar"),
    ],
)
def test_how_long_a_piece_is(labels: tuple[str, ...], written: int, said: str) -> None:
    bars = replace(bars_of([16] * len(labels)), printed=labels)
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


# Stays and shifts


def stay(first: int, last: int, rank: int, part: str | None = None) -> PlacedStay:
    return PlacedStay(part, Stay(first, last, 60, 72, 1.0), rank, rank == 1, (4,), True)


def moved(bar: int = 1, **changes: Any) -> Shift:
    plain: dict[str, Any]
    plain = {"size": 9.0, "direction": "up", "by": "mass", "mass": 9.0, "top": 9, "bottom": 9}
    return Shift(bar=bar, abrupt=1.0, low=48, high=72, **(plain | changes))


@pytest.mark.parametrize(
    ("shift", "said"),
    [
        (moved(by="part", direction="down"), "one part moves down by about a major sixth"),
        (moved(by="top", top=-14, size=14.0),
         "the highest notes fall by about an octave and a whole tone"),
        (moved(by="bottom", bottom=12, size=12.0),
         "the lowest notes rise by about an octave"),
        (moved(top=2, bottom=-2),
         "the middle of the texture rises, with the same outer notes, by about a major sixth"),
        (moved(top=4, bottom=3),
         "the middle of the texture rises, more than its outer notes, by about a major sixth"),
        (moved(top=5, bottom=3), "the texture rises by about a major sixth"),
        (moved(top=3, bottom=-4, direction="opening"),
         "the texture opens out by about a major sixth"),
        (moved(top=-7, bottom=7, direction="closing"),
         "the texture closes in by about a major sixth"),
    ],
)  # fmt: skip
def test_which_way_a_shift_goes(shift: Shift, said: str) -> None:
    assert sentences.shift_words(shift, REPEATED) == f"bar 2: {said}"


# Events


def event(bar: int = 1, **changes: Any) -> Event:
    plain: dict[str, Any]
    plain = {"kind": "withheld_bass", "first": bar, "last": bar + 1, "beat": 1.0, "low": 36,
             "high": 48, "pitches": (36, 48), "strength": 0.5, "silence": 4.0, "since": 0,
             "edge": 57, "distance": 21.0, "lasts": 8.0}  # fmt: skip
    return Event(part=None, bar=bar, **(plain | changes))


BARS = bars_of([16] * 8)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "The bass is withheld: nothing below A3 for four bars, then down to C2"
         " in bar 2"),
        ({"since": None, "again": 0}, "The bass is withheld: nothing below A3 for four bars,"
         " then down to C2 in bar 2, as the music of bar 1 returns"),
        ({"kind": "withheld_top", "edge": 30, "grazes": 1}, "The top is withheld: almost"
         " nothing above F♯1 for four bars, then up to C3 in bar 2"),
        ({"kind": "cleared"}, "The middle clears in bar 1 for four bars; bar 2 fills it"
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
        ({"kind": "pedal_point", "place": "bass", "ending": "resolves", "high": 36,
          "lasts": 6.0, "pitches": (36,)},
         "C2 is held or repeated in the bass for six bars, a pedal point; it"
         " resolves in bar 2"),
        ({"kind": "shift", "direction": "up", "by": "bottom"},
         "Bar 2 lifts the bass by an octave and a major sixth"),
        ({"kind": "high_point", "high": 36, "approach": "leap"},
         "High point C2 in bar 2, by a leap of an octave and a major sixth"),
        ({"kind": "gap", "last": 6}, "Bars 2–6 leave a gap: nothing sounds between C2 and C3"),
    ],
)  # fmt: skip
def test_every_kind_of_event_as_a_sentence(changes: dict[str, Any], said: str) -> None:
    assert event_words(event(**changes), BARS, USUAL) == said
