"""Signs followed by hand: repeats, endings, da capo, dal segno, and what never ends.

A page is written as a line of bars: `|:` before and `:|` after a bar are repeat signs
(`:|3` plays three times in all), `[1,3]` puts a bar under an ending, and `segno`, `coda`,
`tocoda`, `fine`, `dacapo`, `dalsegno` are the words. Bars are numbered from 0.
"""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest

from corpusreg.score.notes import Bars
from corpusreg.score.order import played_order

ENDLESS = "the repeat signs do not come to an end: read in written order"


def page(*bars: str, order: tuple[int, ...] | None = None) -> Bars:
    """Bars of one quarter, each written as its signs in words; '' is a bar without any."""
    starts, ends, endings, marks = [], [], [], []
    for text in bars:
        words = text.split()
        starts.append("|:" in words)
        closing = [word for word in words if word.startswith(":|")]
        ends.append(int(closing[0][2:] or 2) if closing else 0)
        under = re.search(r"\[([\d,]+)\]", text)
        endings.append(tuple(map(int, under[1].split(","))) if under else ())
        marks.append(frozenset(word for word in words if word.isalpha()))
    n = len(bars)
    return Bars.plain(
        [str(i + 1) for i in range(n)], [4] * n, [4] * n, [4] * n,
        repeat_start=np.array(starts, bool), repeat_end=np.array(ends, np.int64),
        endings=tuple(endings), marks=tuple(marks), order=order,
    )  # fmt: skip


def played(*bars: str) -> list[int]:
    order, remark = played_order(page(*bars))
    assert remark == ""
    return order


def test_no_signs() -> None:
    assert played("", "", "") == [0, 1, 2]
    assert played() == []


# Repeats


@pytest.mark.parametrize(
    ("bars", "order"),
    [
        (["", ":|", ""], [0, 1, 0, 1, 2]),
        (["", "|:", ":|", ""], [0, 1, 2, 1, 2, 3]),
        (["", "|: :|", ""], [0, 1, 1, 2]),
        (["|:", ":|3"], [0, 1] * 3),
        # Two repeated halves: the second goes back to where the first one ended.
        (["", ":|", "", ":|"], [0, 1, 0, 1, 2, 3, 2, 3]),
        (["|:", ":|", "|:", ":|"], [0, 1, 0, 1, 2, 3, 2, 3]),
        # An upbeat before the repeat is played once.
        (["", "|:", ":|"], [0, 1, 2, 1, 2]),
        # A sign that opens and never closes changes nothing.
        (["", "|:", ""], [0, 1, 2]),
        # 'Once in all' is no repeat.
        (["", ":|1", ""], [0, 1, 2]),
    ],
)
def test_repeats(bars: list[str], order: list[int]) -> None:
    assert played(*bars) == order


# Endings


@pytest.mark.parametrize(
    ("bars", "order"),
    [
        (["", "[1] :|", "[2]", ""], [0, 1, 0, 2, 3]),
        # Endings of two bars.
        (["|:", "[1]", "[1] :|", "[2]", "[2]"], [0, 1, 2, 0, 3, 4]),
        # A second ending that is closed by a sign of its own is not taken back.
        (["|:", "[1] :|", "[2] :|", ""], [0, 1, 0, 2, 3]),
        (["|:", "[1] :|", "[2] :|", "[3]", ""], [0, 1, 0, 2, 0, 3, 4]),
        # One ending for three passes, whether or not the sign says how often.
        (["|:", "[1,2,3] :|", "[4]"], [0, 1, 0, 1, 0, 1, 0, 2]),
        (["|:", "[1,2,3] :|4", "[4]"], [0, 1, 0, 1, 0, 1, 0, 2]),
        (["|:", "[1,3] :|", "[2] :|", "[4]"], [0, 1, 0, 2, 0, 1, 0, 3]),
        # Two passages with endings, one after the other.
        (
            ["|:", "[1] :|", "[2]", "|:", "[1] :|", "[2]", ""],
            [0, 1, 0, 2, 3, 4, 3, 5, 6],
        ),
        # The second passage opens without a sign, after the ending of the first.
        (["", "[1] :|", "[2]", "", "[1] :|", "[2]"], [0, 1, 0, 2, 3, 4, 3, 5]),
        # A plain repeat after endings goes back to the bar after them.
        (["", "[1] :|", "[2]", "", ":|", ""], [0, 1, 0, 2, 3, 4, 3, 4, 5]),
    ],
)
def test_endings(bars: list[str], order: list[int]) -> None:
    assert played(*bars) == order


# Jumps


@pytest.mark.parametrize(
    ("bars", "order"),
    [
        (["", "", "dacapo"], [0, 1, 2, 0, 1, 2]),
        (["", "fine", "dacapo"], [0, 1, 2, 0, 1]),
        (["", "segno", "fine", "dalsegno"], [0, 1, 2, 3, 1, 2]),
        (["", "segno", "tocoda", "dalsegno", "coda", ""], [0, 1, 2, 3, 1, 2, 4, 5]),
        (["", "tocoda", "dacapo", "coda"], [0, 1, 2, 0, 1, 3]),
        # A segno at the first bar.
        (["segno", "fine", "dalsegno"], [0, 1, 2, 0, 1]),
        # After the jump repeats are left out and the last ending is played.
        (["", ":|", "fine", "dacapo"], [0, 1, 0, 1, 2, 3, 0, 1, 2]),
        (["|:", "[1] :|", "[2] fine", "", "dacapo"], [0, 1, 0, 2, 3, 4, 0, 2]),
        # A repeat before the segno and one after it.
        (
            ["", ":|", "segno", ":| fine", "dalsegno"],
            [0, 1, 0, 1, 2, 3, 2, 3, 4, 2, 3],
        ),
        # 'Fine' and 'to coda' mean nothing before the jump.
        (["fine", "tocoda", "coda"], [0, 1, 2]),
        # The jump is made once: its sign is passed the second time.
        (["", "segno", "dalsegno", "", "fine"], [0, 1, 2, 1, 2, 3, 4]),
        # Repeat and da capo at one bar: first the repeat, then the jump.
        (["", ":| dacapo"], [0, 1, 0, 1, 0, 1]),
        # A da capo inside the first ending is not taken before the repeat.
        (["", "[1] :|", "[2] dacapo"], [0, 1, 0, 2, 0, 2]),
    ],
)
def test_jumps(bars: list[str], order: list[int]) -> None:
    assert played(*bars) == order


def test_signs_without_their_goal() -> None:
    """No segno: from the beginning. No coda: straight on."""
    assert played("", "fine", "dalsegno") == [0, 1, 2, 0, 1]
    assert played("tocoda", "dacapo", "") == [0, 1, 0, 1, 2]


# Oddities


def test_a_repeat_inside_a_repeat() -> None:
    """The inner one is played out, and the outer sign goes back to the bar after it."""
    assert played("|:", "|:", ":|", "", ":|") == [0, 1, 2, 1, 2, 3, 4, 3, 4]


def test_a_repeat_opens_under_the_second_ending() -> None:
    assert played("", "[1] :|", "|: [2]", ":|", "") == [0, 1, 0, 2, 3, 2, 3, 4]
    assert played("", "[1] :|", "|: [2]", "[2]", ":|3") == [0, 1, 0, *[2, 3, 4] * 3]
    assert played("", "[1] :|", "[2]", "|: [2] :|", "fine", "dacapo") == [
        *(0, 1, 0, 2, 3, 3, 4, 5), *(0, 2, 3, 4)
    ]  # fmt: skip
    # Another passage with endings of its own begins at once.
    assert played("", "[1] :|", "[2]", "|: [1] :|", "[2]") == [0, 1, 0, 2, 3, 4]


def test_an_explicit_order_counts_before_all_signs() -> None:
    bars = page("", ":|", "dacapo", order=(2, 0, 0))
    assert played_order(bars) == ([2, 0, 0], "")


@pytest.mark.parametrize("bars", [["", ":|999", ""], ["|: :|65"]])
def test_signs_that_multiply_beyond_reason_are_read_as_written(bars: list[str]) -> None:
    assert played_order(page(*bars)) == (list(range(len(bars))), ENDLESS)


def test_bars_that_no_sign_leads_to_are_told() -> None:
    order, remark = played_order(page("", "[1]", "[2]", "[2]", ""))
    assert (order, remark) == (
        [0, 1, 4],
        "2 bars are never reached by the signs, from bar 3 on",
    )
    order, remark = played_order(page("fine", "dacapo", ""))
    assert (order, remark) == ([0, 1, 0], "a bar is never reached by the signs, from bar 3 on")


def test_a_second_ending_whose_first_was_forgotten_follows_the_repeat() -> None:
    """As in the bundled Haydn op. 74 no. 1, third movement, bars 74 and 75."""
    assert played("", ":|", "[2]", "|:", ":|") == [0, 1, 0, 1, 2, 3, 4, 3, 4]
    assert played("", ":|", "[2]", "[2]", "") == [0, 1, 0, 1, 2, 3, 4]
    assert played("[2]", "[2]") == [0, 1]


def test_as_many_passes_as_are_followed() -> None:
    assert played("|: :|64") == [0] * 64


def test_every_page_of_three_bars_comes_to_an_end() -> None:
    signs = (
        "",
        "|:",
        ":|",
        "[1] :|",
        "[2]",
        "dacapo",
        "segno dalsegno",
        "fine",
        "tocoda",
        "coda",
    )
    for bars in itertools.product(signs, repeat=3):
        order, remark = played_order(page(*bars))
        assert set(order) <= {0, 1, 2}
        assert 1 <= len(order) <= 64 * 3
        assert (remark == "") == (set(order) == {0, 1, 2}) or remark == ENDLESS
