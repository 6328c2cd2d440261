"""Events that stand on silence, gaps and clear shifts: what is told, and that it is true."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from by_hand import BAR as HAND_BAR
from by_hand import bars_of, notes_of
from event_pieces import BAR, TICKS, Row, line, parts_reversed, score, split_by_ties, textures

from corpusreg.measures.analysis import Analysis, analyse, new_level
from corpusreg.measures.events import KINDS, Event, final_bar, ranked
from corpusreg.measures.gaps import gaps
from corpusreg.measures.ground import ground, lasting
from corpusreg.measures.silence import _between
from corpusreg.score.notes import Dynamic, Part, Score
from corpusreg.score.played import Played, perform
from corpusreg.score.readers import read_file

PIECES = Path(__file__).parents[1] / "demo" / "pieces"
UPPER = (*line(0, (75, 77, 79, 80)), *line(1, (63, 65, 67, 68)))
BASS = line(2, (40, 42, 43, 45))
OUTER = ("withheld_bass", "withheld_top")


def found(rows: tuple[Row, ...]) -> tuple[Event, ...]:
    return analyse(perform(score(rows))).events


def of_kind(events: tuple[Event, ...], *kinds: str) -> list[Event]:
    return [event for event in events if event.kind in kinds]


def bars(rows: list[Row], first: int, last: int) -> list[Row]:
    return [row for row in rows if first * BAR <= row[1] < last * BAR]


def demo(name: str) -> Analysis:
    return analyse(perform(read_file(PIECES / name).scores[0]))


# Withheld bass and top


def test_a_bass_that_waits_from_the_beginning_is_withheld() -> None:
    (event,) = of_kind(found((*UPPER, *bars(BASS, 12, 24))), *OUTER)
    assert (event.kind, event.bar, event.beat, event.since) == ("withheld_bass", 12, 1.0, None)
    assert (event.edge, event.players, event.by) == (63, (2,), "enters")
    assert event.silence == 12


def test_a_bass_that_rests_is_withheld_since_it_was_last_heard() -> None:
    rows = (*UPPER, *bars(BASS, 0, 6), *bars(BASS, 14, 24))
    (event,) = of_kind(found(rows), *OUTER)
    assert (event.bar, event.since, event.silence) == (14, 5, 8)


def test_a_bass_that_begins_with_a_short_note_enters_with_it() -> None:
    """As in Saint-Georges, op. 1 no. 3: a crotchet on the downbeat, then the bar."""
    first = (2, 9 * BAR, BAR // 4, 43)
    (event,) = of_kind(found((*UPPER, first, *bars(BASS, 10, 24))), *OUTER)
    assert (event.bar, event.beat, event.silence, event.high) == (9, 1.0, 9, 43)


@pytest.mark.parametrize("rest", [1, 2, 3])
def test_a_bass_that_rests_for_a_few_bars_is_no_event(rest: int) -> None:
    rows = (*UPPER, *bars(BASS, 0, 10), *bars(BASS, 10 + rest, 24))
    assert not of_kind(found(rows), *OUTER)


def test_a_top_is_withheld_as_a_bass_is() -> None:
    low = (*line(1, (63, 65, 67, 68)), *BASS)
    (event,) = of_kind(found((*low, *bars(line(0, (79, 81, 83, 84)), 12, 24))), *OUTER)
    assert (event.kind, event.bar, event.edge) == ("withheld_top", 12, 68)


def test_a_line_that_plays_on_and_steps_down_only_extends() -> None:
    stepping = [(2, bar * BAR, BAR, 60 - bar) for bar in range(24)]
    assert not of_kind(found((*UPPER, *stepping)), *OUTER)


def test_a_line_that_plays_on_and_drops_an_octave_brings_in_the_bass() -> None:
    dropping = [*bars(line(2, (55, 57, 59, 60)), 0, 12), *bars(BASS, 12, 24)]
    (event,) = of_kind(found((*UPPER, *dropping)), "withheld_bass")
    assert (event.bar, event.by, event.edge) == (12, "falls", 55)


def test_nothing_is_withheld_in_the_final_cadence() -> None:
    assert final_bar(24) == 21
    assert not of_kind(found((*UPPER, *bars(BASS, 22, 24))), *OUTER)


def test_where_nothing_sounds_no_place_is_empty_between_others() -> None:
    """Time that no note fills is no time to wait in; with any there the place was cleared."""
    here: Any = SimpleNamespace(
        first=[3], notes=SimpleNamespace(pitch=[60]), any=np.ones(3, bool),
        lowest=np.full(3, 40), highest=np.full(3, 80), lasts=np.zeros(3),
    )  # fmt: skip
    assert not _between(here, 0, 0)
    here.lasts[1] = 1
    assert _between(here, 0, 0)


def test_a_place_inside_is_cleared_and_filled() -> None:
    middle = [*line(3, (57, 59, 60, 62)), *line(4, (60, 62, 64, 59))]
    outer = (*line(0, (79, 81, 83, 84)), *BASS)
    (event,) = of_kind(found((*outer, *bars(middle, 0, 8), *bars(middle, 14, 24))), "cleared")
    assert (event.bar, event.since, event.place) == (14, 7, "inner")
    (event,) = of_kind(found((*outer, *bars(middle, 14, 24))), "cleared", "entry")
    assert (event.kind, event.bar, event.since) == ("cleared", 14, None)
    (event,) = of_kind(found((*outer, *bars(middle, 6, 24))), "cleared", "entry")
    assert (event.kind, event.bar, event.since) == ("entry", 6, None)


@pytest.mark.parametrize("piece", textures(), ids=lambda piece: piece.name)
def test_nothing_enters_where_every_bar_uses_the_same_places(piece: object) -> None:
    rows = piece.rows  # type: ignore[attr-defined]
    assert not of_kind(found(rows), *OUTER, "cleared", "entry", "gap", "shift")


# Gaps


def held(*chords: tuple[int, ...]) -> Played:
    rows = [
        (pitch, bar * HAND_BAR, HAND_BAR, 1.0, part)
        for bar, chord in enumerate(chords)
        for part, pitch in enumerate(chord)
    ]
    base = perform(score(UPPER))
    return replace(base, notes=notes_of(rows), bars=bars_of([HAND_BAR] * len(chords)))


@pytest.mark.parametrize(
    ("chord", "gap"),
    [
        ((36, 43, 57), True),  # fourteen semitones above the lowest pair
        ((36, 43, 55), False),  # an octave
        ((36, 55, 59), True),  # nineteen semitones at the lowest pair
        ((36, 54, 59), False),
        ((36, 48, 67), True),  # the octave is one line, and nineteen semitones lie above it
        ((36, 48, 66), False),
    ],
)
def test_a_gap_is_wider_above_the_bass(chord: tuple[int, ...], gap: bool) -> None:
    played = held(*[chord] * 4)
    spaces = gaps(ground(played.notes, played.bars))
    assert (spaces.share == 1.0) == gap
    assert len(spaces.events) == gap


def test_a_gap_of_one_bar_is_none() -> None:
    played = held((36, 43, 50), (36, 43, 57), (36, 43, 50))
    assert gaps(ground(played.notes, played.bars)).share == 0


def test_two_hands_in_bare_octaves_are_one_line_without_a_gap() -> None:
    upper = line(0, (60, 63, 65, 68, 71), TICKS // 2)
    rows = (*upper, *((1, onset, lasts, pitch - 12) for _, onset, lasts, pitch in upper))
    measured = analyse(perform(score(rows)))
    assert measured.texture.lines == 1
    assert measured.values["hollow_share"].value is None
    assert not of_kind(measured.events, "gap")


# Order


def test_events_come_by_kind_then_strength_and_the_final_cadence_last() -> None:
    def event(kind: str, bar: int, strength: float) -> Event:
        return Event(kind, None, bar, bar + 1, bar, 1.0, (60,), 60, 60, strength)  # type: ignore[arg-type]

    late = event("withheld_bass", 31, 1.0)
    weak, strong = event("climb", 3, 0.2), event("climb", 9, 0.6)
    first = event("cleared", 20, 0.1)
    level = np.zeros(32, bool)
    assert ranked([late, weak, strong, first], level) == (first, strong, weak, late)
    assert KINDS[0] == "withheld_bass"
    # Of two climbs nearly as strong, the one that comes with a new dynamic is told first.
    louder = event("climb", 15, 0.5)
    level[15] = True
    assert ranked([strong, louder], level) == (louder, strong)


def test_a_mark_begins_a_new_level_and_a_hairpin_does_not() -> None:
    rows = line(0, (72, 74, 76, 77))
    marks = [Dynamic(0, 0, "mark", "p"), Dynamic(0, 8 * BAR, "mark", "f")]
    played = perform(score(rows, marks))
    assert np.flatnonzero(new_level(played.notes, played.bars)).tolist() == [8]
    swell = Dynamic(0, 0, "cresc", end=8 * BAR)
    played = perform(score(rows, [marks[0], swell, marks[1]]))
    assert not new_level(played.notes, played.bars).any()


# Shifts


@pytest.mark.parametrize(("name", "told"), [("Singstimme", False), ("Violine", True)])
def test_a_singer_who_begins_over_what_stays_is_no_shift(name: str, told: bool) -> None:
    """Bars 1 to 8 of an accompaniment within an octave and a half, then a part above it."""
    low = [row for note in (48, 60, 64) for row in line(1, (note, note))]
    upper = bars(line(0, (76, 77, 79, 77)), 8, 24)
    given = score((*upper, *low))
    played = perform(replace(given, parts=(Part(name), Part("Klavier"))))
    assert bool(of_kind(analyse(played).events, "shift")) == told


def test_several_voices_within_an_octave_have_no_clear_shift() -> None:
    rows = [(part, bar * BAR, BAR, pitch) for bar in range(12)
            for part, pitch in enumerate((60, 62) if bar < 6 else (70, 72))]  # fmt: skip
    measured = analyse(perform(score(rows)))
    assert not measured.shifts
    assert len(measured.stays) == 1


@pytest.mark.parametrize(
    ("name", "kind", "bar"),
    [
        ("after-the-rain.mxl", "withheld_bass", "17"),
        ("waiting-for-the-bus.musicxml", "withheld_bass", "17"),
        ("field-path.abc", "withheld_bass", "21"),
    ],
)
def test_the_first_event_is_what_the_piece_was_written_for(
    name: str, kind: str, bar: str
) -> None:
    piece = demo(name)
    assert (piece.events[0].kind, piece.played.bars.labels[piece.events[0].bar]) == (kind, bar)


# Truth: every claim is derived again from the notes


@pytest.mark.parametrize("path", sorted(PIECES.iterdir()), ids=lambda path: path.name)
def test_what_events_claim_is_true_of_the_notes(path: Path) -> None:
    played = perform(read_file(path).scores[0])
    measured = analyse(played)
    notes, start = played.notes, played.bars.start
    end = notes.onset + notes.duration
    for event in measured.events:
        tick = start[event.bar] + round((event.beat - 1) * played.bars.beat[event.bar])
        if event.kind in OUTER:
            turn = 1 if event.kind == "withheld_bass" else -1
            height = turn * notes.pitch
            assert event.edge is not None
            beyond = (height < turn * event.edge) & (notes.onset >= tick - 1)
            assert notes.onset[beyond].min() == pytest.approx(tick, abs=1)
            assert all(turn * pitch < turn * event.edge for pitch in event.pitches)
            first = event.bar - int(event.silence)
            waiting = (end > start[first]) & (notes.onset < tick)
            if not event.grazes:
                assert height[waiting].min() >= turn * event.edge
            if event.since is None:
                assert height[notes.onset < tick - 1].min() >= turn * event.edge
        if event.kind == "gap":
            inside = (notes.onset < start[event.last - 1]) & (end > start[event.first])
            between = (notes.pitch > event.low) & (notes.pitch < event.high)
            assert not (inside & between).any()
        assert event.low <= event.high
        assert 0 <= event.first < event.last <= len(played.bars)


def test_no_clear_shift_lies_inside_a_stay() -> None:
    for path in sorted(PIECES.iterdir()):
        measured = analyse(perform(read_file(path).scores[0]))
        begins = {stay.first for stay in measured.stays}
        assert {shift.bar for shift in measured.shifts} <= begins
        for index in measured.ranking[: measured.main]:
            assert measured.stays[index].bars >= 2
        assert measured.main <= max(len(measured.played.bars) // 12, 1)


# What must change nothing


def test_order_of_parts_and_ties_change_no_event() -> None:
    rows = (*UPPER, *bars(BASS, 0, 6), *bars(BASS, 14, 24))
    plain = score(rows)

    def told(work: Score) -> list[tuple[str, int, float, tuple[int, ...]]]:
        events = of_kind(analyse(perform(work)).events, *OUTER, "cleared", "gap", "shift")
        return sorted((e.kind, e.bar, e.beat, e.pitches) for e in events)

    for other in (split_by_ties(plain), parts_reversed(plain)):
        assert told(other) == told(plain)


@pytest.mark.parametrize("piece", textures(), ids=lambda piece: piece.name)
def test_articulation_is_no_movement(piece: object) -> None:
    rows = piece.rows  # type: ignore[attr-defined]
    legato = analyse(perform(score(rows)))
    third = analyse(
        perform(score([(part, on, lasts // 3, pitch) for part, on, lasts, pitch in rows]))
    )
    dotted = score(rows)
    table = dotted.notes.copy()
    table["staccato"] = True
    short = analyse(perform(replace(dotted, notes=table)))
    names = ("movement_beat", "movement_bar", "movement_phrase", "travel", "shift_rate")
    names += ("longest_dwell", "expected_dwell", "narrow_dwell")
    for name in names:
        value = legato.values[name].value
        assert third.values[name].value == pytest.approx(value), name
        assert short.values[name].value == pytest.approx(value), name


def test_lasting_notes_reach_the_next_of_their_voice_within_a_bar() -> None:
    def lengths(*rows: tuple[int, int, int]) -> list[int]:
        notes = notes_of([(60, onset, lasts) for _, onset, lasts in rows])
        return lasting(notes, bars_of([HAND_BAR] * 4)).duration.tolist()

    assert lengths((0, 0, 1), (0, 4, 1), (0, 12, 2)) == [4, 8, 4]
    # The next onset is more than a bar away: to the end of its own bar.
    assert lengths((0, 4, 1), (0, 40, 1)) == [12, 8]
    # Over the barline, and longer than its bar as written.
    assert lengths((0, 12, 1), (0, 20, 30)) == [8, 30]
    assert np.all(np.array(lengths((0, 0, 64))) == 64)
