"""Loudness by marks and hairpins, in velocities that can be worked out in the head.

p is 48, mp 64, mf 80, f 96, ff 112: a step is 16. A bar has 16 ticks.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corpusreg.score.notes import Dynamic
from corpusreg.score.played import MARKS, UNMARKED, levels

BAR = 16


def mark(tick: int, name: str, part: int = 0, staff: int = 0) -> Dynamic:
    return Dynamic(part, tick, "mark", name, staff=staff)


def hairpin(kind: str, tick: int, end: int | None) -> Dynamic:
    return Dynamic(0, tick, kind, end=end)


def at(dynamics: list[Dynamic], *ticks: int) -> list[float]:
    """Velocities at some ticks of part 0, staff 1."""
    n = len(ticks)
    found = levels(
        dynamics, np.zeros(n, np.int16), np.ones(n, np.int16), np.array(ticks, np.int64), BAR
    )
    return [round(float(value) * 127, 9) for value in found]


def test_marks_rise_strictly() -> None:
    order = ("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff")
    assert all(MARKS[soft] < MARKS[loud] for soft, loud in itertools.pairwise(order))
    assert MARKS["mf"] / 127 == UNMARKED
    assert all(0 < value <= 127 for value in MARKS.values())


def test_before_the_first_mark_mezzo_forte() -> None:
    assert at([mark(8, "p")], 0, 7, 8, 100) == [80, 80, 48, 48]
    assert at([], 0, 5) == [80, 80]


def test_a_given_velocity_counts_before_the_name() -> None:
    assert at([Dynamic(0, 0, "mark", "p", velocity=90.0)], 0) == [90]


def test_a_mark_that_is_no_level_changes_nothing() -> None:
    """sfz is an accent, not a level."""
    assert at([mark(0, "p"), mark(4, "sfz"), mark(8, "nonsense")], 0, 4, 8) == [48, 48, 48]


def test_order_of_the_list_is_irrelevant() -> None:
    dynamics = [mark(0, "p"), hairpin("cresc", 4, 12), mark(12, "f"), mark(20, "pp")]
    for turned in itertools.permutations(dynamics):
        assert at(list(turned), 0, 4, 8, 12, 20) == [48, 48, 72, 96, 32]


# Hairpins


def test_a_hairpin_is_a_straight_line_to_the_next_mark() -> None:
    dynamics = [mark(0, "p"), hairpin("cresc", 0, 16), mark(16, "f")]
    assert at(dynamics, 0, 4, 8, 12, 16, 40) == [48, 60, 72, 84, 96, 96]
    dynamics = [mark(0, "f"), hairpin("dim", 8, 16), mark(16, "p")]
    assert at(dynamics, 4, 8, 12, 16) == [96, 96, 72, 48]


def test_a_goal_within_a_bar_after_the_end_still_counts() -> None:
    dynamics = [mark(0, "p"), hairpin("cresc", 0, 8), mark(24, "f")]
    assert at(dynamics, 4, 8, 20, 24) == [72, 96, 96, 96]
    # One tick later it is too far away: one step instead.
    dynamics = [mark(0, "p"), hairpin("cresc", 0, 8), mark(25, "f")]
    assert at(dynamics, 4, 8, 24, 25) == [56, 64, 64, 96]


@pytest.mark.parametrize(("kind", "end"), [("cresc", 64), ("dim", 32)])
def test_without_a_goal_one_step(kind: str, end: int) -> None:
    found = at([mark(0, "p"), hairpin(kind, 0, 16)], 0, 8, 16, 99)
    assert found == [48, (48 + end) / 2, end, end]


def test_a_goal_in_the_wrong_direction_is_none() -> None:
    """cresc. before a subito p rises one step first."""
    dynamics = [mark(0, "mf"), hairpin("cresc", 0, 16), mark(16, "p")]
    assert at(dynamics, 0, 8, 15, 16) == [80, 88, 95, 48]


def test_swell() -> None:
    """p < > with no mark in the middle comes back to p."""
    dynamics = [mark(0, "p"), hairpin("cresc", 0, 8), hairpin("dim", 8, 16)]
    assert at(dynamics, 0, 4, 8, 12, 16) == [48, 56, 64, 56, 48]


def test_a_mark_inside_a_hairpin_is_its_goal_and_its_end() -> None:
    """Files often let a hairpin end a little after the mark it leads to."""
    dynamics = [mark(0, "p"), hairpin("cresc", 0, 16), mark(8, "ff")]
    assert at(dynamics, 4, 8, 12) == [80, 112, 112]
    # The wrong way: one step over the whole hairpin, cut off by the mark.
    dynamics = [mark(0, "p"), hairpin("cresc", 0, 16), mark(8, "pp")]
    assert at(dynamics, 4, 8, 12) == [52, 32, 32]


def test_a_hairpin_without_a_mark_starts_at_mezzo_forte() -> None:
    assert at([hairpin("cresc", 0, 16)], 0, 16) == [80, 96]


@pytest.mark.parametrize("end", [None, 4])
def test_a_hairpin_without_length_changes_nothing(end: int | None) -> None:
    assert at([mark(0, "p"), hairpin("cresc", 4, end)], 4, 8) == [48, 48]


@given(st.lists(st.sampled_from(("cresc", "dim")), max_size=30))
def test_no_chain_of_hairpins_leaves_the_possible(kinds: list[str]) -> None:
    dynamics = [hairpin(kind, 8 * i, 8 * i + 8) for i, kind in enumerate(kinds)]
    found = at(dynamics, *range(0, 8 * len(kinds) + 8, 3))
    assert min(found) >= 1
    assert max(found) <= 127


# Parts and staves


def heard(dynamics: list[Dynamic], rows: list[tuple[int, int, int]]) -> list[int]:
    """Velocities of notes given as (part, staff, onset)."""
    part, staff, onset = (np.array(column) for column in zip(*rows, strict=True))
    found = levels(dynamics, part.astype(np.int16), staff.astype(np.int16), onset, BAR)
    return [round(float(value) * 127) for value in found]


def test_a_part_keeps_its_own_marks() -> None:
    dynamics = [mark(0, "p", part=0), mark(0, "ff", part=2)]
    assert heard(dynamics, [(0, 1, 0), (1, 1, 0), (2, 1, 0)]) == [48, 80, 112]


def test_a_mark_at_one_staff_holds_for_the_other() -> None:
    """It stands between the staves of a piano."""
    rows = [(0, 1, 0), (0, 2, 0), (0, 1, 8), (0, 2, 8)]
    assert heard([mark(0, "p", staff=1), mark(8, "f", staff=2)], rows) == [48, 48, 96, 96]


def test_staves_with_marks_at_the_same_moment_keep_their_own() -> None:
    rows = [(0, 1, 0), (0, 2, 0), (0, 1, 8), (0, 2, 8)]
    dynamics = [mark(0, "p", staff=1), mark(0, "f", staff=2), mark(8, "mp")]
    assert heard(dynamics, rows) == [48, 96, 64, 64]
