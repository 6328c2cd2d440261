"""Events of register: all known ones found and no others, and what must hold for them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from event_pieces import (
    BAR,
    BARS,
    TICKS,
    Row,
    line,
    parts_reversed,
    score,
    split_by_ties,
    textures,
    variants,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from validity.changes import fold, middle, with_pitch
from validity.materials import pieces

from corpusreg.measures.analysis import Analysis, analyse, part_events
from corpusreg.measures.events import KINDS, Event, strength, time_heard
from corpusreg.score.notes import Dynamic, Score, Tempo
from corpusreg.score.played import perform
from corpusreg.score.readers import read_file
from corpusreg.text.events import event_words

PIECES = Path(__file__).parents[1] / "demo" / "pieces"
VARIANTS = {name: (rows, events) for name, rows, events in variants()}
EXAMPLES = settings(max_examples=40, deadline=None)
UPPER = (*line(0, (75, 77, 79, 80)), *line(1, (63, 65, 67, 68)))


def found(rows: tuple[Row, ...], *marks: Dynamic) -> tuple[Event, ...]:
    return analyse(perform(score(rows, marks))).events


def places(events: tuple[Event, ...]) -> list[tuple[str, int, str]]:
    return sorted((event.kind, event.first, event.side) for event in events)


def of_kind(events: tuple[Event, ...], *kinds: str) -> list[Event]:
    return [event for event in events if event.kind in kinds]


def entries_in(rows: tuple[Row, ...]) -> list[tuple[str, int, str]]:
    return places(tuple(of_kind(found(rows), "entry", "held_back", "solo")))


# Known events


def test_there_are_many_variants_of_every_kind() -> None:
    assert len(VARIANTS) >= 40
    assert {kind for _, events in VARIANTS.values() for kind, _, _ in events} == set(KINDS)


@pytest.mark.parametrize("name", VARIANTS)
def test_all_known_events_are_found_and_no_others(name: str) -> None:
    rows, events = VARIANTS[name]
    assert places(found(rows)) == sorted(events)


@pytest.mark.parametrize("name", [name for name in VARIANTS if "4" in name or "8" in name])
def test_ties_and_the_order_of_parts_change_no_event(name: str) -> None:
    plain = score(VARIANTS[name][0])
    events = analyse(perform(plain)).events
    assert analyse(perform(split_by_ties(plain))).events == events
    assert analyse(perform(parts_reversed(plain))).events == events


def test_a_rest_of_everything_clears_nothing() -> None:
    rows = tuple(r for r in textures()[0].rows if not 8 * BAR <= r[1] < 12 * BAR)
    assert found(rows) == ()


def test_playing_round_a_border_is_no_entry() -> None:
    upper = line(0, (84, 86, 88, 89))
    lower = line(1, (59, 57, 55, 53))
    lower = [(p, at, d, 60 if at == 9 * BAR else pitch) for p, at, d, pitch in lower]
    assert of_kind(found((*upper, *lower)), "entry", "held_back", "solo") == []
    for pitch, enters in ((62, []), (63, [9]), (64, [9])):
        higher = [(p, at, d, pitch if on == 60 else on) for p, at, d, on in lower]
        events = of_kind(found((*upper, *higher)), "entry", "held_back")
        assert [event.first for event in events] == enters


def test_notes_at_the_edge_of_an_empty_register_are_told() -> None:
    upper = line(0, (84, 86, 88, 89))
    lower = [
        (part, at, lasts, {5 * BAR: 60, 9 * BAR: 67}.get(at, pitch))
        for part, at, lasts, pitch in line(1, (59, 57, 55, 53))
    ]
    rows = (*upper, *lower)
    (event,) = of_kind(found(rows), "entry", "held_back")
    words = event_words(event, perform(score(rows)).bars)
    assert words.startswith(
        "The register from C4 to B4 is empty, but for notes at its border, for 9 bars and "
    )
    never = [(p, at, d, 59 if pitch == 60 else pitch) for p, at, d, pitch in lower]
    (event,) = of_kind(found((*upper, *never)), "entry", "held_back")
    words = event_words(event, perform(score((*upper, *never))).bars)
    assert words.startswith("The register from C4 to B4 is empty for 9 bars and enters")


def test_a_bass_that_steps_on_has_not_lifted() -> None:
    bass = ((9, 0, 8 * BAR, 40), (9, 8 * BAR, BAR, 45), (9, 9 * BAR, 15 * BAR, 40))
    assert of_kind(found((*UPPER, *bass)), "lift") == []
    gone = ((9, 0, 8 * BAR, 40),)
    assert [e.first for e in of_kind(found((*UPPER, *gone)), "lift")] == [8]


def test_a_short_rest_of_the_bass_is_no_lifting() -> None:
    bass = ((9, 0, 8 * BAR - TICKS, 40), (9, 8 * BAR, 16 * BAR, 40))
    assert of_kind(found((*UPPER, *bass)), "lift", "entry") == []


@pytest.mark.parametrize(("above", "lifts"), [(2, []), (3, [8])])
def test_nothing_lifts_where_another_player_goes_on_beside_it(
    above: int, lifts: list[int]
) -> None:
    for drone, beside in ((40, 40 + above), (95, 95 - above)):
        other = tuple((8, bar * BAR, BAR, beside) for bar in range(BARS))
        events = of_kind(found((*UPPER, (9, 0, 8 * BAR, drone), *other)), "lift")
        assert [event.first for event in events] == lifts


def test_a_line_that_leaps_from_its_long_note_leaves_nobody_behind() -> None:
    after = [row for row in line(0, (75, 77, 79, 80)) if row[1] >= 4 * BAR]
    assert of_kind(found(((0, 0, 4 * BAR, 40), *after)), "lift") == []
    other = [(1, *row[1:]) for row in line(0, (75, 77, 79, 80))]
    events = of_kind(found(((0, 0, 4 * BAR, 40), *other)), "lift")
    assert [event.first for event in events] == [4]


# Kinds of entries, on both sides of each threshold


@pytest.mark.parametrize(
    ("earlier", "enters", "kind"),
    [
        (0, 8, "held_back"),  # for the first time
        (0, 7, "entry"),
        (2, 14, "held_back"),  # again
        (2, 13, "entry"),
    ],
)
def test_a_register_is_held_back_for_8_bars_or_12_again(
    earlier: int, enters: int, kind: str
) -> None:
    rows = (*UPPER, *bass(0, earlier), *bass(enters, BARS))
    assert entries_in(rows) == [(kind, enters, "low")]


@pytest.mark.parametrize(
    ("bar", "lasts", "pitch", "kind"),
    [
        (4, BAR, 87, "solo"),
        (3, BAR, 87, "entry"),  # alone for 3 bars before
        (20, BAR, 87, "solo"),  # and to the end after
        (4, BAR + TICKS, 87, "entry"),  # longer than a bar
        (4, BAR, 86, "entry"),  # six semitones above the others
    ],
)
def test_a_solo_is_short_alone_and_clear(bar: int, lasts: int, pitch: int, kind: str) -> None:
    assert entries_in((*UPPER, (9, bar * BAR, lasts, pitch))) == [(kind, bar, "high")]


def test_a_moment_that_comes_again_within_four_bars_is_no_solo() -> None:
    def twice(later: int) -> list[tuple[str, int, str]]:
        moments = ((9, 8 * BAR, BAR, 92), (9, later * BAR, BAR, 92))
        return entries_in((*UPPER, *moments))

    # The register is empty from bar 9 on: three bars until 12, four until 13.
    assert twice(12) == [("entry", 12, "high"), ("held_back", 8, "high")]
    assert twice(13) == [("solo", 8, "high"), ("solo", 13, "high")]


@pytest.mark.parametrize(("lasts", "count"), [(19, 0), (20, 1)])
def test_an_entry_sounds_for_a_fifth_of_a_bar(lasts: int, count: int) -> None:
    assert len(entries_in((*UPPER, (9, 12 * BAR, lasts, 40)))) == count


@pytest.mark.parametrize(("tempo", "count"), [(None, 0), (61.0, 0), (60.0, 1)])
def test_two_seconds_clear_a_register_too_and_are_not_counted(
    tempo: float | None, count: int
) -> None:
    late = (row for row in bass(8, BARS, 39) if row[1] >= 8 * BAR + 2 * TICKS)
    work = score((*UPPER, *bass(0, 8, 43), *late))
    if tempo:
        work = replace(work, tempos=(Tempo(0, tempo),))
    analysis = analyse(perform(work))
    assert len(of_kind(analysis.events, "entry")) == count
    assert analysis.values["cleared_entries"].value == 0


def test_an_entry_between_what_sounds_has_no_side() -> None:
    """C5 is above the octave from C4 to B4, if by no more than it must be."""
    above = tuple((0, at * TICKS, TICKS, 72) for at in range(4 * BARS))
    middle = tuple((1, at * TICKS, TICKS, 64 + at % 3) for at in range(48, 4 * BARS))
    assert entries_in((*above, *middle, *bass(0, BARS))) == [("entry", 12, "")]


def test_octaves_from_the_lowest_note_of_the_register_on() -> None:
    octaves = tuple((9, at * TICKS, TICKS, p) for at in range(48, 96) for p in (36, 48))
    (event,) = of_kind(found((*UPPER, *octaves)), "held_back")
    assert (event.kind, event.low, event.high) == ("held_back", None, 59)
    assert (event.octaves, event.together, event.pitches) == (True, 2, 2)


# Strength by hand


def test_time_and_strength_by_hand() -> None:
    assert [time_heard(bars) for bars in (0, 4, 12)] == [0, 0.25, 0.5]
    assert [time_heard(bars, never=True) for bars in (0, 4, 8, 20)] == [0, 0.5, 1, 1]
    # A half of each: 12 bars, one pitch throughout, an octave away.
    assert strength(0.5, 1.0, 12.0) == pytest.approx(50)
    assert strength(1.0, 3.0, 36.0) == pytest.approx(100 * (0.75 * 0.75) ** (1 / 3))
    assert strength(0.5, 0.0, 12.0) == 0


def test_a_hollow_passage_by_hand() -> None:
    """Four bars with three octaves between C2 and C5: 100 x root of 4/16 x 36/48."""
    rows = tuple((part, 0, 4 * BAR, pitch) for part, pitch in enumerate((36, 72, 76)))
    (event,) = of_kind(found(rows), "hollow")
    assert (event.first, event.last, event.low, event.high) == (0, 4, 37, 71)
    assert event.strength == pytest.approx(100 * (1 / 4 * 3 / 4) ** 0.5, abs=1e-3)
    three = tuple((part, 0, 3 * BAR, pitch) for part, pitch in enumerate((36, 72, 76)))
    assert found(three) == ()


@pytest.mark.parametrize(("bass", "shared"), [(53, (54, 54)), (54, (None, None))])
def test_a_hollow_passage_names_the_space_that_all_bars_leave_empty(
    bass: int, shared: tuple[int | None, int | None]
) -> None:
    chords = ((36, 55, 58), (bass, 73, 76))
    rows = tuple(
        (part, bar * BAR, BAR, pitch)
        for bar in range(4)
        for part, pitch in enumerate(chords[bar % 2])
    )
    (event,) = of_kind(found(rows), "hollow")
    assert (event.low, event.high) == shared


# Strength of entries


def entry(rows: tuple[Row, ...], bar: int, *marks: Dynamic) -> float:
    """Strength of the entry at the low end in a bar, 0 where there is none."""
    events = of_kind(found(rows, *marks), "entry", "held_back", "solo")
    return max((e.strength for e in events if e.first == bar and e.side == "low"), default=0.0)


def bass(first: int, last: int, pitch: int = 40) -> tuple[Row, ...]:
    return tuple(
        (9, bar * BAR + beat * TICKS, TICKS, pitch + (0, 2, 3)[(bar + beat) % 3])
        for bar in range(first, last)
        for beat in range(4)
    )


def test_a_longer_wait_is_never_weaker_and_the_first_entry_is_strongest() -> None:
    strengths = [entry((*UPPER, *bass(0, 18 - gap), *bass(18, BARS)), 18) for gap in range(17)]
    assert strengths[0] == 0
    assert strengths[1:] == sorted(strengths[1:])
    assert min(strengths[1:]) > 0
    assert entry((*UPPER, *bass(18, BARS)), 18) >= max(strengths)


@EXAMPLES
@given(st.sets(st.integers(0, 11)), st.integers(0, 11))
def test_taking_earlier_bass_away_never_weakens_an_entry(bars: set[int], gone: int) -> None:
    def strength(used: set[int]) -> float:
        earlier = tuple(row for bar in sorted(used) for row in bass(bar, bar + 1))
        return entry((*UPPER, *earlier, *bass(12, BARS)), 12)

    assert strength(bars - {gone}) >= strength(bars)


def test_louder_fuller_and_lower_entries_are_stronger() -> None:
    plain = entry((*UPPER, *bass(12, BARS)), 12)
    soft = Dynamic(2, 12 * BAR, "mark", "pp")
    assert entry((*UPPER, *bass(12, BARS)), 12, soft) < plain
    octaves = tuple((8, at, lasts, pitch - 12) for _, at, lasts, pitch in bass(12, BARS))
    assert entry((*UPPER, *bass(12, BARS), *octaves), 12) > plain
    assert entry((*UPPER, *bass(12, BARS, 28)), 12) > plain


def test_a_note_counts_for_no_more_than_the_bar_it_enters_in() -> None:
    one, four = (entry((*UPPER, (9, 12 * BAR, bars * BAR, 40)), 12) for bars in (1, 4))
    assert one == four > 0


def test_of_two_octaves_that_enter_the_one_that_waited_longer_counts() -> None:
    low = tuple((8, at, lasts, pitch - 12) for _, at, lasts, pitch in bass(16, BARS))
    rows = (*UPPER, *bass(0, 12), *bass(16, BARS), *low)
    heard = tuple((8, at, lasts, pitch - 12) for _, at, lasts, pitch in bass(11, 12))
    assert entry(rows, 16) > entry((*rows, *heard), 16) > 0


def test_what_sounds_elsewhere_neither_makes_nor_changes_a_low_entry() -> None:
    swapped = tuple((1 - part, at, lasts, pitch) for part, at, lasts, pitch in UPPER)
    rows = (*bass(0, 8), *bass(12, BARS))
    assert entry((*swapped, *rows), 12) == entry((*UPPER, *rows), 12)
    assert of_kind(found(UPPER), "entry", "held_back") == []


def test_the_same_music_with_the_bass_is_told() -> None:
    tune = tuple((0, bar * BAR + beat * TICKS, TICKS, (75, 79, 77, 80, 75, 74, 72, 79)[
        (bar % 2) * 4 + beat]) for bar in range(BARS) for beat in range(4))  # fmt: skip
    (event,) = of_kind(found((*tune, *bass(16, BARS))), "held_back")
    assert event.again == 0
    played = perform(score((*tune, *bass(16, BARS))))
    assert event_words(event, played.bars) == (
        "The register below C3 is held back for 16 bars and enters for the first time in "
        "bar 17 with single notes: the music of bar 1 again, now with the low register"
    )


def test_music_that_had_the_bass_before_does_not_return_now_with_the_bass() -> None:
    tune = tuple((0, bar * BAR + beat * TICKS, TICKS, (75, 79, 77, 80, 75, 74, 72, 79)[
        (bar % 2) * 4 + beat]) for bar in range(BARS) for beat in range(4))  # fmt: skip
    rows = (*tune, *bass(0, 4), *bass(16, BARS))
    (event,) = of_kind(found(rows), "held_back")
    assert event.again == 0
    words = event_words(event, perform(score(rows)).bars)
    assert words.endswith("returns in bar 17 with single notes: the music of bar 1 again")


# Strength of liftings


def lift(drone: Row, *marks: Dynamic) -> float:
    events = of_kind(found((*UPPER, drone), *marks), "lift")
    return max((event.strength for event in events if event.side == "low"), default=0.0)


def test_longer_louder_and_lower_tones_lift_more_strongly() -> None:
    lengths = [lift((9, 0, bars * BAR, 40)) for bars in range(1, 20)]
    assert lengths == sorted(lengths)
    assert lengths[1] > 0
    loudness = [
        lift((9, 0, 8 * BAR, 40), Dynamic(2, 0, "mark", mark))
        for mark in ("ppp", "pp", "p", "mf", "f", "fff")
    ]
    assert loudness == sorted(loudness)
    depths = [lift((9, 0, 8 * BAR, pitch)) for pitch in range(60, 24, -1)]
    assert depths == sorted(depths)


def test_a_high_presence_that_rocks_lifts_too() -> None:
    bells = tuple((9, at, TICKS, 91 + 3 * (at // TICKS % 2)) for at in range(0, 9 * BAR, TICKS))
    events = of_kind(found((*UPPER, *bells)), "lift")
    assert [(e.first, e.side, e.low, e.high) for e in events] == [(9, "high", 91, 94)]


def test_nothing_lifts_while_it_sounds() -> None:
    assert lift((9, 0, BARS * BAR, 40)) == 0
    events = of_kind(found((*UPPER, (9, 2 * BAR, 9 * BAR, 40))), "lift")
    assert [(event.first, event.beat, event.bars) for event in events] == [(11, 1.0, 9.0)]


# Twins, parts, and the demo pieces


@pytest.mark.parametrize("kind", ["piano", "quartet", "song"])
def test_folded_works_have_fewer_events(kind: str) -> None:
    """Bundled works with a core span of two octaves or more, all within one octave."""
    works = [piece.played for piece in pieces(kind, 4, 3, None)]
    wide = [a for a in map(analyse, works) if a.core[1] - a.core[0] >= 24]
    assert wide
    for original in wide:
        played = original.played
        twin = with_pitch(played, fold(played.notes.pitch, middle(played.notes)))
        assert len(analyse(twin).events) < len(original.events)


def test_parts_have_events_of_their_own() -> None:
    rows = (
        *textures()[0].rows,
        *((9, bar * BAR, BAR, 40 if bar % 8 else 64) for bar in range(8, 20)),
    )
    own = part_events(perform(score(rows)))
    assert set(own) == {0, 1, 2, 3, 4}
    assert [event.first for event in own[4] if event.kind == "entry"] == [9, 17]
    assert [event.first for event in own[4] if event.kind == "solo"] == [16]
    assert own[0] == ()
    assert part_events(perform(score(line(0, (60, 62, 64))))) == {}  # type: ignore[arg-type]


def demo(name: str) -> tuple[Analysis, Score]:
    (work,) = read_file(PIECES / name).scores
    return analyse(perform(work)), work


def first_of(name: str, *kinds: str) -> tuple[Event, str]:
    """The strongest event of some kinds, and the printed bar it begins in."""
    analysis, _ = demo(name)
    best = max(of_kind(analysis.events, *kinds), key=lambda event: event.strength)
    return best, analysis.played.bars.labels[best.first]


def test_after_the_rain_the_bass_returns_in_bar_17() -> None:
    event, bar = first_of("after-the-rain.mxl", "entry", "held_back")
    assert (bar, event.side, event.high, event.octaves) == ("17", "low", 59, True)
    assert event.bars == pytest.approx(8, abs=0.5)
    assert event.again is not None


def test_waiting_for_the_bus_the_cello_enters_in_bar_17() -> None:
    event, bar = first_of("waiting-for-the-bus.musicxml", "entry", "held_back")
    assert (bar, event.kind, event.side, event.never) == ("17", "held_back", "low", True)
    assert (round(event.bars, 6), event.again) == (16, 0)


def test_on_the_field_path_the_drone_stops_in_bar_14() -> None:
    event, bar = first_of("field-path.abc", "lift")
    assert (bar, event.beat, event.low, event.high) == ("14", 2.0, 55, 55)


def test_pieces_at_the_extremes_and_between_two_shores_are_hollow() -> None:
    assert first_of("attic-and-cellar.krn", "hollow")[0].bars == 24
    event, bar = first_of("two-shores.mid", "hollow")
    assert (bar, event.first, event.last) == ("1", 0, 12)


# Shifts of one part


def test_one_part_that_drops_an_octave_is_a_shift_and_not_counted_in_the_rate() -> None:
    rows = tuple(
        (part, at, lasts, pitch - 12 * (part == 2 and at >= 12 * BAR))
        for part, at, lasts, pitch in textures()[0].rows
    )
    found = analyse(perform(score(rows)))
    assert [(s.bar, s.by, s.direction) for s in found.shifts] == [(12, "part", "down")]
    assert found.shifts[0].size == pytest.approx(12, abs=2)
    assert found.values["shift_rate"].value == 0
    assert analyse(perform(score(textures()[0].rows))).shifts == ()
