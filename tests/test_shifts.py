"""Registral shifts: each kind and direction, and both sides of every threshold."""

from __future__ import annotations

import numpy as np
import pytest
from by_hand import BAR, chords, line, weave

from corpusreg.measures.shifts import Shift, are_shifts, clear_sizes, edges, shifts
from corpusreg.measures.texture import Texture


def only(found: Texture) -> Shift:
    (one,) = shifts(found)
    return one


# Kinds


def test_the_whole_moves() -> None:
    one = only(chords((60, 64), (60, 64), (67, 71), (67, 71)))
    assert (one.bar, one.by, one.direction) == (2, "mass", "up")
    assert (one.size, one.mass, one.top, one.bottom) == (
        pytest.approx(7),
        pytest.approx(7),
        7,
        7,
    )


def test_the_bass_enters_under_a_full_texture() -> None:
    """Six voices stay: the mass moves less than 4.5 on average, the bottom an octave."""
    above = (60, 64, 67, 72, 76, 79)
    one = only(chords(above, (48, *above)))
    assert (one.by, one.direction, one.size) == ("bottom", "down", 12.0)
    assert (one.top, one.bottom) == (0, -12)
    one = only(chords((47, *above), above))
    assert (one.by, one.direction, one.size) == ("bottom", "up", 13.0)


def test_the_cello_falls_an_octave_in_a_quartet() -> None:
    one = only(chords((48, 60, 64, 67), (36, 60, 64, 67)))
    assert (one.by, one.direction, one.size) == ("bottom", "down", 12.0)
    assert one.mass == pytest.approx(3)


def test_the_top_soars() -> None:
    one = only(chords((48, 55, 60, 64), (48, 55, 60, 76)))
    assert (one.by, one.direction, one.size) == ("top", "up", 12.0)
    one = only(chords((48, 55, 60, 76), (48, 55, 60, 64)))
    assert (one.by, one.direction) == ("top", "down")


def test_opening_and_closing() -> None:
    one = only(chords((60, 64), (52, 72)))
    assert (one.direction, one.by) == ("opening", "mass")
    assert (one.top, one.bottom) == (8, -8)
    assert only(chords((52, 72), (60, 64))).direction == "closing"


def test_opening_by_an_edge() -> None:
    one = only(chords((48, 60, 64, 67), (36, 60, 64, 70)))
    assert (one.direction, one.by, one.bottom, one.top) == ("opening", "bottom", -12, 3)
    # Two semitones are no move of the upper edge: only the bass falls.
    one = only(chords((48, 60, 64, 67), (36, 60, 64, 69)))
    assert one.direction == "down"


# One player


def quartet(*, moves: float, players: int = 4, rest: bool = False) -> list[Shift]:
    """Bar by bar chords of a quartet whose viola moves; told by player if need be."""
    before, after = (48.0, 60.0, 64.0, 67.0), (48.0, 60.0 + moves, 64.0, 67.0)
    found = chords((48, 60, 64, 67), (48, 60 + int(moves), 64, 67))
    lines = np.array([before, after]).T[::-1][:players].copy()
    if rest:
        lines[2, 0] = np.nan
    return shifts(found, lines)


def test_one_player_of_four_moves_inside_the_texture() -> None:
    """A viola from C4 to Bb4 and back moves neither an edge nor the mass far enough."""
    (one,) = quartet(moves=10)
    assert (one.bar, one.by, one.direction, one.size) == (1, "part", "up", 10.0)
    (one,) = quartet(moves=-11)
    assert (one.by, one.direction, one.size) == ("part", "down", 11.0)
    assert quartet(moves=9) == []
    assert len(quartet(moves=10 - 1e-12)) == 1  # as means come out


def test_one_player_is_not_told_apart_among_few_or_none() -> None:
    assert quartet(moves=10, players=2) == []
    assert shifts(chords((48, 60, 64, 67), (48, 70, 64, 67))) == []


def test_a_player_who_rested_has_not_moved() -> None:
    assert quartet(moves=10, rest=True) == []


def test_what_the_whole_does_is_told_before_what_a_player_does() -> None:
    lines = np.array([[67.0, 79], [64, 76], [60, 72], [48, 60]])
    (one,) = shifts(chords((48, 60, 64, 67), (60, 72, 76, 79)), lines)
    assert (one.by, one.size) == ("mass", pytest.approx(12))


# Thresholds


@pytest.mark.parametrize(
    ("before", "after", "shift"),
    [
        ((60, 64), (65, 69), True),  # 5 and 5: 5 on average
        ((60, 64), (65, 68), True),  # 5 and 4: 4.5, just enough
        ((60, 64), (64, 68), False),  # 4
        ((60, 64), (55, 60), True),  # 5 and 4 down
        ((48, 60, 64, 67), (36, 60, 64, 67), True),  # bottom 12
        ((48, 60, 64, 67), (37, 60, 64, 67), False),  # bottom 11
        ((48, 60, 64, 67), (48, 60, 64, 79), True),  # top 12
        ((48, 60, 64, 67), (48, 60, 64, 78), False),  # top 11
    ],
)
def test_both_sides_of_each_threshold(
    before: tuple[int, ...], after: tuple[int, ...], shift: bool
) -> None:
    assert len(shifts(chords(before, after))) == shift


@pytest.mark.parametrize(
    ("step", "shift"), [(6, False), (7, True), (-6, False), (-7, True), (11, True)]
)
def test_a_single_line_moves_a_fifth(step: int, shift: bool) -> None:
    assert len(shifts(chords((60,), (60 + step,)))) == shift


def test_a_leap_inside_the_bar_is_no_shift_of_a_line() -> None:
    """C4 throughout, then C4 for three beats and C5 for one: 3 semitones on average."""
    assert shifts(line((60,), (60, 60, 60, 72), (60,))) == []


def test_the_edge_of_a_line_is_none_of_its_own() -> None:
    """Half a bar an octave up moves the top by 12 and the mass by 6."""
    found = line((60,), (60, 72))
    assert edges(found).tolist() == [[60, 60], [60, 72]]
    assert shifts(found) == []
    one = only(line((60,), (67,)))
    assert (one.by, one.size) == ("mass", pytest.approx(7))


def test_weight_that_tips_between_hands_that_stay_is_no_shift() -> None:
    """The left hand fades and the right hand swells; both are where they were."""
    low, high = (40, 43), (72, 76)
    rows = [(p, 0, 16) for p in low] + [(p, 0, 4) for p in high]
    rows += [(p, 16, 4) for p in low] + [(p, 16, 16) for p in high]
    found = weave(rows, 2)
    mass = float(np.abs(np.diff(found.cumulated, axis=0)).sum())
    assert mass > 15
    assert shifts(found) == []


@pytest.mark.parametrize(("stirs", "shift"), [(2, False), (3, True)])
def test_weight_that_tips_while_an_edge_stirs_by_three(stirs: int, shift: bool) -> None:
    low, high = (40, 43), (72, 76)
    rows = [(p, 0, 16) for p in low] + [(p, 0, 4) for p in high]
    rows += [(p, 16, 4) for p in low] + [(p + stirs, 16, 16) for p in high]
    assert len(shifts(weave(rows, 2))) == shift


def test_thresholds_meet_exactly_however_the_sums_are_rounded() -> None:
    """A mass of 4.5 (7 in a line) is enough, with the dust that sums in another order leave."""
    dust = np.array([-1e-12, 0.0, 1e-12])
    moved = np.array([5, 5, 5])
    assert are_shifts(4.5 + dust, moved, moved, False).tolist() == [True] * 3
    assert are_shifts(7.0 + dust, moved, moved, True).tolist() == [True] * 3
    assert not are_shifts(4.4999 + dust, moved, moved, False).any()
    assert not are_shifts(6.9999 + dust, moved, moved, True).any()


# Direction without edges


@pytest.mark.parametrize(("low", "high", "direction"), [(0, 12, "up"), (12, 0, "down")])
def test_the_direction_of_both_edges(low: int, high: int, direction: str) -> None:
    found = chords((60 + low, 64 + low), (60 + high, 64 + high))
    assert only(found).direction == direction


def test_a_line_that_turns_between_two_notes_goes_where_its_centre_goes() -> None:
    """One beat of four on the high note, then three: both edges stay, the mass moves 12."""
    rising, falling = (60, 60, 60, 84), (60, 84, 84, 84)
    assert only(line(rising, falling)).direction == "up"
    assert only(line(falling, rising)).direction == "down"
    # The edge is told before the centre: here the lowest note rises and the rest falls.
    one = only(line((60, 84, 84, 84), (64, 64, 64, 84)))
    assert (one.bottom, one.top, one.direction) == (4, 0, "up")


def test_a_shift_of_a_line_is_told_by_its_mass_however_far_an_edge_goes() -> None:
    """A fifth up and one beat two octaves above: 13 on average, the top 31."""
    one = only(line((60,), (67, 67, 67, 91)))
    assert (one.by, one.size, one.top) == ("mass", pytest.approx(13), 31)


# Time


def test_silence_is_stepped_over() -> None:
    one = only(chords((60, 64), (), (), (72, 76)))
    assert (one.bar, one.size) == (3, 12.0)
    assert only(chords((), (60, 64), (72, 76), ())).bar == 2


@pytest.mark.parametrize(
    "found", [chords((60,)), chords((60,), ()), chords((60, 64), (60, 64))]
)
def test_no_shift_where_nothing_follows_or_nothing_moves(found: Texture) -> None:
    assert shifts(found) == []


def test_every_move_of_a_zigzag_is_a_shift() -> None:
    found = shifts(chords(*[(60, 64), (72, 76)] * 3))
    assert [(s.bar, s.direction) for s in found] == [
        (1, "up"), (2, "down"), (3, "up"), (4, "down"), (5, "up"),
    ]  # fmt: skip


def test_abruptness() -> None:
    """All at one barline: 1. Three equal moves: a third at the middle one."""
    still = [(60, 64)] * 3
    leap = only(chords(*still, *[(72, 76)] * 3))
    assert leap.abrupt == pytest.approx(1)
    glide = shifts(chords(*[(60 + 5 * i, 64 + 5 * i) for i in range(5)]))
    assert [s.abrupt for s in glide] == pytest.approx([1 / 2, 1 / 3, 1 / 3, 1 / 2])


def test_which_of_several_moves_names_the_shift() -> None:
    """Each is measured against its own threshold: 12 of mass in 4.5 before 24 in 12."""
    one = only(chords((48, 60, 64, 67), (60, 72, 76, 79)))
    assert (one.by, one.size) == ("mass", pytest.approx(12))
    one = only(chords((48, 60, 64, 67, 72, 76), (24, 60, 64, 67, 72, 76)))
    assert (one.by, one.size, one.mass) == ("bottom", 24.0, pytest.approx(4))


def test_an_upbeat_inside_the_piece_is_no_clear_shift() -> None:
    """One beat before a repeated half, three octaves up, and the half begins below again."""
    found = chords(*[(48, 55, 60)] * 6, (84, 91, 96), *[(48, 55, 60)] * 6)
    whole = np.ones(13, bool)
    assert clear_sizes(found, whole)[5] > 0
    whole[6] = False
    assert clear_sizes(found, whole)[5] == 0


def test_a_short_passing_note_is_no_edge() -> None:
    """A sixteenth of the bar among four voices is less than a twentieth of the weight."""
    chord = [(p, bar * BAR, BAR) for bar in (0, 1) for p in (48, 60, 64, 67)]
    assert shifts(weave([*chord, (96, 16, 3)], 2)) == []
    assert only(weave([*chord, (96, 16, 4)], 2)).by == "top"
