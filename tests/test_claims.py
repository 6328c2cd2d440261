"""What sentences claim about notes is worked out again from the notes: of the demo pieces, and
of bundled scores of every kind."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from conftest import PIECES, chosen_files
from test_comparison import NARROW, cohort

from corpusreg.comparison.comparison import Comparison, Piece, compare
from corpusreg.comparison.findings import Finding, Reading, reading
from corpusreg.comparison.placing import part_names
from corpusreg.comparison.players import players
from corpusreg.instruments import load
from corpusreg.measures.analysis import analyse
from corpusreg.score.played import Played, perform
from corpusreg.score.readers import read_file
from corpusreg.text.findings import EVENTS, NAMES, sentence
from corpusreg.text.reading import first_screen, heading

# Every tenth of the files of the small reference.
REAL = [file.path for file in chosen_files()[::10]]
PATHS = [*sorted(PIECES.iterdir()), *REAL]
WORDS = 25  # of a sentence on a first screen


@lru_cache
def read(path: Path) -> tuple[Comparison, Reading]:
    """The first work of a file, among works made by hand."""
    score = read_file(path).scores[0]
    played = perform(score)
    names = part_names(played)
    parts = {
        name: analyse(played.only(played.notes.part == index)) for index, name in names.items()
    }
    whole = analyse(played)
    piece = Piece(score.metadata.get("title", "Untitled"), str(path), tuple(parts), "chamber")
    c = compare(
        piece,
        whole,
        parts,
        [cohort(NARROW, 40)],
        len(score.bars),
        players(whole, parts, load()),
    )
    return c, reading(c)


def found(*kinds: str) -> Iterator[tuple[Played, Finding, Reading]]:
    """Events of the whole of some kinds in all pieces."""
    for path in PATHS:
        c, r = read(path)
        for each in r.of_whole(*kinds):
            yield c.whole.played, each, r


def sounding(played: Played, first: float, last: float) -> np.ndarray:
    """Pitches that sound between two times, in played bars and parts of them."""
    bars, notes = played.bars, played.notes
    edges = np.append(bars.start, bars.start[-1] + bars.length[-1])
    start, end = (np.interp(at, np.arange(len(edges)), edges) for at in (first, last))
    rows = (notes.onset < end - 0.5) & (notes.onset + notes.duration > start + 0.5)
    return notes.pitch[rows]


@pytest.mark.parametrize(("kind", "turn"), [("withheld_bass", 1), ("withheld_top", -1)])
def test_nothing_sounds_beyond_the_edge_while_bass_or_top_is_withheld(
    kind: str, turn: int
) -> None:
    checked = 0
    for played, each, r in found(kind):
        event = each.event
        assert event is not None and event.edge is not None and each.size is not None
        comes = each.low if turn == 1 else each.high
        assert comes is not None and turn * comes < turn * event.edge
        struck = played.notes.pitch[played.notes.bar == event.bar]
        assert turn * comes == (turn * struck).min()
        if each.clean:
            whole = sounding(played, event.bar - each.size, event.bar)
            assert (turn * whole).min() >= turn * event.edge, sentence(each, r.piece)
            checked += 1
    assert checked >= 2


def test_the_high_point_is_the_highest_note_and_comes_first_in_its_bar() -> None:
    for played, each, r in found("high_point"):
        event = each.event
        assert event is not None
        notes = played.notes
        assert event.high == notes.pitch.max() == r.piece.highest
        assert event.bar == notes.bar[notes.pitch == event.high].min()
        near = notes.bar[(notes.pitch >= event.high - 2) & (notes.bar < event.bar)]
        # A bar that a repeat sign brings again is one bar of the page.
        assert event.times == len({played.bars.printed[bar] for bar in near.tolist()})


def test_climbs_and_descents_go_from_note_to_note() -> None:
    for played, each, _ in found("climb", "descent"):
        event = each.event
        assert event is not None
        heard = sounding(played, event.first, event.last)
        assert {event.low, event.high} <= set(heard.tolist())
        assert event.high - event.low == event.distance >= 12


def test_nothing_sounds_inside_a_gap() -> None:
    for played, each, r in found("gap"):
        event = each.event
        assert event is not None
        heard = sounding(played, event.first, event.last)
        assert not ((heard > event.low) & (heard < event.high)).any(), sentence(each, r.piece)


def test_a_pedal_point_sounds_in_each_of_its_bars() -> None:
    for played, each, r in found("pedal_point"):
        event = each.event
        assert event is not None
        for bar in range(event.first, event.last):
            heard = sounding(played, bar, bar + 1)
            assert event.low % 12 in heard % 12, sentence(each, r.piece)


def test_a_voice_that_enters_was_silent() -> None:
    for played, each, _ in found("voice_entry"):
        if len(each.players) != 1 or each.rest is None or each.event is None:
            continue
        notes = played.notes
        part = {v: k for k, v in part_names(played).items()}[each.players[0]]
        bars = np.unique(notes.bar[notes.part == part])
        silent = range(each.event.bar - each.rest, each.event.bar)
        assert not set(silent) & set(bars.tolist())
        # A rest is told of a player who rests for as long, and not of a layer of the page.
        assert each.size is not None and each.size <= each.rest + 2


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)
def test_a_first_screen_is_five_lines_of_short_sentences(path: Path) -> None:
    _, r = read(path)
    lines = first_screen(r)
    assert 3 <= len(lines) <= 5
    for line in (heading(r), *lines):
        for each in re.split(r"(?<=[.?;]) ", line):
            assert len(each.split()) <= WORDS, each
        assert not re.search(r"\bX\d|\btold\b|\bsuch\b|likewise|\.\.|  ", line), line


def test_every_kind_of_event_has_its_sentence_and_its_name() -> None:
    from typing import get_args

    from corpusreg.measures.events import Kind

    assert set(EVENTS) == set(NAMES) == set(get_args(Kind))


def test_no_sentence_names_a_bar_that_is_not_on_the_page() -> None:
    for path in PATHS:
        c, r = read(path)
        printed = {label.partition(" (")[0] for label in c.bars.labels}
        for each in r.events:
            text = re.sub(r"\(\d\w\w time\)", "", sentence(each, r.piece))
            for low, high in re.findall(r"\bbars? (\w+)(?:–(\w+))?", text):
                if low.isdigit():
                    assert low in printed and (not high or high in printed), text


def test_what_a_repeat_sign_brings_again_is_told_once() -> None:
    repeats = 0
    for path in PATHS:
        c, r = read(path)
        told: dict[int, set[object]] = {1: set()}
        for each in r.of_whole():
            assert each.bar and each.event
            same = (each.name, each.bar.index, each.event.low, each.event.high)
            told.setdefault(each.bar.time, set()).add(same)
        first = told.pop(1)
        assert not any(first & later for later in told.values()), path.name
        repeats += len(r.of_whole()) < sum(each.part is None for each in c.events)
    assert repeats >= 2
