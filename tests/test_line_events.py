"""Events of lines on notes laid out by hand: what is told, where, and what is not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from by_hand import BAR, BEAT, Row, bars_of, notes_of
from event_pieces import TICKS, parts_reversed, score, split_by_ties, variants
from validity.materials import pieces

from corpusreg.measures.analysis import line_events
from corpusreg.measures.events import Event
from corpusreg.score.notes import Bars, Part, Score
from corpusreg.score.pitch import parse_note
from corpusreg.score.played import Played, perform
from corpusreg.score.readers import read_scores


def played(rows: Sequence[Row], bars: int) -> Played:
    """The rows as a work of so many bars of 4/4."""
    parts = max(int(row[4]) if len(row) > 4 else 0 for row in rows) + 1
    return Played(
        ticks=BEAT,
        parts=tuple(Part(f"Part {number}") for number in range(parts)),
        bars=bars_of([BAR] * bars),
        notes=notes_of(rows),
        dynamics_known=False,
        pedal_known=False,
        tempo_known=False,
        assumed=(),
    )


def told(rows: Sequence[Row], bars: int, kind: str) -> list[Event]:
    """Events of one kind."""
    return [event for event in line_events(played(rows, bars)) if event.kind == kind]


def tune(pitches: Sequence[int], start: int = 0, lasts: int = BEAT, part: int = 0) -> list[Row]:
    """Notes of one length after each other; 0 is a rest."""
    return [
        (pitch, start + step * lasts, lasts, 1.0, part)
        for step, pitch in enumerate(pitches)
        if pitch
    ]


def held(pitch: int, first: int, bars: int, part: int = 1) -> list[Row]:
    """One note a bar."""
    return [(pitch, (first + bar) * BAR, BAR, 1.0, part) for bar in range(bars)]


SCALE = (60, 62, 64, 65, 67, 69, 71, 72)
SOUNDS = (72, 74, 76, 74)  # a bar of a tune that stays


# --- climbs -------------------------------------------------------------------------------


def test_a_scale_of_an_octave_is_a_climb() -> None:
    (event,) = told(tune(SCALE + (72,) * 8), 4, "climb")
    assert (event.first, event.bar, event.low, event.high) == (0, 1, 60, 72)
    assert (event.beat, event.distance, event.steps) == (4.0, 12.0, 7)
    assert event.pitches == SCALE


def test_the_same_downward_is_a_descent() -> None:
    (event,) = told(tune(SCALE[::-1] + (60,) * 8), 4, "descent")
    assert (event.bar, event.low, event.high, event.direction) == (1, 60, 72, "down")


@pytest.mark.parametrize(
    "pitches",
    [
        (60, 67, 72, 72) * 2,  # fourths and fifths: a chord
        (*SCALE[:-1], 71),  # a seventh
        (79, *SCALE),  # a third under what was there already
    ],
)
def test_no_climb(pitches: tuple[int, ...]) -> None:
    assert not told(tune(pitches + (60,) * 8), 5, "climb")


def test_a_rest_on_the_way_is_no_fall() -> None:
    bass = held(40, 0, 4)
    assert told([*tune((60, 62, 64, 0, 65, 67, 0, 69, 71, 72)), *bass], 4, "climb")


def test_a_climb_begins_on_its_lowest_note() -> None:
    """As in Bach, BWV 1013: the line turns inside its first beat."""
    first = [(65, 0, BEAT // 2), (64, BEAT // 2, BEAT // 2)]
    (event,) = told([*first, *tune((66, 68, 69, 71, 74, 77, 77), BEAT)], 2, "climb")
    assert (event.low, event.high, event.distance) == (64, 77, 13.0)


@pytest.mark.parametrize(
    "rows",
    [
        [*tune((48, 53, 55, 60)), *tune((62, 64, 65, 67, 69), BAR, BEAT, 1)],  # taken over
        tune((60, 62, 64, 65, 0, 0, 67, 69, 71, 72)),  # a phrase ends, another begins
        tune((60, 65, 59, 64, 60, 67, 62, 69, 64, 71, 65, 72)),  # leaps that get higher
    ],
)
def test_what_no_one_line_does_is_no_climb(rows: list[Row]) -> None:
    assert not told([*rows, *tune((60,) * 8, 4 * BAR)], 6, "climb")


# --- pedal points -------------------------------------------------------------------------

OVER = (72, 77, 74, 71, 69, 72, 74, 77)  # F, D minor, B: not one chord over C


def walk(first: int) -> list[Row]:
    """A bass that moves on in bars 5 to 8."""
    return tune((first, 50, 45, 43), 4 * BAR, BAR, 1)


def over_a_pedal(after: Sequence[Row]) -> list[Event]:
    rows = [*tune(OVER * 2), *held(48, 0, 4), *after]
    return told(rows, 8, "pedal_point")


def test_a_pedal_point_moves_off() -> None:
    (event,) = over_a_pedal([*tune(OVER * 2, 4 * BAR), *walk(46)])
    assert (event.first, event.last, event.bar, event.beat) == (0, 4, 4, 1.0)
    assert (event.pitches, event.place, event.ending) == ((48,), "bass", "moves off")
    assert (event.lasts, event.players) == (4.0, (1,))


@pytest.mark.parametrize("tonic", [53, 41])
def test_a_dominant_pedal_resolves(tonic: int) -> None:
    (event,) = over_a_pedal([*tune(OVER * 2, 4 * BAR), *walk(tonic)])
    assert event.ending == "resolves"


@pytest.mark.parametrize(("after", "count"), [(48, 0), (45, 1)])
def test_a_dominant_of_three_bars_that_resolves_is_no_pedal_point(
    after: int, count: int
) -> None:
    rows = [*tune(OVER * 2), *held(43, 0, 3), *held(after, 3, 5)]
    assert sum(event.low == 43 for event in told(rows, 8, "pedal_point")) == count


def test_a_pedal_point_stops_where_the_rest_goes_on_far_above() -> None:
    (event,) = over_a_pedal(tune(OVER * 2, 4 * BAR))
    assert (event.ending, event.bar) == ("stops", 4)


def test_a_pedal_point_to_the_end_ends_with_the_piece() -> None:
    (event,) = over_a_pedal([*tune(OVER * 2, 4 * BAR), *held(48, 4, 4)])
    assert (event.ending, event.first, event.last, event.bar) == ("with the piece", 0, 8, 0)


def test_one_chord_for_four_bars_is_no_pedal_point() -> None:
    rows = [*tune((72, 76, 79, 76) * 4), *held(48, 0, 4)]
    assert not told(rows, 4, "pedal_point")


def test_a_bass_that_comes_back_to_a_note_does_not_hold_it() -> None:
    """As in Tallis, If ye love me: a point of imitation in the bass."""
    bass = tune((48, 48, 53, 52, 48, 50, 48, 55) * 2, 0, 2 * BEAT, 1)
    rows = [*tune(OVER * 4), *bass, *held(46, 8, 2)]
    assert not [e for e in told(rows, 10, "pedal_point") if e.lasts < 5]


def test_octaves_of_a_pedal_are_one() -> None:
    rows = [*tune(OVER * 2), *held(48, 0, 4), *held(36, 0, 4, 2), *held(46, 4, 2)]
    (event,) = told([*rows, *tune(OVER, 4 * BAR)], 6, "pedal_point")
    assert event.pitches == (36, 48)
    assert event.players == (1, 2)


# --- high and low point, isolated moments ---------------------------------------------------


def test_high_point_with_its_way_and_earlier_peaks() -> None:
    rows = tune((72, 74, 76, 74, 79, 77, 76, 74, 76, 77, 79, 81, 79, 77, 76, 74))
    (event,) = told(rows, 4, "high_point")
    assert (event.bar, event.beat, event.pitches) == (2, 4.0, (81,))
    assert (event.approach, event.distance) == ("step", 2.0)
    assert (event.times, event.bars) == (1, ())  # G5 in bar 1 was a tone lower


def test_low_point_by_leap_and_where_it_comes_again() -> None:
    rows = tune((72, 60, 76, 74, *SOUNDS, 72, 60, 74, 76))
    (event,) = told(rows, 3, "low_point")
    assert (event.bar, event.beat, event.approach, event.bars) == (0, 2.0, "leap", (2,))


def test_a_moment_far_below_everything_is_isolated() -> None:
    rows = [*tune(SOUNDS * 10), (36, 5 * BAR, BEAT, 1.0, 1)]
    (event,) = told(rows, 10, "isolated")
    assert (event.bar, event.pitches, event.distance, event.place) == (5, (36,), 36.0, "bass")


@pytest.mark.parametrize("more", [[(36, 6 * BAR, BEAT, 1.0, 1)], [(60, 4 * BAR, BEAT, 1.0, 1)]])
def test_company_near_by_makes_it_no_isolated_moment(more: list[Row]) -> None:
    rows = [*tune(SOUNDS * 10), (36, 5 * BAR, BEAT, 1.0, 1), *more]
    found = told(rows, 10, "isolated")
    assert not [event for event in found if event.distance > 24]


# --- in octaves ---------------------------------------------------------------------------


def test_two_hands_in_bare_octaves_are_one_line() -> None:
    right = SCALE[::-1] + SCALE
    rows = [*tune(right), *tune([pitch - 12 for pitch in right], part=1)]
    (event,) = told(rows, 4, "in_octaves")
    assert (event.first, event.last, event.lasts) == (0, 4, 4.0)
    assert (event.low, event.high, event.interval, event.by) == (48, 72, 12, "alone")
    assert event.players == (0, 1)


def test_a_tune_doubled_over_chords_is_in_octaves() -> None:
    melody = (76, 77, 79, 81, 79, 77, 76, 74)
    rows = [*tune(melody), *tune([pitch - 12 for pitch in melody], part=1)]
    rows += [(pitch, bar * BAR, BAR, 1.0, 2) for bar in range(2) for pitch in (41, 45, 48)]
    (event,) = told(rows, 2, "in_octaves")
    assert (event.low, event.high, event.place, event.by) == (62, 81, "top", "")


def test_octaves_now_here_and_now_there_are_no_line_in_octaves() -> None:
    top = (72, 74, 76, 77, 79, 77, 76, 74)
    below = [pitch - (12 if step % 2 else 24) for step, pitch in enumerate(top)]
    for under, count in ((below, 0), ([pitch - 12 for pitch in top], 1)):
        rows = [*tune(top), *tune(under, part=1), *tune((64, 65) * 4, part=2)]
        assert len(told(rows, 2, "in_octaves")) == count


def test_chords_with_the_octave_on_top_now_and_then_are_not() -> None:
    chords = ((48, 64, 67, 76), (50, 65, 69, 77), (52, 67, 72, 79), (53, 72, 77, 81))
    rows = [
        (pitch, beat * BEAT, BEAT, 1.0, 0)
        for beat, chord in enumerate(chords * 2)
        for pitch in chord
    ]
    assert not told(rows, 2, "in_octaves")


# --- voices -------------------------------------------------------------------------------

SUBJECT = (60, 62, 64, 65, 67, 64, 62, 60)  # two bars
ANSWER = (67, 69, 71, 72, 74, 71, 69, 67)


def test_a_voice_that_answers_is_an_entry_that_imitates() -> None:
    rows = [*tune(SUBJECT + SUBJECT[::-1], part=0), *tune(ANSWER, 2 * BAR, part=1)]
    (event,) = told(rows, 4, "voice_entry")
    assert (event.bar, event.beat, event.players) == (2, 1.0, (1,))
    assert (event.silence, event.since, event.again) == (2.0, None, 0)
    assert (event.theme, event.interval, event.place) == (True, 7, "top")


def test_a_tonal_answer_and_another_octave_are_imitations_too() -> None:
    tonal = (67, 70, *(pitch + 5 for pitch in SUBJECT[2:]))
    rows = [*tune(SUBJECT * 2), *tune([pitch - 12 for pitch in tonal], 2 * BAR, part=1)]
    (event,) = told(rows, 4, "voice_entry")
    assert (event.theme, event.interval) == (True, -5)


def test_a_player_who_comes_in_with_something_else_enters_without_a_theme() -> None:
    rows = [*tune(SUBJECT * 2), *tune((48, 43) * 2, 2 * BAR, 2 * BEAT, 1)]
    (event,) = told(rows, 4, "voice_entry")
    assert (event.theme, event.again, event.place, event.distance) == (
        False,
        None,
        "bass",
        12.0,
    )


def test_players_who_come_in_together_are_one_entry() -> None:
    chords = [
        row for part, pitch in ((1, 55), (2, 52), (3, 48)) for row in held(pitch, 2, 2, part)
    ]
    (event,) = told([*tune(SUBJECT * 2), *chords], 4, "voice_entry")
    assert (event.players, event.pitches) == ((1, 2, 3), (48, 52, 55))


@pytest.mark.parametrize("rest", [0, 1])
def test_a_bar_of_rest_is_no_silence(rest: int) -> None:
    rows = [*tune(SUBJECT * 2), *held(48, 0, 1), *held(43, 1 + rest, 2)]
    assert not told(rows, 4, "voice_entry")


def test_a_voice_enters_over_others_not_after_general_silence() -> None:
    rows = [*tune(SUBJECT), *held(48, 0, 2), *held(48, 5, 2), *tune(SUBJECT, 5 * BAR)]
    assert not told(rows, 7, "voice_entry")


@pytest.mark.parametrize(("high", "low"), [(0, 1), (1, 0)])
def test_the_lower_player_above_the_higher_one_crosses(high: int, low: int) -> None:
    rows = [*held(60, 0, 2, high), *held(55, 2, 2, high), *held(60, 4, 2, high)]
    rows += [*held(52, 0, 2, low), *held(64, 2, 2, low), *held(52, 4, 2, low)]
    (event,) = told(rows, 6, "crossing")
    assert (event.first, event.last, event.lasts, event.by) == (2, 4, 2.0, "players")
    assert event.pitches == (55, 64)


def test_a_unison_is_no_crossing() -> None:
    rows = [*held(60, 0, 4, 0), *held(60, 0, 4, 1)]
    assert not told(rows, 4, "crossing")


# --- returns and dialogues ------------------------------------------------------------------

TURN = (60, 64, 62, 67, 65, 69, 64, 60)


def test_a_tune_comes_back_an_octave_higher() -> None:
    rows = tune(TURN + (55, 53, 55, 57) * 2 + tuple(pitch + 12 for pitch in TURN))
    (event,) = told(rows, 6, "octave_return")
    assert (event.first, event.last, event.again) == (4, 6, 0)
    assert (event.interval, event.direction, event.low, event.high) == (12, "up", 72, 81)


@pytest.mark.parametrize("moved", [0, 7])
def test_the_same_place_and_another_degree_are_no_return(moved: int) -> None:
    rows = tune(TURN + (55, 53, 55, 57) * 2 + tuple(pitch + moved for pitch in TURN))
    assert not told(rows, 6, "octave_return")


def test_a_tune_that_stays_and_is_doubled_does_not_return_in_another_octave() -> None:
    again = tune(TURN + tuple(pitch - 12 for pitch in TURN), 4 * BAR)
    rows = [*tune(TURN + (55, 53, 55, 57) * 2), *again[:8]]
    rows += [(row[0] + 12, *row[1:4], 1.0) for row in again[:8]]
    assert not told(rows, 6, "octave_return")


def test_two_places_that_take_turns_are_one_dialogue() -> None:
    low, high = (40, 43, 45, 43), (76, 79, 81, 79)
    (event,) = told(tune((low + high) * 3), 6, "dialogue")
    assert (event.first, event.last, event.times, event.low, event.high) == (0, 6, 6, 40, 81)


def test_three_turns_are_no_dialogue() -> None:
    low, high = (40, 43, 45, 43), (76, 79, 81, 79)
    assert not told(tune(low + high + low), 3, "dialogue")


# --- wedges -------------------------------------------------------------------------------


def test_lines_that_part_step_by_step_are_a_wedge() -> None:
    rows = [*tune(SCALE, lasts=BAR // 4), *tune((55, 53, 52, 50, 48, 47, 45, 43), part=1)]
    (event,) = told([*rows, *held(72, 2, 2, 0), *held(43, 2, 2)], 4, "wedge")
    assert (event.first, event.bar, event.direction) == (0, 1, "opening")
    assert (event.low, event.high, event.distance) == (43, 72, 24.0)


def test_one_line_that_moves_over_a_bass_that_stays_is_no_wedge() -> None:
    assert not told([*tune(SCALE), *held(43, 0, 4), *held(72, 2, 2, 0)], 4, "wedge")


# --- laws, on real and on made pieces -------------------------------------------------------


def facts(work: Played, moved: int = 0) -> list[tuple[object, ...]]:
    """What the events say, without the numbers of the parts."""
    return sorted(
        (
            event.kind,
            event.first,
            event.last,
            event.bar,
            event.beat,
            tuple(pitch - moved for pitch in event.pitches),
            event.low - moved,
            event.high - moved,
            round(event.strength, 6),
            event.direction,
            event.place,
            event.ending,
            -1 if event.interval is None else event.interval,
            -1 if event.again is None else event.again,
            event.times,
            event.bars,
        )
        for event in line_events(work)
    )


@pytest.fixture(scope="module")
def made() -> list[Score]:
    """Made pieces with drones and gaps."""
    rows = [rows for name, rows, _ in variants() if "drone" in name or "clear" in name]
    return [score(own) for own in rows[::9]]


@pytest.fixture(scope="module")
def works(made: list[Score]) -> list[Score]:
    """The made pieces, and a bundled work of each of three media."""
    chosen = [pieces(kind, 1, 3, None) for kind in ("piano", "quartet", "song")]
    return [*(own[0].score for own in chosen if own), *made]


def test_transposing_moves_the_notes_of_events_and_nothing_else(works: list[Score]) -> None:
    for work in works:
        heard = perform(work)
        for moved in (-5, 3):
            notes = replace(heard.notes, pitch=heard.notes.pitch + moved)
            assert facts(replace(heard, notes=notes), moved) == facts(heard)


def test_the_order_of_parts_changes_nothing(works: list[Score]) -> None:
    for work in works:
        assert facts(perform(parts_reversed(work))) == facts(perform(work))


def test_ties_change_nothing(made: list[Score]) -> None:
    for work in made:
        assert facts(perform(split_by_ties(work))) == facts(perform(work))


def test_dots_and_halved_values_change_nothing(works: list[Score]) -> None:
    for work in works:
        notes = work.notes.copy()
        notes["staccato"] = True
        assert facts(perform(replace(work, notes=notes))) == facts(perform(work))
        assert facts(perform(replace(work, ticks=2 * work.ticks))) == facts(perform(work))


def test_a_repeat_sign_equals_the_music_written_out(made: list[Score]) -> None:
    work = made[0]
    count = len(work.bars)
    ends = np.zeros(count, np.int64)
    ends[-1] = 2
    repeated = replace(work, bars=replace(work.bars, repeat_end=ends))
    again = work.notes.copy()
    again["bar"] += count
    again["onset"] += int(work.bars.length.sum())
    labels = [str(bar + 1) for bar in range(2 * count)]
    twice = [int(length) for length in work.bars.length] * 2
    written = replace(
        work,
        notes=np.concatenate((work.notes, again)),
        bars=Bars.plain(labels, twice, twice, [TICKS] * (2 * count)),
    )
    assert facts(perform(repeated)) == facts(perform(written))


def test_what_is_said_of_notes_is_true_of_them(works: list[Score]) -> None:
    for work in works:
        heard = perform(work)
        notes = heard.notes
        for event in line_events(heard):
            inside = (notes.bar < event.last) & (
                notes.onset + notes.written > heard.bars.start[event.first]
            )
            assert set(event.pitches) <= set(notes.pitch[inside].tolist()), event
            if event.kind == "high_point":
                assert event.high == notes.pitch.max()
                assert not (notes.pitch[notes.bar < event.bar] == event.high).any()
            if event.kind == "pedal_point":
                for bar in range(event.first, event.last):
                    begin = heard.bars.start[bar]
                    there = (notes.onset < begin + heard.bars.length[bar]) & (
                        notes.onset + notes.written > begin
                    )
                    assert event.low in notes.pitch[there], (event, bar)


# --- what a teacher hears in the demo pieces --------------------------------------------------

DEMO = Path(__file__).parents[1] / "demo" / "pieces"


@pytest.mark.parametrize(
    ("file", "kind", "bar", "low", "high"),
    [
        ("after-the-rain.mxl", "in_octaves", "17", "E4", "E6"),
        ("after-the-rain.mxl", "high_point", "22", "E6", "E6"),
        ("after-the-rain.mxl", "climb", "22", "E5", "E6"),
        ("attic-and-cellar.krn", "high_point", "10", "E7", "E7"),
        ("field-path.abc", "climb", "6", "D5", "D6"),
        ("field-path.abc", "pedal_point", "14", "G3", "G3"),
        ("field-path.abc", "voice_entry", "21", "Bb3", "Bb3"),
        ("stairs.musicxml", "dialogue", "13", "D2", "D7"),
        ("stairs.musicxml", "octave_return", "25", "D2", "D5"),
        ("stairs.musicxml", "low_point", "32", "D1", "D1"),
        ("two-shores.mid", "descent", "14", "B4", "C#6"),
        ("waiting-for-the-bus.musicxml", "climb", "15", "G4", "G5"),
        ("waiting-for-the-bus.musicxml", "voice_entry", "17", "G2", "G2"),
    ],
)
def test_demo_pieces_do_what_they_were_written_for(
    file: str, kind: str, bar: str, low: str, high: str
) -> None:
    work = perform(read_scores(DEMO / file)[0])
    found = {
        (work.bars.labels[event.bar], event.low, event.high)
        for event in line_events(work)
        if event.kind == kind
    }
    assert (bar, parse_note(low), parse_note(high)) in found


def test_nothing_happens_in_the_kitchen() -> None:
    """Rocking chords under a short tune, bar after bar: two points, and nothing else."""
    work = perform(read_scores(DEMO / "kitchen-window.musicxml")[0])
    assert {event.kind for event in line_events(work)} == {"high_point", "low_point"}
