"""The MusicXML reader on tiny scores written by hand, on damaged files, on odd numbers."""

from __future__ import annotations

import dataclasses
import os
import random
import subprocess
import sys
import tempfile
import zipfile
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corpusreg.score.notes import Score
from corpusreg.score.readers import musicxml as musicxml_reader
from corpusreg.score.readers.musicxml import container as musicxml_container
from corpusreg.score.readers.musicxml import read_musicxml
from corpusreg.score.readers.musicxml.part import PartReader
from corpusreg.score.readers.musicxml.wording import UnusualError, cut
from corpusreg.system.errors import ReadError

FOUR_FOUR = "<time><beats>4</beats><beat-type>4</beat-type></time>"


def note(step: str = "C", octave: int = 4, duration: object = 1, inside: str = "") -> str:
    """A note; `inside` follows its duration, '<chord/>' and '<grace/>' go first."""
    first = "".join(m for m in ("<chord/>", "<cue/>") if m in inside)
    for mark in ("<chord/>", "<cue/>"):
        inside = inside.replace(mark, "")
    return (
        f"<note>{first}<pitch><step>{step}</step><octave>{octave}</octave></pitch>"
        f"<duration>{duration}</duration>{inside}</note>"
    )


def rest(duration: int = 1, whole_bar: bool = False) -> str:
    measure = ' measure="yes"' if whole_bar else ""
    return f"<note><rest{measure}/><duration>{duration}</duration></note>"


def attributes(inside: str = FOUR_FOUR, divisions: int = 1) -> str:
    return f"<attributes><divisions>{divisions}</divisions>{inside}</attributes>"


def direction(kind: str, after: str = "") -> str:
    return f"<direction><direction-type>{kind}</direction-type>{after}</direction>"


def score_text(*parts: list[str], heads: str = "", before: str = "") -> str:
    """A part-wise score; each part is a list of measure contents."""
    listed = heads or "".join(
        f'<score-part id="P{i}"><part-name>Part {i}</part-name></score-part>'
        for i in range(len(parts))
    )
    body = ""
    for i, measures in enumerate(parts):
        bars = "".join(
            text
            if text.startswith("<measure")
            else f'<measure number="{k + 1}">{text}</measure>'
            for k, text in enumerate(measures)
        )
        body += f'<part id="P{i}">{bars}</part>'
    return (
        f'<score-partwise version="4.0">{before}<part-list>{listed}</part-list>{body}'
        "</score-partwise>"
    )


@pytest.fixture
def read(tmp_path: Path) -> Any:
    def from_text(*parts: list[str], **more: str) -> Score:
        path = tmp_path / "score.musicxml"
        path.write_text(score_text(*parts, **more), encoding="utf-8")
        return read_musicxml(path)

    return from_text


def table(score: Score, *columns: str) -> list[tuple[Any, ...]]:
    """Columns of the note table; onset and duration in quarter notes from the start."""
    scale = {"onset": score.ticks, "duration": score.ticks}
    return [
        tuple(n[c].item() / scale[c] if c in scale else n[c].item() for c in columns)
        for n in score.notes
    ]


def quarters(score: Score, ticks: int) -> float:
    return ticks / score.ticks


# Notes


def test_pitch_onset_duration(read: Any) -> None:
    alter = note("F").replace("</step>", "</step><alter>1</alter>")
    score = read([attributes(divisions=2) + note(duration=2) + alter + note("B", 3, 3), note()])
    assert table(score, "bar", "onset", "duration", "pitch") == [
        (0, 0, 1, 60),
        (0, 1, 0.5, 66),
        (0, 1.5, 1.5, 59),
        (1, 3, 0.5, 60),
    ]


@pytest.mark.parametrize(
    "inside",
    [
        "<accidental/>",
        "<accidental>made-up</accidental>",
        '<notations><tied type="let-ring"/></notations>',
        "<lyric><text>line\nbreak</text></lyric>",
        "<play><other-play/></play><unheard-of/>",
    ],
)
def test_odd_children_do_not_lose_the_note(read: Any, inside: str) -> None:
    score = read([attributes() + note(inside=inside) + note("D")])
    assert table(score, "onset", "pitch", "tie_out") == [(0, 60, False), (1, 62, False)]
    assert not score.lost


def test_numbers_as_decimals(read: Any) -> None:
    sharp = note("F", duration="1.0").replace("</step>", "</step><alter>1.0</alter>")
    score = read([attributes() + sharp + note(duration="1.5") + note(duration=" 1 ")])
    assert table(score, "onset", "duration", "pitch") == [
        (0, 1, 66),
        (1, 1.5, 60),
        (2.5, 1, 60),
    ]
    assert not score.lost


def test_chord_keeps_voice_staff_and_onset_of_its_first_note(read: Any) -> None:
    first = note(inside="<voice>2</voice><staff>2</staff>")
    words = direction("<words>dolce</words>")
    chord = note("E", inside="<chord/>")
    score = read([attributes() + note("G", inside="<voice>1</voice>") + first + words + chord])
    assert table(score, "onset", "voice", "staff", "pitch")[1:] == [
        (1, 1, 2, 60),
        (1, 1, 2, 64),
    ]


def test_ties_from_tie_and_tied(read: Any) -> None:
    score = read(
        [
            attributes()
            + note(inside='<tie type="start"/>')
            + note(inside='<tie type="stop"/><tie type="start"/>')
            + note(inside='<notations><tied type="stop"/><tied type="start"/></notations>')
            + note(inside='<notations><tied type="stop"/></notations>')
        ]
    )
    assert table(score, "tie_in", "tie_out") == [
        (False, True),
        (True, True),
        (True, True),
        (True, False),
    ]


def test_grace_staccato_velocity(read: Any) -> None:
    grace = "<note><grace/><pitch><step>D</step><octave>5</octave></pitch></note>"
    dot = "<notations><articulations><{}/></articulations></notations>"
    loud = note(inside=dot.format("staccato")).replace("<note>", '<note dynamics="106.67">')
    score = read(
        [
            attributes()
            + note()
            + grace
            + loud
            + note(inside=dot.format("staccatissimo"))
            + note()
        ]
    )
    assert table(score, "onset", "duration", "grace", "staccato", "velocity") == [
        (0, 1, False, False, -1),
        (1, 0, True, False, -1),
        (1, 1, False, True, 96),  # 106.67 % of 90, MusicXML 4.0
        (2, 1, False, True, -1),
        (3, 1, False, False, -1),
    ]


@pytest.mark.parametrize("dotted", [0, 1, 2])
def test_a_dot_is_the_whole_chords(read: Any, dotted: int) -> None:
    dot = "<notations><articulations><staccato/></articulations></notations>"
    chord = [note(step) for step in "CEG"]
    chord[1:] = [each.replace("<note>", "<note><chord/>") for each in chord[1:]]
    chord[dotted] = chord[dotted].replace("</note>", f"{dot}</note>")
    score = read([attributes() + note() + "".join(chord) + note() + note("D")])
    assert score.notes["staccato"].tolist() == [False, True, True, True, False, False]


def test_cue_unpitched_and_percussion_are_left_out_and_counted(read: Any) -> None:
    stroke = "<note><unpitched/><duration>1</duration></note>"
    drum = attributes("<clef><sign>percussion</sign></clef>") + note() + note()
    heads = (
        '<score-part id="P0"><part-name>Flute</part-name></score-part>'
        '<score-part id="P1"><part-name>Drums</part-name></score-part>'
        '<score-part id="P2"><part-name>Blocks</part-name><score-instrument id="b"/>'
        '<midi-instrument id="b"><midi-unpitched>77</midi-unpitched></midi-instrument>'
        "</score-part>"
    )
    flute = attributes() + note() + note("D", inside="<cue/>") + stroke + note("E")
    score = read([flute], [drum], [attributes() + note()], heads=heads)
    assert table(score, "part", "onset", "pitch") == [(0, 0, 60), (0, 3, 64)]
    assert score.left_out == {"cue": 1, "unpitched": 4}


def test_microtones_are_rounded_and_counted(read: Any) -> None:
    quarter_sharp = note().replace("</step>", "</step><alter>0.5</alter>")
    score = read([attributes() + quarter_sharp])
    assert table(score, "pitch") == [(61,)]
    assert score.lost == {"a microtone rounded to the semitone": 1}


def test_notes_that_cannot_be_placed_are_counted(read: Any) -> None:
    bad = [
        note("H"),
        note(octave=20),
        note(duration="soon"),
        note(duration="-1"),
        note(duration="9" * 23),
        "<note><duration>1</duration></note>",
    ]
    score = read([attributes() + note() + "".join(bad)])
    assert table(score, "pitch") == [(60,)]
    assert score.lost == {
        "a note whose pitch cannot be read": 1,
        "a note outside the MIDI range 0-127": 1,
        "a note without a readable duration": 3,
        "a note with neither pitch nor rest": 1,
    }


# Transposition


def transpose(chromatic: int, octaves: int = 0, staff: str = "") -> str:
    return (
        f"<transpose{staff}><chromatic>{chromatic}</chromatic>"
        f"<octave-change>{octaves}</octave-change></transpose>"
    )


def test_transposition_of_part_and_its_change(read: Any) -> None:
    clarinet = attributes(FOUR_FOUR + transpose(-2)) + note()
    change = f"<attributes>{transpose(2, -1)}</attributes>" + note()
    score = read([clarinet, change], [attributes() + note(), note()])
    assert table(score, "part", "pitch") == [(0, 58), (0, 50), (1, 60), (1, 60)]


def test_transposition_of_one_staff(read: Any) -> None:
    start = attributes(FOUR_FOUR + "<staves>2</staves>" + transpose(-12, 0, ' number="2"'))
    score = read([start + note() + note(inside="<staff>2</staff>")])
    assert table(score, "staff", "pitch") == [(1, 60), (2, 48)]
    assert score.parts[0].staves == 2


def test_octave_shift_line_and_octave_clef_change_nothing(read: Any) -> None:
    clef = "<clef><sign>G</sign><clef-octave-change>-1</clef-octave-change></clef>"
    line = direction('<octave-shift type="down" size="8"/>')
    score = read([attributes(FOUR_FOUR + clef) + line + note()])
    assert table(score, "pitch") == [(60,)]


def test_concert_score_reads_as_it_sounds(read: Any) -> None:
    clarinet = "<for-part><part-transpose><chromatic>-2</chromatic></part-transpose></for-part>"
    score = read(
        [attributes(FOUR_FOUR + clarinet) + note()],
        before="<defaults><concert-score/></defaults>",
    )
    assert table(score, "pitch") == [(60,)]


# Time


def test_backup_and_forward(read: Any) -> None:
    back = "<backup><duration>2</duration></backup>"
    forward = "<forward><duration>1</duration></forward>"
    second = note("E", inside="<voice>5</voice>")
    score = read([attributes() + note() + note("D") + back + forward + second])
    assert table(score, "onset", "voice", "pitch") == [(0, 0, 60), (1, 0, 62), (1, 1, 64)]
    assert quarters(score, score.bars.length[0]) == 2


def test_divisions_change_inside_a_bar_and_differ_between_parts(read: Any) -> None:
    finer = "<attributes><divisions>3</divisions></attributes>"
    thirds = "".join(note(duration=1) for _ in range(3))
    score = read(
        [attributes() + note(duration=2) + finer + thirds + note(duration=3)],
        [attributes(divisions=5) + note(duration=1) + note(duration=19)],
    )
    assert score.ticks == 15
    onsets = [n["onset"].item() for n in score.notes]
    assert onsets == [0, 30, 35, 40, 45, 0, 3]
    assert score.bars.length[0] == 60


@given(
    lengths=st.lists(st.integers(1, 12), min_size=1, max_size=12),
    divisions=st.integers(1, 64),
    factor=st.integers(1, 12),
    split=st.integers(0, 12),
)
def test_divisions_are_only_a_way_of_writing(
    tmp_path_factory: pytest.TempPathFactory,
    lengths: list[int],
    divisions: int,
    factor: int,
    split: int,
) -> None:
    """The same music in finer divisions, from some note on, has the same times."""
    plain = attributes(divisions=divisions) + "".join(note(duration=d) for d in lengths)
    finer = f"<attributes><divisions>{divisions * factor}</divisions></attributes>"
    changed = attributes(divisions=divisions)
    for i, length in enumerate(lengths):
        changed += (finer if i == split else "") + note(
            duration=length * (factor if i >= split else 1)
        )
    path = tmp_path_factory.mktemp("divisions") / "score.xml"
    found = []
    for text in (plain, changed):
        path.write_text(score_text([text]), "utf-8")
        score = read_musicxml(path)
        assert not score.lost
        found.append(
            [
                (
                    Fraction(int(n["onset"]), score.ticks),
                    Fraction(int(n["duration"]), score.ticks),
                )
                for n in score.notes
            ]
        )
    assert found[0] == found[1]
    assert [duration for _, duration in found[0]] == [Fraction(d, divisions) for d in lengths]


def test_absurd_divisions_are_rounded_and_counted(read: Any) -> None:
    primes = (999983, 999979, 999961)
    parts = [
        [attributes(divisions=p) + note(duration=p) + note(duration=p // 3)] for p in primes
    ]
    score = read(*parts)
    assert score.ticks == 60480
    assert [n["onset"].item() for n in score.notes[1::2]] == [60480] * 3
    assert score.lost["a time rounded, divisions too fine to be exact"] > 0


def test_a_short_bar_in_one_part_keeps_the_parts_together(read: Any) -> None:
    full = note(duration=4)
    score = read([attributes() + note(duration=2), full], [attributes() + full, full, full])
    assert table(score, "part", "bar", "onset") == [
        (0, 0, 0),
        (0, 1, 4),
        (1, 0, 0),
        (1, 1, 4),
        (1, 2, 8),
    ]
    assert any("2 to 3 bars" in text for text in score.assumed)


def test_pickup_and_empty_bar(read: Any) -> None:
    pickup = f'<measure number="0" implicit="yes">{attributes()}{note()}</measure>'
    rested = f'<measure number="0" implicit="yes">{attributes()}{rest(4, True)}</measure>'
    score = read([pickup, note(duration=4), ""], [rested, note(duration=4), ""])
    assert [quarters(score, t) for t in score.bars.length] == [1, 4, 4]
    assert [quarters(score, t) for t in score.bars.full] == [4, 4, 4]
    assert score.bars.labels == ("0", "2", "3")


def test_whole_bar_rest_is_no_longer_than_its_metre(read: Any) -> None:
    three = "<time><beats>3</beats><beat-type>4</beat-type></time>"
    score = read([attributes(three) + rest(4, True), note(duration=3)])
    assert table(score, "onset") == [(3,)]


def test_a_lone_rest_of_conventional_length(read: Any) -> None:
    two = "<time><beats>2</beats><beat-type>4</beat-type></time>"
    score = read(
        [attributes(two) + rest(4), note(duration=2)], [attributes(two) + note(), note()]
    )
    assert table(score, "part", "onset") == [(0, 2), (1, 0), (1, 2)]


def test_a_rest_too_many_in_one_part(read: Any) -> None:
    two = "<time><beats>2</beats><beat-type>4</beat-type></time>"
    score = read([attributes(two) + note(duration=2) + rest(2), note(duration=2)])
    assert table(score, "onset") == [(0,), (2,)]


def test_rests_count_where_notes_pass_the_metre_and_in_pickups(read: Any) -> None:
    pickup = f'<measure number="0" implicit="yes">{attributes()}{note()}{rest()}</measure>'
    score = read([pickup, note(duration=6) + rest(2), note()])
    assert table(score, "onset") == [(0,), (2,), (10,)]


def test_parts_in_different_metres_take_the_one_that_fills_the_bar(read: Any) -> None:
    compound = "<time><beats>12</beats><beat-type>8</beat-type></time>"
    score = read([attributes() + note(duration=4)], [attributes(compound) + note(duration=6)])
    assert quarters(score, score.bars.full[0]) == quarters(score, score.bars.length[0]) == 6
    assert quarters(score, score.bars.beat[0]) == 1.5
    assert any("different metres" in text for text in score.assumed)


def test_a_bar_longer_than_its_metre_is_kept_and_said(read: Any) -> None:
    score = read([attributes() + note(duration=7), note()])
    assert table(score, "onset") == [(0,), (7,)]
    assert "bars longer than their metre (1): kept as long as they are" in score.assumed


def test_measures_without_number(read: Any) -> None:
    bare = f"<measure>{note(duration=4)}</measure>"
    first = f'<measure number="7">{attributes()}{note(duration=4)}</measure>'
    score = read([first, bare, bare])
    assert score.bars.labels == ("7", "8", "9")
    assert any("without a number" in text for text in score.assumed)


def test_metres(read: Any) -> None:
    def metre(*pairs: tuple[str, int]) -> str:
        inside = "".join(f"<beats>{a}</beats><beat-type>{b}</beat-type>" for a, b in pairs)
        return f"<attributes><time>{inside}</time></attributes>"

    free = "<attributes><time><senza-misura/></time></attributes>"
    score = read(
        [
            note(duration=4),
            metre(("6", 8)) + note(duration=3),
            metre(("3+2", 8)) + note(duration=2) + note(duration="0.5"),
            metre(("3", 8), ("2", 4)) + note(duration=3),
            free + note(duration=7),
        ]
    )
    assert [quarters(score, t) for t in score.bars.full] == [4, 3, 2.5, 3.5, 7]
    assert [quarters(score, t) for t in score.bars.length] == [4, 3, 2.5, 3, 7]
    assert [quarters(score, t) for t in score.bars.beat] == [1, 1.5, 0.5, 0.5, 1]
    assert "no metre written at the beginning: read as 4/4" in score.assumed


def test_timewise_equals_partwise(tmp_path: Path, read: Any) -> None:
    bars = [
        [attributes() + note() + note("E"), note("G")],
        [attributes() + note("C", 3), note()],
    ]
    measures = "".join(
        f'<measure number="{k + 1}">'
        + "".join(f'<part id="P{i}">{part[k]}</part>' for i, part in enumerate(bars))
        + "</measure>"
        for k in range(2)
    )
    listed = "".join(f'<score-part id="P{i}"/>' for i in range(2))
    path = tmp_path / "time.xml"
    path.write_text(
        f"<score-timewise><part-list>{listed}</part-list>{measures}</score-timewise>", "utf-8"
    )
    assert sorted(table(read_musicxml(path), "part", "bar", "onset", "pitch")) == sorted(
        table(read(*bars), "part", "bar", "onset", "pitch")
    )


# Dynamics, pedal, tempo


def test_dynamics_with_offset_and_staff(read: Any) -> None:
    piano = direction("<dynamics><p/></dynamics>", "<offset>1</offset><staff>2</staff>")
    forte = direction("<dynamics><f/></dynamics>", '<sound dynamics="100"/>')
    more = direction("<dynamics><other-dynamics>più </other-dynamics><f/></dynamics>")
    inside = note(inside="<notations><dynamics><ff/></dynamics></notations>")
    alone = '<sound dynamics="50"/>'
    score = read(
        [attributes() + note() + piano + note() + forte + note() + more + inside + alone]
    )
    assert [(d.tick, d.kind, d.mark, d.velocity, d.staff) for d in score.dynamics] == [
        (2, "mark", "p", None, 2),
        (2, "mark", "f", 90.0, 0),
        (3, "mark", "f", None, 0),
        (3, "mark", "ff", None, 1),
        (4, "mark", "", 45.0, 0),
    ]
    assert not score.lost


def test_hairpins_by_number_and_staff(read: Any) -> None:
    def wedge(kind: str, staff: int, number: int = 1) -> str:
        return direction(f'<wedge type="{kind}" number="{number}"/>', f"<staff>{staff}</staff>")

    score = read(
        [
            attributes()
            + wedge("crescendo", 1)
            + note()
            + wedge("diminuendo", 2)
            + note()
            + wedge("stop", 1)
            + note()
            + wedge("stop", 2)
        ]
    )
    assert [(d.kind, d.tick, d.end, d.staff) for d in score.dynamics] == [
        ("cresc", 0, 2, 1),
        ("dim", 1, 3, 2),
    ]


def test_hairpin_end_earlier_in_the_file_than_its_beginning(read: Any) -> None:
    """Voice 1 holds the end, voice 2 after a backup the beginning."""
    back = "<backup><duration>4</duration></backup>"
    stop, start = direction('<wedge type="stop"/>'), direction('<wedge type="crescendo"/>')
    score = read([attributes() + note(duration=4) + stop + back + note() + start + note("E")])
    assert [(d.kind, d.tick, d.end) for d in score.dynamics] == [("cresc", 1, 4)]
    assert not score.lost


def test_a_hairpin_end_with_another_number_closes_the_open_one(read: Any) -> None:
    start, stop = '<wedge type="crescendo" number="1"/>', '<wedge type="stop" number="2"/>'
    score = read([attributes() + direction(start) + note() + direction(stop) + direction(stop)])
    assert [(d.tick, d.end) for d in score.dynamics] == [(0, 1)]
    assert score.lost == {"a hairpin's end without its beginning": 1}


def test_hairpins_in_words_last_until_the_next_mark(read: Any) -> None:
    words = [direction(f"<words>{w}</words>") for w in ("poco cresc.", "dim.", "dolce")]
    mark = direction("<dynamics><p/></dynamics>")
    score = read([attributes() + note().join([*words, mark, ""])])
    assert [(d.kind, d.tick, d.end) for d in score.dynamics] == [
        ("cresc", 0, 1),
        ("dim", 1, 3),
        ("mark", 3, None),
    ]


def test_dashes_end_a_hairpin_in_words(read: Any) -> None:
    start = direction(
        '<words>cresc.</words></direction-type><direction-type><dashes type="start"/>'
    )
    stop = direction('<dashes type="stop"/>')
    score = read([attributes() + start + note() + stop + note()])
    assert [(d.kind, d.tick, d.end) for d in score.dynamics] == [("cresc", 0, 1)]


def test_pedal(read: Any) -> None:
    signs = ("start", "change", "stop", "sostenuto", "stop")
    steps = [direction(f'<pedal type="{s}"/>') + note() for s in signs]
    sounded = '<sound damper-pedal="yes"/>' + note() + '<sound damper-pedal="no"/>'
    score = read([attributes() + "".join(steps) + sounded])
    assert [(p.start, p.end) for p in score.pedals] == [(0, 1), (1, 2), (5, 6)]


def test_tempo_from_metronome_and_sound(read: Any) -> None:
    mark = (
        "<metronome><beat-unit>quarter</beat-unit><beat-unit-dot/>"
        "<per-minute>c. 60</per-minute></metronome>"
    )
    other = direction(mark, '<sound tempo="91"/>')
    score = read([attributes() + other + note() + '<sound tempo="72.5"/>' + note()])
    assert [(t.tick, t.quarters_per_minute) for t in score.tempos] == [(0, 90.0), (1, 72.5)]


# Form


def repeat(way: str, more: str = "", side: str = "") -> str:
    side = side or ("left" if way == "forward" else "right")
    return f'<barline location="{side}"><repeat direction="{way}"{more}/></barline>'


def ending(number: str, kind: str, side: str, inside: str = "") -> str:
    sign = f'<ending number="{number}" type="{kind}"/>'
    return f'<barline location="{side}">{sign}{inside}</barline>'


def test_repeats_and_endings(read: Any) -> None:
    back = '<repeat direction="backward"/>'
    score = read(
        [
            attributes() + note(duration=4),
            repeat("forward") + note(duration=4),
            ending("1, 2", "start", "left")
            + note(duration=4)
            + ending("1, 2", "stop", "right", back),
            ending("3", "start", "left")
            + note(duration=4)
            + ending("3", "discontinue", "right"),
            note(duration=4) + repeat("backward", ' times="4"'),
        ]
    )
    assert list(score.bars.repeat_start) == [False, True, False, False, False]
    assert list(score.bars.repeat_end) == [0, 0, 3, 0, 4]
    assert score.bars.endings == ((), (), (1, 2), (3,), ())
    assert list(score.bars.section) == [False, True, False, False, False]


def verse_note(verses: int) -> str:
    lyrics = "".join(f'<lyric number="{v + 1}"><text>la</text></lyric>' for v in range(verses))
    return note(duration=4, inside=lyrics)


@pytest.mark.parametrize(("verses", "times"), [(1, 2), (2, 2), (3, 3), (5, 5)])
def test_a_strophic_passage_is_played_once_a_verse(read: Any, verses: int, times: int) -> None:
    score = read(
        [
            attributes() + verse_note(verses),
            verse_note(verses) + repeat("backward"),
            verse_note(1),
        ]
    )
    assert list(score.bars.repeat_end) == [0, times, 0]
    assert any("verses" in text for text in score.assumed) == (verses > 2)


@pytest.mark.parametrize(("marked", "counted"), [(1, 0), (2, 2)])
def test_letters_under_a_few_notes_are_no_text(read: Any, marked: int, counted: int) -> None:
    """As letters of themes are in orchestral scores; sung parts have words throughout."""
    bars = [verse_note(1)] * marked + [note(duration=4)] * (20 - marked)
    assert read([attributes(), *bars]).parts[0].lyrics == counted


def test_figures_under_a_bass_are_no_text(read: Any) -> None:
    figured = note(duration=4, inside="<lyric><text>6</text></lyric>")
    assert read([attributes() + figured, figured]).parts[0].lyrics == 0
    assert read([attributes() + verse_note(2), figured]).parts[0].lyrics == 1


def test_written_times_win_over_verses(read: Any) -> None:
    score = read([attributes() + verse_note(4) + repeat("backward", ' times="2"')])
    assert list(score.bars.repeat_end) == [2]


def test_times_written_in_one_part_hold_for_all(read: Any) -> None:
    three, plain = repeat("backward", ' times="3"'), repeat("backward")
    score = read([attributes() + note() + three], [attributes() + note() + plain])
    assert list(score.bars.repeat_end) == [3]


def test_jumps_from_sound(read: Any) -> None:
    names = ("segno", "tocoda", "dalsegno", "coda", "fine", "dacapo")
    bars = [f'<sound {name}="x"/>' + note(duration=4) for name in names]
    score = read([attributes() + bars[0], *bars[1:]])
    assert score.bars.marks == tuple(frozenset({name}) for name in names)


def test_jumps_from_words_and_signs(read: Any) -> None:
    signs = [
        "<segno/>",
        "<coda/>",
        "<words>D.S. al Coda</words>",
        "<coda/>",
        "<words>Fine</words>",
        "<words>Da Capo al Fine</words>",
        "<words>Fine feathers, D.C. and so on</words>",
    ]
    score = read([attributes() + direction(s) + note(duration=4) for s in signs])
    assert [sorted(m) for m in score.bars.marks] == [
        ["segno"],
        ["tocoda"],
        ["dalsegno"],
        ["coda"],
        ["fine"],
        ["dacapo"],
        [],
    ]


def test_sections(read: Any) -> None:
    double = '<barline location="right"><bar-style>light-light</bar-style></barline>'
    key = "<key><fifths>{}</fifths></key>"
    three = "<time><beats>3</beats><beat-type>4</beat-type></time>"
    score = read(
        [
            attributes(FOUR_FOUR + key.format(0)) + note(duration=4) + double,
            note(duration=4),
            direction("<rehearsal>B</rehearsal>") + note(duration=4),
            f"<attributes>{key.format(1)}</attributes>" + note(duration=4),
            f"<attributes>{key.format(2)}{three}</attributes>" + note(duration=3),
        ]
    )
    assert list(score.bars.section) == [False, True, True, False, True]
    marks = [(sign.bar, sign.text) for sign in score.signs if sign.kind == "rehearsal"]
    assert marks == [(2, "B")]


# Parts and metadata


def braced(upper: str, lower: str, group: str = "", symbol: str = "brace") -> str:
    return (
        f'<part-group number="1" type="start"><group-name>{group}</group-name>'
        f"<group-symbol>{symbol}</group-symbol></part-group>"
        f'<score-part id="P0"><part-name>{upper}</part-name></score-part>'
        f'<score-part id="P1"><part-name>{lower}</part-name></score-part>'
        '<part-group number="1" type="stop"/>'
    )


@pytest.mark.parametrize(
    ("upper", "lower", "group", "symbol", "player"),
    [
        ("Piano", "Piano", "", "brace", "Piano"),
        ("Harp", "", "", "brace", "Harp"),
        ("", "", "Organ", "brace", "Organ"),
        ("Right Hand", "Left Hand", "Clavier", "brace", "Clavier"),
        ("Right Hand", "Left Hand", "", "brace", "Right Hand"),
        ("Piano (RH)", "Piano (LH)", "", "brace", "Piano"),
        ("Piano 1", "Piano 2", "", "brace", None),
        ("Piano", "Piano", "", "bracket", None),
        ("Violin", "Violin", "", "brace", None),
        ("Voice", "Piano", "", "brace", None),
        ("", "", "", "brace", None),
    ],
)
def test_two_hands_are_one_player_only_where_certain(
    read: Any, upper: str, lower: str, group: str, symbol: str, player: str | None
) -> None:
    loud = direction("<dynamics><f/></dynamics>")
    score = read(
        [attributes() + note("C", 5)],
        [attributes() + loud + note("C", 3)],
        heads=braced(upper, lower, group, symbol),
    )
    assert len(score.parts) == (1 if player else 2)
    if player:
        assert (score.parts[0].name, score.parts[0].staves) == (player, 2)
        assert table(score, "part", "staff", "voice", "pitch") == [(0, 1, 0, 72), (0, 2, 1, 48)]
        assert [(d.part, d.staff) for d in score.dynamics] == [(0, 2)]
        assert any("two hands" in text for text in score.assumed)


def test_part_details_and_order_of_grouped_parts(read: Any) -> None:
    heads = (
        '<part-group number="1" type="start"><group-symbol>bracket</group-symbol></part-group>'
        '<score-part id="P1"><part-name>Violin\n I</part-name>'
        "<part-abbreviation>Vl. I</part-abbreviation>"
        '<score-instrument id="v"><instrument-sound>strings.violin</instrument-sound>'
        '</score-instrument><midi-instrument id="v"><midi-program>41</midi-program>'
        "</midi-instrument></score-part>"
        '<part-group number="1" type="stop"/>'
        '<score-part id="P0"><part-name>Voice</part-name></score-part>'
    )
    score = read([attributes() + note("C", 5)], [attributes() + note("C", 3)], heads=heads)
    violin, voice = score.parts
    assert (violin.name, violin.abbreviation, violin.sound_id, violin.program) == (
        "Violin I",
        "Vl. I",
        "strings.violin",
        40,
    )
    assert voice.name == "Voice"
    assert table(score, "part", "pitch") == [(0, 48), (1, 72)]


def test_metadata(read: Any) -> None:
    before = (
        "<work><work-number>Op. 1</work-number><work-title>Songs</work-title></work>"
        "<movement-title>Dawn</movement-title><identification>"
        '<creator type="composer">A. Maker</creator><creator type="poet">B. Poet</creator>'
        "<rights>CC0</rights><rights>2020</rights><encoding><software>Tool 1</software>"
        "<encoding-date>2020-01-02</encoding-date></encoding><source>a print</source>"
        '<miscellaneous><miscellaneous-field name="mood">calm</miscellaneous-field>'
        "</miscellaneous></identification>"
    )
    score = read([attributes() + note()], before=before)
    assert score.metadata == {
        "number": "Op. 1",
        "title": "Songs",
        "movement": "Dawn",
        "composer": "A. Maker",
        "lyricist": "B. Poet",
        "rights": "CC0; 2020",
        "encoder": "Tool 1",
        "encoding-date": "2020-01-02",
        "source": "a print",
        "misc:mood": "calm",
    }


def test_parts_without_id(tmp_path: Path) -> None:
    bar = f"<part><measure>{attributes()}{note()}</measure></part>"
    path = tmp_path / "noid.xml"
    path.write_text(
        f"<score-partwise><part-list><score-part/><score-part/></part-list>{bar}{bar}"
        "</score-partwise>",
        "utf-8",
    )
    assert table(read_musicxml(path), "part", "bar", "pitch") == [(0, 0, 60), (1, 0, 60)]


# Files


GOOD = score_text([attributes() + note()])


def write_mxl(path: Path, members: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return path


def container(member: str) -> bytes:
    return (
        f'<container><rootfiles><rootfile full-path="{member}"/></rootfiles></container>'
    ).encode()


def test_mxl_takes_the_named_score(tmp_path: Path) -> None:
    other = score_text([attributes() + note("G")])
    members = {
        "META-INF/container.xml": container("b/score.xml"),
        "a.xml": other.encode(),
        "b/score.xml": GOOD.encode(),
    }
    assert table(read_musicxml(write_mxl(tmp_path / "x.mxl", members)), "pitch") == [(60,)]


@pytest.mark.parametrize("index", [None, container("gone.xml"), b"<broken"])
def test_mxl_without_a_usable_container(tmp_path: Path, index: bytes | None) -> None:
    members = {"score.xml": GOOD.encode()}
    if index is not None:
        members = {"META-INF/container.xml": index} | members
    assert table(read_musicxml(write_mxl(tmp_path / "x.mxl", members)), "pitch") == [(60,)]


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig", "latin-1"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "é x.xml"
    named = "iso-8859-1" if encoding == "latin-1" else encoding.removesuffix("-sig")
    text = GOOD.replace("Part 0", "Flöte")
    path.write_bytes(f'<?xml version="1.0" encoding="{named}"?>{text}'.encode(encoding))
    assert read_musicxml(path).parts[0].name == "Flöte"


def refused(path: Path) -> str:
    """The message of the ReadError that a file gives: one line that names it."""
    with pytest.raises(ReadError) as caught:
        read_musicxml(path)
    message = str(caught.value)
    assert path.name in message
    assert "\n" not in message
    assert ";" in message, "no next step"
    return message


BOMB = (
    '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {chr(98 + i)} "{f"&{chr(97 + i)};" * 10}">' for i in range(9))
    + "]>"
)


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", "empty"),
        (b"plain words", "damaged XML at line 1"),
        (b"\x00\x01\x02\x03" * 50, "damaged XML"),
        (b"<html><body/></html>", "no MusicXML"),
        (b"<score-partwise/>", "no pitched notes"),
        (GOOD.replace("><", ">\n<")[:-30].encode(), "damaged XML at line 23"),
        (b"PK\x03\x04 not an archive", "damaged .mxl"),
        (b'<?xml version="1.0" encoding="made-up"?><score-partwise/>', "damaged XML"),
        (b"<a>" * 100_000, "damaged XML"),
        (score_text([attributes() + rest()]).encode(), "no pitched notes;"),
        (
            score_text(["<note><unpitched/><duration>1</duration></note>"]).encode(),
            "only percussion",
        ),
    ],
)
def test_bad_files_are_refused_in_one_line(tmp_path: Path, data: bytes, expected: str) -> None:
    path = tmp_path / "bad.musicxml"
    path.write_bytes(data)
    assert expected in refused(path)


def test_entities_are_not_expanded(tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("hidden words", "utf-8")
    path = tmp_path / "entity.xml"
    outside = f'<!DOCTYPE x [<!ENTITY e SYSTEM "{secret.as_uri()}">]>'
    path.write_text(outside + GOOD.replace("Part 0", "&e;"), "utf-8")
    assert "hidden" not in read_musicxml(path).parts[0].name
    path.write_text(BOMB + GOOD.replace("<measure", "&a;<measure"), "utf-8")
    assert len(read_musicxml(path).notes) == 1
    path.write_text(BOMB + GOOD.replace("Part 0", "&j;"), "utf-8")
    assert "damaged XML" in refused(path)
    path.write_text(BOMB + GOOD.replace('number="1"', 'number="&j;"'), "utf-8")
    assert "damaged XML" in refused(path)


@pytest.mark.parametrize(
    ("filling", "expected"),
    [
        (b" " * 30_000_000, "too long"),
        (b"<!--" + b"a" * 1000 + b"-->\n", "a single bar takes more than 16 MB"),
        (b"<defaults/>", "a single bar takes more than 16 MB"),
    ],
    ids=["text", "comments", "elements"],
)
def test_a_small_archive_that_swells_is_refused(
    tmp_path: Path, filling: bytes, expected: str
) -> None:
    text = filling * (30_000_000 // len(filling))
    path = write_mxl(tmp_path / "bomb.mxl", {"score.xml": b"<score-partwise>" + text})
    assert path.stat().st_size < 500_000
    assert expected in refused(path)


def test_size_is_bounded_while_unpacking(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(musicxml_container, "MAX_BYTES", 1_000_000)
    bars = f"<measure><!--{'-x' * 5000}--></measure>" * 200
    text = GOOD.replace("</part>", f"{bars}</part>").encode()
    assert "larger than 1 MB" in refused(write_mxl(tmp_path / "x.mxl", {"s.xml": text}))
    path = tmp_path / "x.xml"
    path.write_bytes(text)
    assert "larger than 1 MB" in refused(path)


def test_missing_folder_and_archive_without_score(tmp_path: Path) -> None:
    assert "no such file" in refused(tmp_path / "gone.xml")
    assert "folder" in refused(tmp_path)
    assert "no score" in refused(write_mxl(tmp_path / "x.mxl", {"readme.txt": b"hello"}))


def test_unreadable_permissions(tmp_path: Path) -> None:
    """As a user who may not read the file; root may read everything, so another user."""
    path = tmp_path / "closed.xml"
    path.write_text(GOOD, "utf-8")
    path.chmod(0)
    if os.geteuid() != 0:
        assert "permission" in refused(path)
        return
    code = (
        "import os, sys; from pathlib import Path\n"
        "from corpusreg.score.readers.musicxml import read_musicxml\n"
        "os.setgid(65534); os.setuid(65534)\n"
        "try: read_musicxml(Path(sys.argv[1]))\n"
        "except Exception as error: print(type(error).__name__, error)\n"
    )
    for folder in (tmp_path, tmp_path.parent, tmp_path.parent.parent):
        folder.chmod(0o755)
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("ReadError closed.xml: no permission"), done.stderr


# Damaged at random


def mutant(data: bytes, chance: random.Random) -> bytes:
    """A copy with a few bytes changed, cut out, doubled, or the rest missing."""
    out = bytearray(data)
    for _ in range(chance.randint(1, 6)):
        at, length = chance.randrange(len(out)), chance.randint(1, 40)
        how = chance.randrange(5)
        if how == 0:
            out[at] = chance.randrange(256)
        elif how == 1:
            del out[at : at + length]
        elif how == 2:
            out[at:at] = out[at : at + length]
        elif how == 3:
            out[at : at + 1] = b"%d" % chance.choice((-1, 0, 7, 10**6, 10**30))
        elif chance.random() < 0.3:
            del out[at:]
        if not out:
            break
    return bytes(out)


def rich_scores(tmp_path: Path) -> list[bytes]:
    wedge = direction('<wedge type="crescendo"/>', "<offset>1</offset>")
    first = score_text(
        [
            attributes(FOUR_FOUR + "<staves>2</staves>" + transpose(-2), 4)
            + wedge
            + note(duration=4, inside='<tie type="start"/><voice>1</voice><staff>1</staff>')
            + note("E", duration=4, inside="<chord/>")
            + "<backup><duration>4</duration></backup>"
            + note("C", 3, 2, "<voice>5</voice><staff>2</staff>"),
            '<sound tempo="90" dynamics="80"/>' + note(duration=16) + repeat("backward"),
        ],
        [attributes(divisions=3) + note(duration=12), direction("<dynamics><p/></dynamics>")],
        heads=braced("Piano", "Piano"),
    )
    second = first.replace("score-partwise", "score-timewise")
    packed = write_mxl(
        tmp_path / "packed.mxl",
        {"META-INF/container.xml": container("s.xml"), "s.xml": first.encode()},
    )
    return [first.encode(), second.encode(), packed.read_bytes()]


@pytest.mark.parametrize("which", [0, 1, 2])
def test_mutants_read_or_are_refused(tmp_path: Path, which: int) -> None:
    chance = random.Random(20 + which)
    data = rich_scores(tmp_path)[which]
    path = tmp_path / "mutant.mxl"
    read_well = 0
    for _ in range(300):
        path.write_bytes(mutant(data, chance))
        score = both_ways(path)
        if isinstance(score, str):
            assert "\n" not in score
        else:
            read_well += 1
            assert (score.notes["duration"] >= 0).all()
            assert (score.notes["onset"] >= 0).all()
    assert which == 1 or read_well > 0


def both_ways(path: Path) -> Score | str:
    """A score or the error, the same by the wording of notes and from whole elements."""

    def refuse(data: bytes) -> Any:
        raise UnusualError

    found: list[Score | str] = []
    for way in (cut, refuse):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(musicxml_reader, "cut", way)
            try:
                found.append(read_musicxml(path))
            except ReadError as error:
                found.append(str(error))
    assert plain(found[0]) == plain(found[1])
    return found[0]


def plain(value: Any) -> Any:
    """A score as values that can be compared."""
    if dataclasses.is_dataclass(value):
        return [plain(getattr(value, each.name)) for each in dataclasses.fields(value)]
    if isinstance(value, np.ndarray):
        return value.tolist()
    return list(map(plain, value)) if isinstance(value, tuple) else value


ODD_NOTES = (
    note(inside="<type>half</type><lyric><text>la</text></lyric>"),
    note(inside='<type>half</type><lyric name="a" number="2"><text>la</text></lyric>'),
    note(inside='<type>half</type><lyric number="2"><text>6</text></lyric>'),
    note(inside="<lyric><text>a</text><elision/><text>b</text></lyric>"),
    note(inside="<type>half</type><lyric><text>\xe9 &amp;</text><extend/></lyric>"),
    note(inside="<voice>2</voice><type>half</type><staff>2</staff>"),
    note(inside="<staff>2</staff><type>half</type><staff>1</staff>"),
    note(inside="<type>half</type><voice>3</voice>"),
    note(inside="<voice/><type>half</type>"),
    note(inside="<type>half</type><notehead>normal</notehead><notations><tied/></notations>"),
    note(
        inside='<tie type="stop"/><type>half</type><notations><tied type="start"/></notations>'
    ),
    note(
        inside="<type>half</type><notations><articulations><spiccato/></articulations></notations>"
    ),
    note(inside="<type>half</type><notations><dynamics><ff/></dynamics></notations>"),
    note(inside="<chord/>") + note("E", inside="<chord/><type>half</type>"),
    note(inside="<cue/>"),
    note("F", 4, "1.5"),
    note("F", 4, "-1"),
    note("F", 4, "x"),
    note("F", 12),
    note("H"),
    note().replace("</step>", "</step><alter>0.5</alter>"),
    note().replace("<duration>1</duration>", "<grace/>"),
    note().replace("<note>", '<note default-x="3" dynamics="50">'),
    note().replace("<note>", '<note  default-x="3"\nprint-object="no" >'),
    note().replace("<note>", "<note x='>'>"),
    "<note/>",
    "<note />",
    "<note><duration>2</duration></note>",
    rest(2),
    rest(4, whole_bar=True),
    "<backup><duration>1</duration></backup>",
    "<forward><duration>1</duration></forward>",
    "<attributes><divisions>3</divisions></attributes>",
    direction("<dynamics><p/></dynamics>"),
    "<attributes><transpose><chromatic>-2</chromatic></transpose></attributes>",
    "<attributes><clef><sign>percussion</sign></clef></attributes>",
    "<!-- said -->",
    "<![CDATA[<note>]]>",
    "<note><pitch></note>",
    "<run-of-notes>0</run-of-notes>",
)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.lists(st.sampled_from((note(), note("A", 3, 2), *ODD_NOTES)), max_size=6),
        min_size=1,
        max_size=3,
    )
)
def test_notes_say_the_same_by_wording_and_as_elements(bars: list[list[str]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "score.musicxml"
        path.write_text(score_text(["".join(bar) for bar in bars]), encoding="utf-8")
        both_ways(path)


def test_ordinary_notes_are_read_by_their_wording(
    read: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(PartReader, "_read_note", None)
    third = note("E", inside="<chord/><type>half</type>").replace(
        "<note>", '<note default-x="3">'
    )
    score = read([attributes() + note() + third + rest(), note(duration=2)])
    assert table(score, "onset", "pitch") == [(0, 60), (0, 64), (2, 60)]


@pytest.mark.parametrize("timewise", [False, True])
def test_large_files_read_in_pieces_say_the_same(
    timewise: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    parts = [
        [
            f'<measure number="{i}">{note("CDEFGAB"[(i + part) % 7]) * 4}</measure>'
            for i in range(9)
        ]
        for part in range(3)
    ]
    text = score_text(*parts)
    if timewise:
        body = "".join(
            f'<measure number="{i}">'
            + "".join(
                f'<part id="P{p}">{bars[i].split(">", 1)[1].removesuffix("</measure>")}</part>'
                for p, bars in enumerate(parts)
            )
            + "</measure>"
            for i in range(9)
        )
        head = text.partition("<part id")[0].replace("partwise", "timewise")
        text = f"{head}{body}</score-timewise>"
    path = tmp_path / "piece.musicxml"
    path.write_text(text)
    whole = read_musicxml(path)
    monkeypatch.setattr(musicxml_reader, "_LARGE", 1)
    monkeypatch.setattr(musicxml_container, "_PIECE", 100)
    in_pieces = read_musicxml(path)
    assert len(whole.notes) == 3 * 9 * 4
    assert whole.notes.tolist() == in_pieces.notes.tolist()
    assert (whole.parts, whole.bars.labels) == (in_pieces.parts, in_pieces.bars.labels)
    assert [part.name for part in whole.parts] == ["Part 0", "Part 1", "Part 2"]
