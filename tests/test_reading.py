"""What is said of a piece first, what is unusual, what may be tried: decided on plain data."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from conftest import ROOT
from event_pieces import BAR, Row, score
from test_comparison import BROAD, NARROW, PIECE, WHOLE, cohort, compared
from test_players import found_in
from test_players import score as named
from write_schema import PATH, renewed

from corpusreg.comparison import findings
from corpusreg.comparison.comparison import (
    Comparison,
    Place,
    compare,
    printed_bar,
    printed_place,
)
from corpusreg.comparison.findings import Reading, reading
from corpusreg.comparison.placing import part_names
from corpusreg.comparison.players import NOBODY
from corpusreg.measures.analysis import analyse
from corpusreg.measures.events import Event, Kind
from corpusreg.norms.reference import Placement, Rung
from corpusreg.score.played import Played, perform
from corpusreg.system.phrases import shared_start
from corpusreg.text.console import comparison_text, register_map
from corpusreg.text.document import document
from corpusreg.text.findings import MOST, event_lines, sentence
from corpusreg.text.reading import certainty, first_screen, suggestion_sentence
from corpusreg.text.tabular import Screen, shown_on
from corpusreg.text.wording import bar_words, place_words

BARS = 24


def line(pitch: int, first: int, last: int, part: int = 0) -> list[Row]:
    """A note a bar."""
    return [(part, bar * BAR, BAR, pitch + (bar % 3)) for bar in range(first, last)]


def placed(rows: list[Row], percentile: float | None = None) -> Comparison:
    """A piece among forty works; all its measures at one percentile where it is given."""
    played = perform(score(rows))
    names = {f"Part {number}" for number in np.unique(played.notes.part).tolist()}
    parts = {
        name: analyse(played.only(played.notes.part == number))
        for number, name in enumerate(sorted(names))
    }
    c = compare(PIECE, analyse(played), parts, [cohort(NARROW, 40)], BARS, NOBODY)
    if percentile is None:
        return c
    spot = Placement(percentile, (percentile - 3, percentile + 3), 20.0, (10.0, 30.0), 0.0)
    return replace(
        c,
        measures=tuple(replace(each, placement=spot) for each in c.measures),
        odder=0.1,
    )


WITHHELD = [*line(72, 0, BARS), *line(67, 0, BARS), *line(36, 12, BARS, 1)]


def test_a_withheld_bass_is_what_the_piece_does_first() -> None:
    r = reading(placed(WITHHELD))
    assert r.first is not None and r.first.bar is not None
    assert (r.first.name, r.first.bar.number, r.first.low) == ("withheld_bass", "13", 36)
    assert r.first.size == 12.0
    # What is tried keeps the place empty that was withheld, and never fills it.
    assert r.suggestion is not None and r.suggestion.note is not None
    assert r.suggestion.kind == "keep_above"
    assert r.suggestion.note > r.first.low + 12
    assert r.suggestion.serves is r.first


def test_an_introduction_withholds_nothing_and_nothing_is_tried_with_it() -> None:
    short = [*line(72, 3, BARS), *line(40, 0, BARS, 1)]
    r = reading(placed(short))
    tops = [each for each in r.of_whole("withheld_top") if (each.size or 0) < 4]
    assert tops and r.first not in tops
    assert r.suggestion is None or r.suggestion.kind not in ("keep_above", "keep_below")


def test_two_notes_held_throughout_are_one_pedal_point_and_come_first() -> None:
    held = [(1, bar * BAR, BAR, pitch) for bar in range(BARS) for pitch in (36, 43)]
    r = reading(placed([*line(72, 3, BARS), *held]))
    assert r.first is not None and (r.first.name, r.first.notes) == ("pedal_point", (36, 43))
    assert r.first.order == 1
    assert len(r.of_whole("pedal_point")) == 1
    assert "throughout" in first_screen(r)[0]


def test_a_short_note_at_the_end_of_a_wait_is_the_entry() -> None:
    above = [*line(72, 0, BARS), *((0, bar * BAR, BAR, 58) for bar in range(BARS))]
    comes = [(1, 12 * BAR, BAR // 4, 46), (1, 12 * BAR + BAR // 4, BAR // 4, 58)]
    c = placed([*above, *line(46, 0, 6, 1), *comes, *line(43, 13, BARS, 1)])
    (found,) = reading(c).of_whole("withheld_bass")
    assert found.bar is not None
    assert (found.bar.number, found.low, found.size, found.clean) == ("13", 46, 6.0, True)


def test_a_theme_that_enters_is_told_before_the_shift_that_it_makes() -> None:
    theme = [0, 2, 4, 5, 7, 4, 2, 0]
    step = BAR // 4
    rows = [
        (0, at * 2 * BAR + n * step, step, base + tone)
        for at, base in ((0, 72), (1, 79), (2, 72), (3, 79))
        for n, tone in enumerate(theme)
    ]
    low = [(1, 4 * BAR + n * step, step, 48 + tone) for n, tone in enumerate(theme)]
    c = placed([*rows, *low, *line(48, 6, BARS, 1), *line(72, 8, BARS)])
    kinds = ("shift", "voice_entry")
    r = reading(replace(c, events=tuple(e for e in c.events if e.event.kind in kinds)))
    shifts = [each.bar for each in r.of_whole("shift")]
    assert r.first is not None and r.first.bar in shifts
    assert (r.first.name, r.first.low) == ("voice_entry", 48)
    assert r.shift is not None and r.first.bar == r.shift.bar
    assert r.suggestion is not None and r.suggestion.kind == "listen_for"
    assert not any("drops the bass" in said for said in first_screen(r))


def test_what_is_heard_again_makes_no_second_stay() -> None:
    r = reading(placed(WITHHELD))
    stay = next(each for each in r.stays if each.place and each.place.bars > 4)
    assert stay.place is not None
    start, end = stay.place.start, stay.place.end
    later = Place(stay.place.last, stay.place.last + stay.place.bars, start, end)
    twice = replace(r, stays=(stay, replace(stay, place=later)))
    assert twice.long_stays() == [stay]


def test_one_fact_in_several_places_is_one_line_and_the_clearest_of_a_kind_are_listed() -> None:
    r = reading(placed(WITHHELD))
    (bass,) = r.of_whole("withheld_bass")
    assert bass.event is not None
    entry = replace(bass, name="voice_entry", players=("Lower",), size=2.0)
    entries = [replace(entry, bar=printed_bar(placed(WITHHELD).bars, n)) for n in (4, 8)]
    lines = event_lines([*entries, *[bass] * (MOST + 2)], r.piece)
    assert len(lines) == 1 + MOST + 1
    assert "bars 5 and 9" in lines[0][0]
    assert lines[0][1] is entries[0]
    assert "two withheld basses" in lines[-1][0]
    assert lines[-1][1] is None
    c = placed(WITHHELD)
    octaves = [
        replace(
            bass,
            name="in_octaves",
            place=printed_place(c, first, last),
            event=replace(bass.event, kind="in_octaves", by="doubled", place="top"),
        )
        for first, last in ((0, 2), (3, 5), (6, 7))
    ]
    ((said, told),) = event_lines(octaves, r.piece)
    assert said.startswith("Bars 1–2, 4–5 and 7") and told is octaves[0]


def test_passages_shown_are_of_two_kinds_where_there_are_two() -> None:
    c = placed(WITHHELD)
    r = reading(c)
    (bass,) = r.of_whole("withheld_bass")
    early, later = (
        replace(r.stays[0], part=None, place=printed_place(c, n, n + 4)) for n in (0, 5)
    )
    assert [each.finding for each in findings._shown(c, [early, later, bass])] == [early, bass]
    assert len(findings._shown(c, [early, later])) == 2


def test_what_lasts_through_a_repeat_is_listened_to_with_it() -> None:
    r = reading(placed(line(60, 0, BARS)))
    assert r.suggestion is not None and r.suggestion.serves.place is not None
    whole = r.suggestion.serves.place
    runs = ((whole.start, whole.start), (whole.start, replace(whole.start, time=2)))
    part = replace(whole, first=0, last=4, end=runs[1][1], runs=runs)
    s = replace(r.suggestion, serves=replace(r.suggestion.serves, place=part))
    assert suggestion_sentence(s, r).startswith("Listen to bar 1 (with the repeat)")


def test_a_piece_without_events_is_said_to_stay_then_its_high_point() -> None:
    r = reading(placed(line(60, 0, BARS)))
    assert r.first is not None and (r.first.kind, r.first.size) == ("stay", BARS)
    assert r.high_point is not None and r.high_point.high == 62
    assert [line.split()[0] for line in first_screen(r)[:3]] == ["It", "High", "Listen:"]


def test_a_high_line_over_a_far_bass_stays_in_no_register() -> None:
    r = reading(placed([*line(96, 0, BARS), *line(30, 0, BARS, 1)]))
    assert r.stays and r.stay is None


@pytest.mark.parametrize(("percentile", "side"), [(97.0, "more"), (3.0, "less")])
def test_unusual_measures_are_one_of_a_family_and_two_at_most(
    percentile: float, side: str
) -> None:
    r = reading(placed(WITHHELD, percentile))
    assert [each.name for each in r.unusual] == ["span", "movement_beat"]
    assert r.alike["span"] == ("core_span", "octaves_in_use")
    assert {each.rank.side for each in r.unusual if each.rank} == {side}


@pytest.mark.parametrize("percentile", [50.0, 70.0, 89.0])
def test_what_is_not_far_out_is_not_unusual(percentile: float) -> None:
    assert reading(placed(WITHHELD, percentile)).unusual == ()


def test_nothing_is_unusual_where_most_works_have_a_measure_as_far_out() -> None:
    c = placed(WITHHELD, 97.0)
    assert reading(replace(c, odder=0.6)).unusual == ()
    assert reading(replace(c, odder=None)).unusual_known is False


def test_a_measure_whose_halves_agree_too_little_is_no_headline_and_not_unusual(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    c = placed(WITHHELD, 97.0)
    assert {"span", "shift_rate"} <= {each.name for each in reading(c).headlines()}
    monkeypatch.setattr(findings, "unreliable", lambda _: frozenset(["span", "core_span"]))
    r = reading(c)
    assert r.vague == ("span", "core_span")
    assert not {"span", "core_span"} & {each.name for each in (*r.headlines(), *r.unusual)}
    assert "shift_rate" in {each.name for each in r.headlines()}
    assert any("differ in span and main range" in each for each in certainty(r))


def test_without_enough_works_there_is_no_rank_and_a_reason() -> None:
    played = perform(score(WITHHELD))
    c = compare(PIECE, analyse(played), {}, [cohort(NARROW, 5), cohort(BROAD, 5)], BARS)
    r = reading(c)
    assert not r.company.placed and r.company.reason
    assert r.first is not None
    assert all(each.rank is None for each in r.measures)


def of_the_top(kind: Kind, bar: int, pitch: int) -> Event:
    return Event(kind, None, bar, bar + 1, bar, 1.0, (pitch,), pitch - 12, pitch, 1.0)


def test_an_outer_line_ends_on_a_note_that_nothing_held_lies_beyond() -> None:
    c = placed([*line(60, 0, BARS), (1, 4 * BAR, 4 * BAR, 84)])
    ends = {
        bar: findings._ends_outside(c, of_the_top("climb", bar, 62), None) for bar in (5, 8)
    }
    assert ends == {5: False, 8: True}


def test_how_a_high_point_is_reached_is_told_of_a_hand_with_one_line() -> None:
    point = of_the_top("high_point", 2, 62)
    assert findings._in_a_line(placed(line(60, 0, BARS)), point)
    assert not findings._in_a_line(placed([*line(60, 0, BARS), (0, BAR, BAR, 50)]), point)


def test_a_stay_on_one_note_is_not_where_the_piece_stays() -> None:
    stays = [each for each in reading(placed(WITHHELD)).stays if each.main and not each.part]
    alone = replace(stays[0], low=60, high=60)
    assert findings._clearest_stay([alone, stays[0]]) is stays[0]


def test_bars_are_counted_without_upbeats_and_halves() -> None:
    printed = ("0", "1", "2", "2a", "10")
    assert [n for n in printed if findings._no_bar(n, printed)] == ["0", "2a"]


def repeated(labels: tuple[str, ...], order: list[int]) -> Played:
    played = perform(score(line(60, 0, len(order))))
    seen: dict[int, int] = {}
    for bar in order:
        seen[bar] = seen.get(bar, 0) + 1
    times = [order[: k + 1].count(bar) for k, bar in enumerate(order)]
    bars = replace(
        played.bars,
        written=np.array(order),
        time=np.array(times),
        printed=tuple(labels[bar] for bar in order),
    )
    return replace(played, bars=bars)


def test_what_only_a_repeat_makes_is_no_event() -> None:
    bars = repeated(tuple("12345678"), [0, 1, 2, 3, 4, 5, 0, 1, 2, 3, 6, 7]).bars

    def event(kind: Kind, first: int, last: int, silence: float = 0.0) -> Event:
        bar = first if silence else last - 1
        return Event(kind, None, first, last, bar, 1.0, (40,), 40, 40, 1.0, silence=silence)

    made = [
        event("withheld_bass", 8, 9, 4.0),  # bar 3, long after bar 5, was heard before
        event("crossing", 5, 8),
        event("octave_return", 7, 9),
    ]
    page = [
        event("withheld_bass", 4, 5, 4.0),
        event("withheld_bass", 10, 11, 6.0),  # waits through the repeat, and comes first there
        event("crossing", 2, 5),
        event("octave_return", 3, 5),
    ]
    dropped = findings._brought_again([*made, *page], bars)
    assert dropped == set(range(len(made)))


def test_a_part_at_its_edge_amid_the_texture_is_told_where_nothing_else_is() -> None:
    lines = {"Flute": [79, 81, 77], "Bassoon": [69, 72, 71], "Cello": [60, 64, 62]}
    written = named(**{name: [bar] * 8 for name, bar in lines.items()})
    played = perform(written)
    parts = {
        name: analyse(played.only(played.notes.part == number))
        for number, name in part_names(played).items()
    }
    r = reading(
        compare(PIECE, analyse(played), parts, [cohort(NARROW, 40)], 8, found_in(written))
    )
    assert r.first is not None and r.suggestion is not None
    assert (r.first.kind, r.first.direction, r.first.players) == (
        "player",
        "high",
        ("Bassoon",),
    )
    assert (r.first.low, r.suggestion.part) == (69, "Bassoon")


def test_an_alto_below_the_tenor_is_told_as_such_and_where_it_is_not() -> None:
    lines = {"Alto": [67, 65], "Tenor": [60, 62]}, {"Alto": [53, 55], "Tenor": [64, 65]}
    bars = {name: [lines[bar not in (0, 1)][name] for bar in range(8)] for name in lines[0]}
    written = named(**bars)
    played = perform(written)
    parts = {
        name: analyse(played.only(played.notes.part == number))
        for number, name in part_names(played).items()
    }
    piece = replace(PIECE, parts=("Alto", "Tenor"))
    r = reading(
        compare(piece, analyse(played), parts, [cohort(NARROW, 40)], 8, found_in(written))
    )
    (crossed,) = (each for each in r.events if each.name == "crossing")
    assert crossed.players == ("Tenor", "Alto")  # the higher one on the whole first
    said = sentence(crossed, r.piece)
    assert said == "The alto, on the whole below the tenor, sounds above it in bars 1–2."


def test_movements_are_named_without_their_work() -> None:
    assert shared_start(["Op. 1: I. Air", "Op. 1: II. Jig"]) == "Op. 1: "
    assert shared_start(["Air: a", "Air and jig: b"]) == shared_start(["Air: a"]) == ""


def test_a_place_from_the_upbeat_on_is_named_by_its_bars() -> None:
    bars = repeated(("0", "1", "2"), [0, 1, 2, 0, 1, 2]).bars
    c = replace(placed(line(60, 0, 6)), bars=bars)
    assert place_words(printed_place(c, 0, 3)) == "the upbeat and bars 1–2"
    assert place_words(printed_place(c, 0, 2)) == "the upbeat and bar 1"
    assert bar_words(printed_bar(bars, 3)) == "the upbeat (2nd time)"


def test_printed_bars_know_repeats_upbeats_and_bars_without_a_number() -> None:
    bars = repeated(("0", "1", "X1", "2"), [0, 1, 2, 3, 1, 2, 3]).bars
    assert printed_bar(bars, 0).upbeat
    assert printed_bar(bars, 2).number == "1"
    again = printed_bar(bars, 5)
    assert (again.number, again.time, again.index) == ("1", 2, 2)
    c = replace(placed(line(60, 0, 7)), bars=bars)
    found = printed_place(c, 3, 6)
    assert (found.start.number, found.end.number, found.end.time) == ("2", "1", 2)


def test_json_is_the_reading_and_fits_its_schema() -> None:
    import jsonschema

    found = json.loads(json.dumps(document([placed(WITHHELD, 97.0)], [], "x")))
    schema = json.loads(PATH.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(found)
    first = found["works"][0]["first"]
    assert (first["name"], first["notes"], first["size"]) == ("withheld_bass", ["C2"], 12.0)


def test_the_schema_is_made_of_the_findings() -> None:
    schema = json.loads((ROOT / "corpusreg/data/comparison.schema.json").read_text("utf-8"))
    assert schema == json.loads(json.dumps(renewed(schema)))


def test_every_event_of_a_reading_is_of_the_whole_first() -> None:
    r: Reading = reading(placed(WITHHELD))
    parts = [each.part for each in r.events]
    assert parts[: parts.count(None)] == [None] * parts.count(None)
    assert parts.count(None) < len(parts)


@pytest.mark.parametrize("width", [60, 88, 200])
def test_text_is_as_wide_as_the_screen(width: int) -> None:
    with shown_on(Screen(width)):
        text = comparison_text(placed(WITHHELD, 97.0), "invented")
    lines = text.splitlines()
    assert max(map(len, lines)) <= max(width, 76)  # a map of 64 columns is drawn whole
    assert max(len(line) for line in lines if "semitones" in line) >= min(width, 170) - 30


def test_a_map_in_half_blocks_has_two_rows_of_pitch_a_line_and_several_columns_a_bar() -> None:
    c = placed(WITHHELD)
    with shown_on(Screen(88, blocks=True)):
        drawn = register_map(c)
    rows = [line for line in drawn if "\u2580" in line]
    assert {row.count("\u2580") for row in rows} == {3 * BARS}  # three columns fit
    assert "Three columns are a bar" in drawn[-1]
    plain = [line for line in register_map(c) if line.endswith("|")]
    assert len(rows) <= 20 and len(plain) <= 20
    # The withheld bass: the lowest line is paper up to bar 13.
    paper = "\x1b[38;2;253;252;248;48;2;253;252;248m"
    lowest = next(row for row in reversed(rows) if "58;50;104" in row or "113;105;163" in row)
    assert lowest.partition("|")[2].startswith(paper + "\u2580" * 3 * 12)


@pytest.mark.parametrize(
    ("where", "misfit"),
    [
        ({"ensemble": "chamber"}, ""),
        ({"ensemble": "solo melody"}, "medium"),
        ({"family": "works for bowed strings"}, "medium"),
        ({"period": "romantic"}, "mixed"),
        ({"ensemble": "chamber", "texture": "single line"}, "texture"),
    ],
)
def test_works_that_do_not_fit_the_piece_are_said_to(
    where: dict[str, str], misfit: str
) -> None:
    r = reading(compared(WHOLE, cohort(Rung(where, "works"), 40)))
    assert r.company.misfit == misfit
    assert ("says little" in first_screen(r)[-1]) == bool(misfit)
