"""Values of a whole piece worked out by hand, and both sides of each threshold."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from by_hand import bars_of, chords
from event_pieces import BAR, Row, score

from corpusreg.measures.analysis import (
    Analysis,
    analyse,
    is_narrow,
    occupied_bands,
    part_events,
    rank_stays,
)
from corpusreg.measures.stays import Stay
from corpusreg.score.played import perform


def measured(rows: Sequence[Row]) -> Analysis:
    return analyse(perform(score(rows)))


def held(bars: Sequence[Sequence[int]]) -> list[Row]:
    """One chord a bar, each pitch by a player of its own."""
    return [
        (part, bar * BAR, BAR, pitch)
        for bar, chord in enumerate(bars)
        for part, pitch in enumerate(chord)
    ]


LOW, HIGH = (48, 52), (72, 76)
TWO_PLACES = measured(held([LOW] * 12 + [HIGH] * 4))


def test_a_piece_in_two_places_by_hand() -> None:
    assert (TWO_PLACES.lowest, TWO_PLACES.highest, TWO_PLACES.core) == (48, 76, (48, 76))
    assert [(stay.first, stay.last) for stay in TWO_PLACES.stays] == [(0, 12), (12, 16)]
    values = {name: v.value for name, v in TWO_PLACES.values.items() if name != "pedal_points"}
    assert values == pytest.approx(
        {
            "span": 28,
            "core_span": 28,
            "octaves_in_use": (4 / 3) ** 0.75 * 4**0.25,
            "movement_beat": 24 / 63,
            "movement_bar": 24 / 15,
            # Nine barlines with four bars on both sides: 6, 12, 18, 24 from bar 10 on.
            "movement_phrase": (6 + 12 + 18 + 24) / 9,
            "travel": 0,
            "shift_rate": 100 / 16,
            "longest_dwell": 12,
            "expected_dwell": (144 + 16) / 16,
            "narrow_dwell": 1,
            "hollow_share": None,
            # The top, withheld for 12 bars.
            "entries": 100 / 16,
        },
        abs=1e-9,
    )
    assert not any(v.reason for name, v in TWO_PLACES.values.items() if name != "hollow_share")


def test_what_is_not_placed_says_why() -> None:
    assert TWO_PLACES.values["hollow_share"].reason == "needs three voices or more"
    three = measured(held([(36, 60, 64)] * 2 + [(48, 60, 64)] * 2)).values
    assert (three["hollow_share"].value, three["hollow_share"].reason) == (0.5, "")
    assert three["shift_rate"].value == 25
    assert three["shift_rate"].reason == "too short to place: fewer than 16 bars"
    assert three["movement_phrase"].value is None
    assert three["movement_phrase"].reason == "too short to measure"
    fifteen, sixteen = (measured(held([LOW] * bars)).values for bars in (15, 16))
    assert fifteen["shift_rate"].reason
    assert sixteen["shift_rate"].reason == ""


@pytest.mark.parametrize(
    ("width", "single_line", "narrow"),
    [(12, True, True), (13, True, False), (24, False, True), (25, False, False)],
)
def test_narrow_is_an_octave_in_a_line_and_two_in_a_texture(
    width: int, single_line: bool, narrow: bool
) -> None:
    assert is_narrow(Stay(0, 4, 48, 48 + width, 1.0), single_line) == narrow


@pytest.mark.parametrize(("bars", "share"), [(4, 4 / 16), (3, 0)])
def test_narrow_stays_count_from_four_bars_on(bars: int, share: float) -> None:
    wide = (36, 52, 64, 79)
    found = measured(held([wide] * (16 - bars) + [(84, 86, 88, 89)] * bars))
    assert found.stays[-1].bars == bars
    assert found.values["narrow_dwell"].value == share


@pytest.mark.parametrize(
    ("first", "second", "ranking"),
    [
        # Bars, width, fullness. 10^.7 / e = 1.844; 5^.7 x exp(-6 / 12) = 1.871, -7 / 12: 1.721.
        ((10, 12, 2.0), (5, 6, 2.0), (1, 0)),
        ((10, 12, 2.0), (5, 7, 2.0), (0, 1)),
        # A quarter as full as usual counts .707: 3.544; 6^.7 = 3.505, 7^.7 = 3.905.
        ((10, 0, 0.5), (6, 0, 2.0), (0, 1)),
        ((10, 0, 0.5), (7, 0, 2.0), (1, 0)),
        # Fuller than usual counts no more than usual; of equals the first is told first.
        ((10, 0, 2.0), (10, 0, 8.0), (0, 1)),
    ],
)
def test_long_narrow_and_full_stays_are_told_first(
    first: tuple[int, int, float], second: tuple[int, int, float], ranking: tuple[int, int]
) -> None:
    found, at = [], 0
    for bars, width, fullness in (first, second):
        found.append(Stay(at, at + bars, 60, 60 + width, fullness))
        at += bars
    assert rank_stays(tuple(found), (48, 72), chords(LOW), bars_of([BAR] * at)) == ranking


def test_octaves_of_a_stay_hold_a_tenth_of_its_weight() -> None:
    def bands(*rows: Row) -> tuple[int, ...]:
        return occupied_bands(Stay(0, 9, 41, 75, 1.0), measured(rows))

    tune = (0, 0, 9 * BAR, 66)
    assert bands(tune, (1, 0, BAR, 41)) == (2, 4)  # 1 in 10
    assert bands(tune, (1, 5, BAR - 5, 41)) == (4,)
    # What lies within three semitones of the fuller octave counts towards it.
    assert bands(tune, (1, 0, 8 * BAR, 57)) == (4,)
    assert bands(tune, (1, 0, 8 * BAR, 56)) == (3, 4)
    assert bands(tune, (1, 0, 8 * BAR, 74)) == (4,)
    assert bands(tune, (1, 0, 8 * BAR, 75)) == (4, 5)


def test_parts_have_events_from_two_parts_on() -> None:
    two = perform(score(held([LOW] * 4)))
    assert set(part_events(two)) == {0, 1}
    assert part_events(two.only(two.notes.part == 1)) == {}
