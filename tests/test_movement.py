"""Movement at its scales, in semitones that can be counted on a keyboard."""

from __future__ import annotations

import pytest
from by_hand import bars_of, chords, line, notes_of, weave

from corpusreg.measures.movement import between_bars, between_beats, between_phrases, travel
from corpusreg.measures.texture import texture


def test_bars_move_as_far_as_their_notes() -> None:
    found = chords((60,), (67,), (55,), (55,))
    assert between_bars(found).tolist() == pytest.approx([7, 12, 0])


def test_one_voice_of_two_moves_half_the_weight() -> None:
    assert between_bars(chords((48, 60), (48, 72))).tolist() == pytest.approx([6])
    # Crossing voices move nothing: the same pitches sound.
    assert between_bars(chords((48, 60), (60, 48))).tolist() == pytest.approx([0])


def test_the_shortest_way_is_counted() -> None:
    """From C4 E4 to E4 G4: C goes to E and E to G, 4 and 3, half of the weight each."""
    assert between_bars(chords((60, 64), (64, 67))).tolist() == pytest.approx([3.5])


def test_loudness_and_length_alone_are_no_movement() -> None:
    rows = [(60, 0, 16, 1.0), (64, 0, 16, 1.0), (60, 16, 4, 0.1), (64, 24, 4, 0.1)]
    assert between_bars(weave(rows, 2)).tolist() == pytest.approx([0])


def test_silence_is_stepped_over() -> None:
    found = chords((), (60,), (), (), (65,), ())
    assert between_bars(found).tolist() == pytest.approx([5])
    beats = weave([(60, 0, 4), (62, 12, 4), (60, 20, 4)], 2)
    assert between_beats(beats).tolist() == pytest.approx([2, 2])


def test_beats() -> None:
    found = line((60, 62, 64, 60))
    assert between_beats(found).tolist() == pytest.approx([2, 2, 4])
    # Two quavers in a beat are one window: C D against E F is 4.
    quavers = line((60, 62, 64, 66, 64, 66, 64, 66))
    assert between_beats(quavers).tolist() == pytest.approx([4, 0, 0])


def test_soft_or_full_beats_move_as_far_as_loud_or_single_ones() -> None:
    rows = [(60, 0, 4, 0.3), (64, 0, 4, 0.3), (67, 4, 4), (71, 4, 4), (67, 8, 2), (71, 8, 2)]
    found = weave(rows, 1)
    assert between_beats(found).tolist() == pytest.approx([7, 0])
    assert travel(found) == pytest.approx(3.5)


def test_travel_is_the_way_inside_the_bar() -> None:
    """8 in three steps of the first bar, 0 in three of the second; the barline counts not."""
    assert travel(line((60, 62, 64, 60), (90, 90, 90, 90))) == pytest.approx(8 / 6)
    # An arpeggio over four octaves in every bar is mobile inside and settled outside.
    arpeggio = line(*[(36, 48, 60, 72)] * 4)
    assert travel(arpeggio) == pytest.approx(12)
    assert between_bars(arpeggio).tolist() == pytest.approx([0, 0, 0])


def test_travel_counts_only_beats_that_sound() -> None:
    found = line((60, 64, 60, 64), (60,))
    rows = [(60, 0, 4), (64, 4, 4), (60, 8, 4), (64, 12, 4), (60, 48, 16)]
    assert travel(weave(rows, 4)) == pytest.approx(travel(found)) == pytest.approx(2)


def test_travel_over_a_rest_inside_the_bar() -> None:
    assert travel(weave([(60, 0, 4), (67, 12, 4)], 1)) == pytest.approx(7)


def test_a_short_bar_weighs_like_a_long_one() -> None:
    notes = notes_of([(60, 0, 4), (67, 4, 16), (60, 20, 8)])
    found = texture(notes, bars_of([4, 16, 8]))
    assert between_bars(found).tolist() == pytest.approx([7, 7])


# Phrases


def test_phrases_need_eight_bars() -> None:
    assert between_phrases(chords(*[(60,)] * 7)).tolist() == []
    assert between_phrases(chords(*[(60,)] * 8)).tolist() == pytest.approx([0])


def test_phrases_meet_at_every_barline() -> None:
    """After four bars C5 for C4 throughout; a bar later a quarter is C5 already."""
    found = chords(*[(60,)] * 4, *[(72,)] * 5)
    assert between_phrases(found).tolist() == pytest.approx([12, 9])


def test_what_alternates_by_the_bar_is_settled_by_the_phrase() -> None:
    found = chords(*[(60,), (72,)] * 6)
    assert between_bars(found).tolist() == pytest.approx([12] * 11)
    assert between_phrases(found).tolist() == pytest.approx([0] * 5)


def test_a_phrase_of_silence_is_compared_with_nothing() -> None:
    rest = [()] * 4
    found = between_phrases(chords(*[(60,)] * 5, *rest, *[(72,)] * 5))
    # The barlines after bars 4 to 10. At 4: C4 before, C4 after. At 5: silence after.
    # At 6 to 8 both sides sound: C4 before and C5 after. At 9: silence before. At 10: C5.
    assert found.tolist() == pytest.approx([0, 12, 12, 12, 0])


def test_half_silent_phrases_keep_their_place() -> None:
    found = chords((60,), (), (), (), (), (67,), (), ())
    assert between_phrases(found).tolist() == pytest.approx([7])


def test_one_sound_is_no_movement() -> None:
    one = weave([(60, 0, 4)], 1)
    for scale in (between_beats, between_bars, between_phrases):
        assert scale(one).tolist() == []
    assert travel(one) == 0
