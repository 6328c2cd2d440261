"""Hollow bars: both sides of each gap, and what bridges one."""

from __future__ import annotations

import pytest
from by_hand import chords, weave

from corpusreg.measures.hollow import hollow_bars


def hollow(*bars: tuple[int, ...]) -> list[bool]:
    return hollow_bars(chords(*bars)).tolist()


@pytest.mark.parametrize(
    ("chord", "empty"),
    [
        ((48, 60, 64, 67), False),  # an octave above the bass is ordinary
        ((48, 66, 70), False),  # eighteen semitones are still bass and rest
        ((48, 67, 70), True),  # nineteen
        ((48, 55, 66), False),  # eleven above the lowest pair
        ((48, 55, 67), True),  # twelve
        ((48, 52, 55, 67, 79), True),
        ((36, 48, 55, 60, 64), False),
        ((48, 66), False),
        ((48, 67), True),
        ((60,), False),
    ],
)
def test_gaps(chord: tuple[int, ...], empty: bool) -> None:
    assert hollow(chord) == [empty]


def test_bars_are_judged_one_by_one() -> None:
    """The top of one bar and the bottom of the next are no neighbours."""
    assert hollow((40, 43), (84, 88), (40, 43, 84, 88), (60,)) == [False, False, True, False]


def test_silent_bars_are_not_asked() -> None:
    assert hollow((), (48, 67, 70), (), (60,)) == [True, False]


def test_a_passing_note_bridges_no_gap() -> None:
    """One semiquaver of sixteen among three held notes has 1/49 of the weight: just enough."""
    held = [(48, 0, 16), (55, 0, 16), (72, 0, 16)]
    assert hollow_bars(weave(held, 1)).tolist() == [True]
    assert hollow_bars(weave([*held, (63, 4, 1)], 1)).tolist() == [False]
    assert hollow_bars(weave([*held, (63, 4, 1, 0.9)], 1)).tolist() == [True]


def test_a_soft_voice_that_sounds_throughout_fills_the_gap() -> None:
    held = [(48, 0, 16), (55, 0, 16), (72, 0, 16), (63, 0, 16, 0.1)]
    assert hollow_bars(weave(held, 1)).tolist() == [False]


def test_pitches_of_one_bar_count_whenever_they_sound() -> None:
    """An arpeggio leaves nothing empty, although its notes never sound together."""
    assert hollow_bars(
        weave([(48, 0, 4), (57, 4, 4), (66, 8, 4), (75, 12, 4)], 1)
    ).tolist() == [False]
    assert hollow_bars(weave([(48, 0, 4), (57, 4, 4), (75, 8, 8)], 1)).tolist() == [True]
