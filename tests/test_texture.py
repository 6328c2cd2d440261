"""Weights of pitches, worked out by hand: unions, doublings, short bars, quantiles."""

from __future__ import annotations

import numpy as np
import pytest
from by_hand import BAR, bars_of, chords, line, notes_of, weave

from corpusreg.measures import space
from corpusreg.measures.texture import (
    PITCHES,
    beat_weights,
    quantiles,
    texture,
)


def pitches(weights: np.ndarray) -> dict[int, float]:
    """Weight by pitch, without the silent ones."""
    return {int(p): round(float(weights[p]), 9) for p in np.flatnonzero(weights)}


# Weight


def test_weight_is_the_share_that_sounds_times_loudness() -> None:
    """A quarter of a bar of 4/4 fills its beat and a quarter of the bar."""
    found = weave([(60, 4, 4, 0.5), (67, 6, 4, 1.0)], 1)
    assert [pitches(beat) for beat in found.beats] == [{}, {60: 0.5, 67: 0.5}, {67: 0.5}, {}]
    assert pitches(found.bars[0]) == {60: 0.125, 67: 0.25}
    assert pitches(found.total) == {60: 2.0, 67: 4.0}


def test_a_note_over_the_barline_weighs_in_both_bars() -> None:
    found = weave([(60, 12, 12)], 2)
    assert [pitches(bar) for bar in found.bars] == [{60: 0.25}, {60: 0.5}]


def test_two_players_on_one_pitch_count_once() -> None:
    one = weave([(60, 0, 8)], 1)
    two = weave([(60, 0, 8), (60, 0, 8, 1.0, 1)], 1)
    assert pitches(one.bars[0]) == pitches(two.bars[0]) == {60: 0.5}
    assert (two.most_together, two.voices) == (1, 1.0)
    assert two.single_line


@pytest.mark.parametrize("order", [1, -1])
def test_of_doublings_the_louder_counts_while_it_sounds(order: int) -> None:
    """Soft for a bar, loud in its second beat: 12 ticks at .25 and 4 at 1."""
    rows = [(60, 0, 16, 0.25), (60, 4, 4, 1.0)][::order]
    found = weave(rows, 1)
    assert [pitches(beat).get(60) for beat in found.beats] == [0.25, 1.0, 0.25, 0.25]
    assert pitches(found.bars[0]) == {60: (12 * 0.25 + 4) / 16}
    assert found.voices == 1.0


def test_doublings_that_overlap_by_a_part() -> None:
    """0-8 soft, 4-12 loud: soft for four ticks, loud for eight."""
    found = weave([(60, 0, 8, 0.5), (60, 4, 8, 1.0)], 1)
    assert pitches(found.total) == {60: 4 * 0.5 + 8}


def test_a_note_struck_again_while_it_sounds() -> None:
    """Four overlapping strokes are one sound of sixteen ticks, not of twenty-eight."""
    found = weave([(60, tick, 7) for tick in (0, 3, 6, 9)], 1)
    assert pitches(found.total) == {60: 16}
    assert found.most_together == 1


def test_a_pitch_held_under_repetitions_of_itself() -> None:
    """The long one ends last: the gap between the short ones is no gap."""
    found = weave([(60, 0, 16), (60, 0, 2), (60, 8, 2)], 1)
    assert pitches(found.total) == {60: 16}


def test_notes_that_touch_are_two_sounds_of_their_own_loudness() -> None:
    found = weave([(60, 0, 8, 0.5), (60, 8, 8, 1.0)], 1)
    assert [pitches(beat)[60] for beat in found.beats] == [0.5, 0.5, 1.0, 1.0]


def test_neighbouring_pitches_keep_apart() -> None:
    """The end of a low note and the beginning of a high one are not mixed up."""
    found = weave([(0, 0, 16), (1, 0, 1), (127, 15, 1)], 1)
    assert pitches(found.total) == {0: 16, 1: 1, 127: 1}


# Slices


def test_the_last_beat_of_a_short_bar_is_as_long_as_it_is() -> None:
    """An upbeat of six ticks: a beat of four and one of two, both filled."""
    bars = bars_of([6, 16])
    edges, beat_bar = bars.beats
    assert edges.tolist() == [0, 4, 6, 10, 14, 18, 22]
    assert beat_bar.tolist() == [0, 0, 1, 1, 1, 1]
    found = texture(notes_of([(60, 0, 6), (60, 6, 4)]), bars)
    assert found.beats[:, 60].tolist() == pytest.approx([1, 1, 1, 0, 0, 0])
    assert found.bars[:, 60].tolist() == pytest.approx([1, 0.25])


def test_a_bar_shorter_than_its_beat_is_one_beat() -> None:
    edges, beat_bar = bars_of([3, 16]).beats
    assert edges.tolist() == [0, 3, 7, 11, 15, 19]
    assert beat_bar.tolist() == [0, 1, 1, 1, 1]


def test_a_bar_without_length_has_no_beat_and_no_weight() -> None:
    bars = bars_of([16, 0, 16])
    edges, beat_bar = bars.beats
    assert beat_bar.tolist() == [0] * 4 + [2] * 4
    found = texture(notes_of([(60, 0, 32)]), bars)
    assert found.bars[:, 60].tolist() == pytest.approx([1, 0, 1])
    assert len(edges) == 9


def test_what_sounds_on_after_the_last_bar_has_no_slice() -> None:
    found = weave([(60, 12, 40)], 1)
    assert pitches(found.bars[0]) == {60: 0.25}


def test_beats_alone_are_the_beats_of_the_texture() -> None:
    notes, bars = notes_of([(60, 1, 9, 0.5), (64, 3, 30), (60, 5, 2)]), bars_of([16, 6, 16])
    assert beat_weights(notes, bars) == pytest.approx(texture(notes, bars).beats)


def test_silent_bars_have_no_profile() -> None:
    found = chords((), (60, 72), (), (64,))
    assert found.sounding.tolist() == [1, 3]
    assert found.profiles.shape == (2, PITCHES)
    assert pitches(found.profiles[0]) == {60: 0.5, 72: 0.5}
    assert found.cumulated[:, -1].tolist() == pytest.approx([1, 1])


# Voices


def test_most_together_and_voices() -> None:
    """Three pitches for a beat, one for three: 6 in 4."""
    found = weave([(60, 0, 16), (64, 0, 4), (67, 0, 4)], 1)
    assert (found.most_together, found.voices) == (3, 1.5)
    assert not found.single_line


def test_silence_is_not_counted_among_the_voices() -> None:
    found = weave([(60, 0, 4), (72, 28, 4)], 2)
    assert found.voices == 1.0


def test_notes_that_touch_do_not_sound_together() -> None:
    found = line((60, 62, 64, 65), (67, 65, 64, 62))
    assert found.single_line
    assert found.voices == 1.0


def test_a_thousandth_of_overlap_is_none() -> None:
    """A played line whose notes overlap for one tick in 1008 is still a single line."""
    rows = [(60, 0, 17), (62, 16, 16), *((60 + b % 2, b * BAR, BAR) for b in range(2, 63))]
    assert weave(rows, 63).single_line  # 1 tick in 1008
    rows = [(60, 0, 18), *rows[1:]]
    assert not weave(rows, 63).single_line  # 2 ticks in 1008


# Quantiles


def cumulated(**weights: float) -> np.ndarray:
    """Summed profile of weights named p60, p64, …"""
    profile = np.zeros(PITCHES)
    for name, weight in weights.items():
        profile[int(name[1:])] = weight
    return np.cumsum(profile / profile.sum())[None]


@pytest.mark.parametrize(
    ("share", "pitch"),
    [(0.0, 0), (0.25, 60), (0.2500001, 64), (0.5, 64), (0.51, 67), (0.75, 67), (0.76, 72),
     (1.0, 72)],
)  # fmt: skip
def test_a_share_met_exactly_is_reached(share: float, pitch: int) -> None:
    found = quantiles(cumulated(p60=1, p64=1, p67=1, p72=1), (share,))
    assert found.tolist() == [[pitch]]


def test_rounding_does_not_decide_at_exact_shares() -> None:
    """Ten tenths add up to less than one, and three of them to more than .3."""
    ten = cumulated(**{f"p{60 + i}": 0.1 for i in range(10)})
    shares = tuple(i / 10 for i in range(1, 11))
    assert quantiles(ten, shares).tolist() == [list(range(60, 70))]


def test_edges_leave_a_passing_note_out() -> None:
    """Two ticks in fifty are less than a twentieth, three in fifty-one are more."""
    found = chords((60, 64, 67)).total.copy()
    found[90] = 2.0  # ticks, of 50
    assert space.core(found) == (60, 67)
    found[90] = 3.0
    assert space.core(found) == (60, 90)


# Space


def test_octaves_in_use_counts_octaves_that_share_the_weight() -> None:
    assert space.octaves_in_use(chords((60, 64, 71)).total) == pytest.approx(1)
    assert space.octaves_in_use(chords((48, 60)).total) == pytest.approx(2)
    assert space.octaves_in_use(chords((36, 48, 60, 72)).total) == pytest.approx(4)
    # Three quarters and one quarter: exp of .5623 = 1.7548.
    assert space.octaves_in_use(chords((60, 64, 67, 72)).total) == pytest.approx(
        1.7548, abs=1e-4
    )


def test_bands_go_from_c_to_b() -> None:
    shares = space.band_shares(chords((0, 59, 60, 71, 72, 127)).total)
    assert shares.tolist() == pytest.approx(
        [1 / 6, 0, 0, 0, 1 / 6, 1 / 3, 1 / 6, 0, 0, 0, 1 / 6]
    )
