"""What is told and what is not, on both sides of every border; on values made by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from by_hand import bars_of

from corpusreg.comparison.comparison import PlacedMeasure, PlacedStay
from corpusreg.comparison.findings import PieceFacts, bare_event
from corpusreg.measures.definitions import BY_NAME
from corpusreg.measures.events import Event
from corpusreg.measures.shifts import Shift
from corpusreg.measures.stays import Stay
from corpusreg.norms.reference import Placement
from corpusreg.score.pitch import USUAL
from corpusreg.text.findings import event_words, move_words, sentence

NOT_PLACED = Placement(None, None, None, None, 0.0, "too short")


def measured(name: str, placement: Placement) -> PlacedMeasure:
    return PlacedMeasure(BY_NAME[name], 7.0, placement, ((4, 5),))


def comparison(*measures: PlacedMeasure, odder: float | None = 0.1, **others: Any) -> Any:
    return SimpleNamespace(measures=measures, odder=odder, **others)


# What stands out


# Values, intervals, sizes


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
        (moved(by="top", top=-14, size=14.0), "the top falls by about a ninth"),
        (moved(by="bottom", bottom=12, size=12.0), "the bass rises by about an octave"),
        (moved(top=2, bottom=-2),
         "the middle of the texture rises by about a major sixth, within the same outer notes"),
        (moved(top=4, bottom=3),
         "the middle of the texture rises by about a major sixth, more than its outer notes"),
        (moved(top=5, bottom=3), "the texture rises by about a major sixth"),
        (moved(top=3, bottom=-4, direction="opening"),
         "the texture opens out by about a major sixth"),
        (moved(top=-7, bottom=7, direction="closing"),
         "the texture closes in by about a major sixth"),
    ],
)  # fmt: skip
def test_which_way_a_shift_goes(shift: Shift, said: str) -> None:
    assert move_words(shift) == said


# Events


def event(bar: int = 1, **changes: Any) -> Event:
    plain: dict[str, Any]
    plain = {"kind": "withheld_bass", "first": bar, "last": bar + 1, "beat": 1.0, "low": 36,
             "high": 48, "pitches": (36, 48), "strength": 0.5, "silence": 4.0, "since": 0,
             "edge": 57, "distance": 21.0, "lasts": 8.0}  # fmt: skip
    return Event(part=None, bar=bar, **(plain | changes))


BARS = bars_of([16] * 8)


@pytest.mark.parametrize(
    ("changes", "given", "said"),
    [
        # Others had the bass while the cello rested: its rest is not the bass's.
        ({"by": "enters"}, {"players": ("Cello",), "rest": 20, "size": 4.0, "clean": True,
                            "low": 36, "high": 48},
         "Nothing sounds below A3 for four bars; then the cello brings the bass back in bar 2,"
         " down to C2."),
        # Each has a note and a rest of its own.
        ({"kind": "voice_entry"}, {"players": ("Oboe", "Cello"), "size": 4.0},
         "The oboe and the cello enter in bar 2."),
    ],
)  # fmt: skip
def test_what_is_said_of_players(
    changes: dict[str, Any], given: dict[str, Any], said: str
) -> None:
    piece = PieceFacts("", "", "", "", ("Oboe", "Cello"), ("oboe", "cello"),
                       8, 8, 8, 8, False, 0, 0)  # fmt: skip
    assert sentence(replace(bare_event(event(**changes), BARS), **given), piece) == said


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "The bass is withheld: nothing below A3 for four bars, then down to C2"
         " in bar 2"),
        ({"since": None, "again": 0}, "The bass is withheld: nothing below A3 for four bars,"
         " then down to C2 in bar 2, as the music of bar 1 returns"),
        ({"kind": "withheld_top", "edge": 30, "grazes": 1}, "The top is withheld: almost"
         " nothing above F♯1 for four bars, then up to C3 in bar 2"),
        ({"kind": "high_point", "bars": (3, 6)}, "High point C3 in bars 2, 4 and 7"),
        ({"kind": "high_point", "bars": (2, 3, 4, 5)},
         "High point C3 in bar 2, the first of five bars with it"),
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
