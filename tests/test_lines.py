"""Pitches, steps and spacing of parts, counted by hand."""

from __future__ import annotations

import pytest
from by_hand import notes_of

from corpusreg.measures.lines import bass_gaps, part_gaps, part_pitches, skips, steps

# (pitch, onset, duration, loudness, part)
DUET = notes_of([
    (72, 0, 4, 1, 0), (74, 4, 4, 1, 0), (72, 8, 8, 1, 0),
    (60, 0, 8, 1, 1), (53, 8, 8, 1, 1),
])  # fmt: skip


def test_pitches_are_counted_by_part() -> None:
    assert part_pitches(DUET) == [(0, 72, 2), (0, 74, 1), (1, 53, 1), (1, 60, 1)]


def test_steps_are_signed_and_counted_by_part() -> None:
    assert steps(DUET) == [(0, -2, 1), (0, 2, 1), (1, -7, 1)]


def test_the_line_of_chords_is_their_top() -> None:
    found = notes_of([(60, 0, 4), (67, 0, 4), (64, 4, 4), (59, 4, 4), (64, 8, 4)])
    assert steps(found) == [(0, -3, 1), (0, 0, 1)]


def test_a_rest_does_not_break_the_line() -> None:
    assert steps(notes_of([(60, 0, 4), (65, 40, 4)])) == [(0, 5, 1)]


def test_one_note_has_no_step() -> None:
    assert steps(notes_of([(60, 0, 4)])) == []
    assert steps(notes_of([(60, 0, 4), (72, 4, 4, 1, 1)])) == []


def test_gaps_between_parts_at_every_onset() -> None:
    """At 0: 12, at 4: 14, at 8: 19. Two of the three are over an octave."""
    ((upper, lower, onsets, mean, over),) = part_gaps(DUET, 2)
    assert (upper, lower, onsets) == (0, 1, 3)
    assert mean == pytest.approx(15)
    assert over == pytest.approx(2 / 3)


def test_crossing_parts_have_a_negative_gap() -> None:
    found = notes_of([(60, 0, 4, 1, 0), (64, 0, 4, 1, 1)])
    assert part_gaps(found, 2) == [(0, 1, 1, -4.0, 0.0)]


def test_gaps_go_from_chord_to_chord() -> None:
    """From the top of the lower hand to the bottom of the upper one."""
    found = notes_of([(72, 0, 4), (76, 0, 4), (48, 0, 4, 1, 1), (55, 0, 4, 1, 1)])
    assert part_gaps(found, 2) == [(0, 1, 1, 17.0, 1.0)]


@pytest.mark.parametrize(("gap", "over"), [(12, 0.0), (13, 1.0)])
def test_over_an_octave_is_more_than_an_octave(gap: int, over: float) -> None:
    found = notes_of([(60 + gap, 0, 4), (60, 0, 4, 1, 1)])
    assert part_gaps(found, 2) == [(0, 1, 1, float(gap), over)]


def test_onsets_at_which_a_part_rests_do_not_count() -> None:
    found = notes_of([(72, 0, 4), (72, 8, 4), (60, 0, 4, 1, 1), (55, 4, 4, 1, 1)])
    assert part_gaps(found, 2) == [(0, 1, 1, 12.0, 0.0)]
    # A part in between that never plays has no gaps, and none is made across it.
    silent = notes_of([(72, 0, 4), (60, 0, 4, 1, 2)])
    assert part_gaps(silent, 3) == []


def test_a_note_that_ends_at_an_onset_is_over() -> None:
    found = notes_of([(60, 0, 8), (67, 0, 4), (72, 4, 4)])
    assert bass_gaps(found) == [(60, 7, 1), (60, 12, 1)]


def test_bass_gaps_by_bass() -> None:
    found = notes_of([
        (48, 0, 4), (60, 0, 4), (64, 0, 4),  # 12 above C3
        (48, 4, 4), (52, 4, 4),  # 4 above C3
        (43, 8, 4), (50, 8, 4),  # 7 above G2
        (43, 12, 4),  # alone
    ])  # fmt: skip
    assert bass_gaps(found) == [(43, 7, 1), (48, 4, 1), (48, 12, 1)]


def test_two_players_on_the_lowest_pitch_are_one_bass() -> None:
    found = notes_of([(48, 0, 4), (48, 0, 4, 1, 1), (55, 0, 4, 1, 1)])
    assert bass_gaps(found) == [(48, 7, 1)]


def test_a_single_line_has_no_bass_gaps() -> None:
    assert bass_gaps(notes_of([(48, 0, 4), (55, 4, 4)])) == []


def test_what_follows_a_skip_by_where_it_lands() -> None:
    """Median 65. Up to 70 away, then down; down to 59 across, then up; up to 65 on it, on
    to 77 away, then the same note, then down to 70 toward it, and on to 60."""
    line = [65, 70, 59, 65, 77, 77, 70, 60, 60, 65, 65]
    found = skips(notes_of([(pitch, 4 * at, 4) for at, pitch in enumerate(line)]))
    assert found == [
        (0, "away", 1, 0, 1),
        (0, "across", 1, 0, 1),
        (0, "on", 0, 1, 1),
        (0, "toward", 0, 1, 0),
    ]
    assert skips(notes_of([(60, 0, 4), (62, 4, 4), (60, 8, 4)])) == []
