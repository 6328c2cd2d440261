"""Stays on small pieces: where they are cut, merged and ended, and what they are called."""

from __future__ import annotations

import numpy as np
import pytest
from by_hand import BAR, chords, line, weave
from validity.changes import twice

from corpusreg.corpus.catalogue import bundled
from corpusreg.measures.stays import (
    PENALTY,
    cuts,
    expected_dwell,
    segment,
    stays,
)
from corpusreg.measures.texture import Texture, texture
from corpusreg.score.played import perform
from corpusreg.score.readers import read_file


def spans(found: Texture) -> list[tuple[int, int]]:
    return [(stay.first, stay.last) for stay in stays(found)]


def column(*values: float) -> np.ndarray:
    return np.array(values, float)[:, None]


# Segmentation (held against ruptures and against every possibility in test_properties)


def test_a_step_is_cut_when_it_costs_more_than_the_penalty() -> None:
    """Two bars at 0 and two at 4: one segment costs 4 times 2 squared, 16."""
    signal = column(0, 0, 4, 4)
    assert segment(signal, 15) == [2, 4]
    assert segment(signal, 17) == [4]


def test_of_equal_ways_the_longer_last_segment() -> None:
    """Cutting costs exactly what it saves."""
    assert segment(column(0, 0, 4, 4), 16) == [4]
    # 0 1 0 1: all bars alone cost 4, one segment costs 1 and a penalty of 1: less.
    assert segment(column(0, 1, 0, 1), 1) == [4]


def test_dimensions_add_up() -> None:
    signal = np.array([[0.0, 0.0], [0.0, 0.0], [4.0, 4.0], [4.0, 4.0]])
    assert segment(signal, 31) == [2, 4]
    assert segment(signal, 33) == [4]


@pytest.mark.parametrize(
    "once", [(3, 0, 3, 6, 3, 3), (3, 3, 0, 3, 6, 3), (3, 6, 3, 3, 3, 3, 0, 3)]
)
def test_equal_ways_are_cut_alike_wherever_they_stand(once: tuple[float, ...]) -> None:
    """Costs in thirds are equal on paper, and differ in their last bits in long sums."""
    size = len(once)
    ends = np.array(segment(column(*once * 30), 4.5))
    inside = {
        tuple(ends[(ends > a) & (ends <= a + size)] - a) for a in range(size, 28 * size, size)
    }
    assert len(inside) == 1


def test_one_bar_and_none() -> None:
    assert segment(column(60), PENALTY) == [1]
    assert segment(np.zeros((0, 5)), PENALTY) == []


# Stays


def test_two_registers_are_two_stays() -> None:
    found = chords(*[(60, 64)] * 5, *[(72, 76)] * 3)
    assert spans(found) == [(0, 5), (5, 8)]
    low, high = stays(found)
    assert (low.low, low.high, low.width, low.bars) == (60, 64, 4, 5)
    assert (high.low, high.high, high.bars) == (72, 76, 3)
    assert low.fullness == pytest.approx(2)


def test_one_bar_elsewhere_is_a_stay_of_its_own() -> None:
    assert spans(chords(*[(60, 64)] * 4, (79, 84), *[(60, 64)] * 4)) == [(0, 4), (4, 5), (5, 9)]


def test_a_cut_that_is_no_shift_is_merged_away() -> None:
    """A fourth up for four bars costs more than the penalty, and is no shift of a line."""
    found = line(*[(60,)] * 4, *[(65,)] * 4)
    assert segment(np.repeat([[60.0], [65.0]], 4, axis=0).repeat(5, axis=1), PENALTY) == [4, 8]
    assert spans(found) == [(0, 8)]
    assert spans(line(*[(60,)] * 4, *[(67,)] * 4)) == [(0, 4), (4, 8)]


def test_a_texture_that_opens_is_cut_when_it_saves_more_than_the_penalty_of_60() -> None:
    """The bass moves by 5 and the top by 4. Of 3 and 3 bars 41 x 1.5 = 61.5 is saved, of 2
    and 5 bars 41 x 10 / 7 = 58.6; no bar is a shift from the one before."""
    close, open_ = (57, 60, 64, 67), (52, 60, 64, 71)
    assert spans(chords(*[close] * 3, *[open_] * 3)) == [(0, 3), (3, 6)]
    assert spans(chords(*[close] * 2, *[open_] * 5)) == [(0, 7)]


def test_the_smallest_cut_goes_first() -> None:
    """C, F and B: the step C to F is no shift, and with it gone the step to B is one."""
    found = line(*[(60,)] * 4, *[(64,)] * 4, *[(70,)] * 4)
    assert spans(found) == [(0, 8), (8, 12)]


def test_of_equal_cuts_the_first_goes_first() -> None:
    """Two steps of a third. Joined with the long C, E is a fifth from G sharp; joined with
    G sharp it would be no fifth from C."""
    found = line(*[(60,)] * 6, *[(64,)] * 2, *[(68,)] * 4)
    assert spans(found) == [(0, 8), (8, 12)]


def test_cuts_that_equal_each_other_on_paper_are_equal_everywhere() -> None:
    """The same bars eight times over, in weights (.3 and .7) that are no round numbers."""
    steps = [(57, 3), (66, 3), (57, 2), (66, 2), (60, 3), (57, 1), (64, 2), (61, 3), (57, 1)]
    heights = [height for height, bars in steps for _ in range(bars)] * 8
    rows = [
        row
        for bar, height in enumerate(heights)
        for row in ((height, bar * BAR, 5, 0.3), (height + 3, bar * BAR + 5, 11, 0.7))
    ]
    found = cuts(weave(rows, 160))
    inside = {tuple(c - a for c in found if a < c <= a + 20) for a in range(20, 140, 20)}
    assert inside == {(3, 6, 8)}


def test_several_voices_within_an_octave_have_not_left_it() -> None:
    """C E against A C: 8.5 semitones, but all between C4 and C5."""
    assert spans(chords(*[(60, 64)] * 4, *[(69, 72)] * 4)) == [(0, 8)]
    # One semitone more in all is more than an octave.
    assert spans(chords(*[(60, 64)] * 4, *[(69, 73)] * 4)) == [(0, 4), (4, 8)]
    # A single line within an octave does leave its register.
    assert spans(line(*[(60,)] * 4, *[(69,)] * 4)) == [(0, 4), (4, 8)]


@pytest.mark.parametrize(("wider", "cut"), [(8, False), (9, True)])
def test_a_texture_that_opens_by_nine_semitones(wider: int, cut: bool) -> None:
    """Edges move by half of it each, and the middle stays: no shift, and yet elsewhere."""
    below, above = wider // 2, wider - wider // 2
    close, open_ = (57, 60, 64, 67), (57 - below, 60, 64, 67 + above)
    assert spans(chords(*[close] * 6, *[open_] * 6)) == (
        [(0, 6), (6, 12)] if cut else [(0, 12)]
    )


def test_a_climb_of_a_semitone_a_bar_is_not_one_stay() -> None:
    for found in (
        line(*[(48 + i,) for i in range(24)]),
        chords(*[(48 + i, 55 + i) for i in range(24)]),
    ):
        lengths = [b - a for a, b in spans(found)]
        assert sum(lengths) == 24
        assert 2 <= max(lengths) <= 12


def test_a_stay_ends_where_two_bars_have_drifted_from_it() -> None:
    """No step is a shift, and before and after differ by a third: but for two bars the
    line is a fifth away from where the stay has been so far."""
    found = line(*[(60,)] * 8, *[(64,)] * 2, *[(68,)] * 2, *[(64,)] * 8)
    assert spans(found) == [(0, 10), (10, 20)]
    # One bar is not enough.
    found = line(*[(60,)] * 8, (64,), (68,), *[(64,)] * 8)
    assert spans(found) == [(0, 18)]


def test_rocking_by_the_beat_is_one_stay_of_both_registers() -> None:
    found = line(*[(48, 72, 48, 72)] * 8)
    assert spans(found) == [(0, 8)]
    assert (stays(found)[0].low, stays(found)[0].high) == (48, 72)


# Silence


def test_a_silent_bar_belongs_to_the_stay_before_it() -> None:
    found = chords((60, 64), (60, 64), (), (), (84, 88), (84, 88), ())
    assert spans(found) == [(0, 4), (4, 7)]
    assert cuts(found) == [2, 4]  # in sounding bars
    assert [stay.fullness for stay in stays(found)] == pytest.approx([1, 4 / 3])


def test_silence_at_the_beginning_belongs_to_the_first_stay() -> None:
    assert spans(chords((), (), (60, 64), (60, 64))) == [(0, 4)]


def test_one_note_is_one_stay() -> None:
    (one,) = stays(weave([(60, 4, 4, 0.5)], 1))
    assert (one.first, one.last, one.low, one.high, one.width) == (0, 1, 60, 60, 0)
    assert one.fullness == pytest.approx(0.125)


# Twice


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("mozart/k155/movement1.mxl", None),
        ("haydn/opus74no1/movement3.mxl", None),
        ("haydn/opus1no1/movement5.mxl", 3),
    ],
)
def test_a_work_played_twice_is_cut_alike_both_times(name: str, part: int | None) -> None:
    """Quartets in which moves meet a threshold exactly, or cuts equal each other."""
    (path,) = (file.path for file in bundled() if file.relative == name)
    played = perform(read_file(path).scores[0])
    if part is not None:
        played = played.only(played.notes.part == part)
    twofold = twice(played)
    once = cuts(texture(played.notes, played.bars))
    both = cuts(texture(twofold.notes, twofold.bars))
    length = once[-1]
    # The last stay and the first one of the second time may join.
    assert [cut for cut in both if cut < once[-2]] == once[:-2]
    assert [cut - length for cut in both if cut - length > once[0]] == once[1:]


# Dwell


@pytest.mark.parametrize(
    ("lengths", "dwell"),
    [((10,), 10), ((5, 5), 5), ((9, 1), 8.2), ((1,) * 10, 1), ((4, 4, 8), 6)],
)
def test_expected_dwell(lengths: tuple[int, ...], dwell: float) -> None:
    """Nine bars and one: in nine of ten moments one is in a stay of nine."""
    assert expected_dwell(np.array(lengths, float)) == pytest.approx(dwell)
