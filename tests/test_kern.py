"""The kern reader: hand-written scores, properties, damaged files, another reader."""

from __future__ import annotations

import random
from fractions import Fraction
from pathlib import Path

import pytest
from agreed import held
from hypothesis import given, settings
from hypothesis import strategies as st
from kern_oracle import differences, music21_staves, own_staves

from corpusreg.score.notes import Score
from corpusreg.score.readers.kern import read_kern, read_kern_all
from corpusreg.score.readers.kern.spines import parse_dynamics, parse_token, transposition
from corpusreg.score.readers.musicxml import read_musicxml
from corpusreg.system.errors import ReadError

PIANO = """!!!COM: Nobody, Anna
!!!OTL: Kleine Sache
!!!OTL@@PL: Mała rzecz
!!!OMD: Andante
!!!YEC: none
!!!ODT: 1901
**kern\t**kern\t**dynam
*staff2\t*staff1\t*staff1/2
*Ipiano\t*Ipiano\t*Ipiano
*>[A,A1,A,A2]\t*>[A,A1,A,A2]\t*>[A,A1,A,A2]
*>norep[A,A2]\t*>norep[A,A2]\t*>norep[A,A2]
*>A\t*>A\t*>A
*M3/4\t*M3/4\t*M3/4
*MM90\t*MM90\t*MM90
4r\t4e\tp
=1\t=1\t=1
*\t*^\t*
2.C 2.G\t4cc'\t4e\t<
.\t4dd`\t2f\t.
.\t[4ee\t.\t[
*\t*v\t*v\t*
=2:|!\t=2:|!\t=2:|!
*>A1\t*>A1\t*>A1
*ped\t*\t*
2.D\t16qff\t.
.\t4ee]\tf >
.\t2d\t.
*Xped\t*\t*
=3\t=3\t=3
*>A2\t*>A2\t*>A2
2.E\t2.g\t]
==\t==\t==
*-\t*-\t*-
"""

DUET = """**kern\t**kern
*part2\t*part1
*I"Viola\t*I"Oboe
*I'Va.\t*I'Ob.
*Iviola\t*Ioboe
*M4/4\t*M4/4
=1-\t=1-
1A\t2.a
.\t4b
=2\t=2
*x\t*x
2cc\t2G
2a\t2F
*x\t*x
=3||\t=3||
1E\t1cc
==\t==
*-\t*-
"""

GROWING = """**kern\t**text
*M2/4\t*
=1\t=1
4c\tla
*^\t*
4d\t8f\tla
.\t8g\tla
*v\t*v\t*
*+\t*
*\t**kern\t*
=2\t=2\t=2
2e\t2ee\tla
*-\t*\t*
=3\t=3
2ff\tla
==\t==
*-\t*-
"""


def read(tmp_path: Path, text: str | bytes, name: str = "piece.krn") -> Score:
    path = tmp_path / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_kern(path)


def column(*tokens: str) -> str:
    return "\n".join(["**kern", *tokens, "*-", ""])


def rows(score: Score) -> list[tuple[int, int, Fraction, Fraction, int]]:
    """(part, staff, onset, duration, pitch) in quarters, sorted."""
    return sorted(
        (
            int(note["part"]),
            int(note["staff"]),
            Fraction(int(note["onset"]), score.ticks),
            Fraction(int(note["duration"]), score.ticks),
            int(note["pitch"]),
        )
        for note in score.notes
    )


def pitches(score: Score) -> list[int]:
    return [pitch for *_, pitch in rows(score)]


# -- tokens -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("token", "pitch"),
    [
        ("4c", 60),
        ("4cc", 72),
        ("4C", 48),
        ("4CC", 36),
        ("4b-", 70),
        ("4f##", 67),
        ("4en", 64),
        ("4a", 69),
        ("4AAA", 33),
        ("4B#", 60),
        ("4c-", 59),
        ("8fyyf", 77),
    ],
)
def test_pitch_letters(token: str, pitch: int) -> None:
    assert [note.pitch for note in parse_token(token).notes] == [pitch]


@pytest.mark.parametrize(
    ("token", "quarters"),
    [
        ("4c", "1"),
        ("8.c", "3/4"),
        ("2..c", "7/2"),
        ("12c", "1/3"),
        ("0c", "8"),
        ("00c", "16"),
        ("0.c", "12"),
        ("3%2c", "8/3"),
        ("1%2c", "8"),
        ("20c", "1/5"),
    ],
)
def test_durations(token: str, quarters: str) -> None:
    assert parse_token(token).advance == Fraction(quarters)


def test_chord_inherits_the_first_duration_and_ties_note_by_note() -> None:
    event = parse_token("[2c e_ 4g]")
    assert [note.duration for note in event.notes] == [2, 2, 1]
    assert [(note.tie_in, note.tie_out) for note in event.notes] == [
        (False, True),
        (True, True),
        (True, False),
    ]


@pytest.mark.parametrize("token", ["4r", "4ryy", "4rgg", "4ggr", "4r;"])
def test_rests_even_with_a_position_have_no_pitch(token: str) -> None:
    event = parse_token(token)
    assert (event.advance, event.notes, event.lost) == (1, (), ())


def test_grace_notes_take_no_time() -> None:
    for token in ("8qcc", "16qqcc", "qcc"):
        event = parse_token(token)
        assert (event.advance, event.grace) == (0, True)
        assert event.notes[0].duration == 0


def test_dynamics_signs() -> None:
    signs, strange = parse_dynamics("] sfz >")
    assert [sign if isinstance(sign, str) else (sign.what, sign.kind) for sign in signs] == [
        ("end", "dim"),
        "sfz",
        ("start", "dim"),
    ]
    assert strange == 0
    assert parse_dynamics("fyy")[0] == ["f"]
    assert parse_dynamics("p.w")[1] == 1
    assert parse_dynamics("??? sf") == (["sf"], 1)


# -- a piano piece ------------------------------------------------------------


def test_piano_is_one_part_with_two_staves_top_first(tmp_path: Path) -> None:
    score = read(tmp_path, PIANO)
    assert [(part.code, part.staves) for part in score.parts] == [("Ipiano", 2)]
    assert {row[1] for row in rows(score) if row[4] < 60} == {2}
    assert {row[1] for row in rows(score) if row[4] >= 60} == {1}
    assert score.lost == {}
    assert score.left_out == {}


def test_split_strands_are_voices_at_their_own_times(tmp_path: Path) -> None:
    score = read(tmp_path, PIANO)
    bar_one = [row[2:] for row in rows(score) if row[1] == 1 and 1 <= row[2] < 4]
    assert bar_one == [(1, 1, 64), (1, 1, 72), (2, 1, 74), (2, 2, 65), (3, 1, 76)]
    top = score.notes[score.notes["pitch"] == 76]
    assert [(bool(n["tie_in"]), bool(n["tie_out"])) for n in top] == [
        (False, True),
        (True, False),
    ]
    assert score.notes["staccato"].sum() == 2
    in_bar = score.notes[(score.notes["bar"] == 1) & (score.notes["staff"] == 1)]
    assert len(set(in_bar["voice"].tolist())) == 2


def test_bars_pickup_repeats_endings_and_order(tmp_path: Path) -> None:
    bars = read(tmp_path, PIANO).bars
    assert bars.labels == ("0", "1", "2", "3")
    quarter = bars.length[0]
    assert (bars.length // quarter).tolist() == [1, 3, 3, 3]
    assert (bars.full // quarter).tolist() == [3, 3, 3, 3]
    assert (bars.beat // quarter).tolist() == [1, 1, 1, 1]
    assert bars.repeat_end.tolist() == [0, 2, 0, 0]
    assert bars.endings == ((), (), (1,), (2,))
    assert bars.order == (0, 1, 2, 0, 1, 3)
    assert bars.section.tolist() == [True, False, True, False]


def test_dynamics_pedal_tempo_and_metadata(tmp_path: Path) -> None:
    score = read(tmp_path, PIANO)
    quarter = score.ticks
    found = [
        (d.kind, d.mark, Fraction(d.tick, quarter), d.end, d.staff) for d in score.dynamics
    ]
    assert found == [
        ("mark", "p", 0, None, 0),
        ("cresc", "", 1, 3 * quarter, 0),
        ("mark", "f", 4, None, 0),
        ("dim", "", 4, 7 * quarter, 0),
    ]
    assert [(p.part, p.start, p.end) for p in score.pedals] == [(0, 4 * quarter, 7 * quarter)]
    assert [(t.tick, t.quarters_per_minute) for t in score.tempos] == [(0, 90.0)]
    assert score.metadata["composer"] == "Nobody, Anna"
    assert score.metadata["title"] == "Kleine Sache"
    assert score.metadata["OTL@@PL"] == "Mała rzecz"
    assert score.metadata["OMD"] == "Andante"
    assert (score.metadata["rights"], score.metadata["date"]) == ("none", "1901")
    assert score.format == "kern"


@pytest.mark.parametrize(
    ("tokens", "spans"),
    [
        (["*ped", "4c", "*lift", "4d", "=2", "2e"], [(0, 1)]),
        (["*ped", "4c", "*ped", "4d", "*Xped", "=2", "2e"], [(0, 1), (1, 2)]),
        (["4c", "*ped", "4d", "=2", "2e"], [(1, 2)]),
        (["4c", "4d", "=2", "*ped", "2e", "*Xped"], [(2, 4)]),
        (["*Iorgan", "*ped", "4c", "*Xped", "4d", "=2", "2e"], []),
    ],
)
def test_pedal_spans(tmp_path: Path, tokens: list[str], spans: list[tuple[int, int]]) -> None:
    score = read(tmp_path, column("*M2/4", "=1", *tokens, "=="))
    quarter = score.ticks
    assert [(p.start / quarter, p.end / quarter) for p in score.pedals] == spans
    assert bool(score.left_out) == (not spans)  # an organ's signs are counted


# -- parts --------------------------------------------------------------------


def test_two_players_stand_top_first_and_exchange_columns(tmp_path: Path) -> None:
    score = read(tmp_path, DUET)
    assert [part.name for part in score.parts] == ["Oboe", "Viola"]
    assert [part.abbreviation for part in score.parts] == ["Ob.", "Va."]
    oboe = [(row[2], row[4]) for row in rows(score) if row[0] == 0]
    viola = [(row[2], row[4]) for row in rows(score) if row[0] == 1]
    assert oboe == [(0, 69), (3, 71), (4, 72), (6, 69), (8, 72)]
    assert viola == [(0, 57), (4, 55), (6, 53), (8, 52)]
    assert score.bars.section.tolist() == [True, False, True]


def test_words_are_counted_in_the_first_verse_of_the_part_they_stand_under(
    tmp_path: Path,
) -> None:
    song = (
        "**kern\t**kern\t**text\t**text\n*part2\t*part1\t*\t*\n=1\t=1\t=1\t=1\n"
        "4C\t4c\tHei-\tO\n4D\t4d\t-ßa\two\n4E\t4e\t|\tnur\n*-\t*-\t*-\t*-\n"
    )
    assert [part.lyrics for part in read(tmp_path, song).parts] == [2, 0]


def test_added_and_ended_spines(tmp_path: Path) -> None:
    score = read(tmp_path, GROWING)
    assert [(row[0], row[2], row[4]) for row in rows(score)] == [
        (0, 2, 76),
        (0, 4, 77),
        (1, 0, 60),
        (1, 1, 65),
        (1, 1, 62),
        (1, Fraction(3, 2), 67),
        (1, 2, 64),
    ]


@pytest.mark.parametrize(
    ("left", "right", "parts"),
    [
        (["*part1", "*Ivioln"], ["*part1", "*Iempty"], 1),
        (["*part2", "*Ipiano"], ["*part1", "*Ipiano"], 1),
        (["*Iorgan"], ["*Iorgan"], 1),
        (["*Iorgan", '*I"Organ I'], ["*Iorgan", '*I"Organ II'], 2),
        (["*Iorgan", '*I"Pedal'], ["*Iorgan", '*I"Manual'], 1),
        (["*Ivioln"], ["*Ivioln"], 2),
        (["*Itenor", '*I"Tenor'], ["*Itenor", '*I"Tenor'], 2),
        (['*I"Clavier'], ['*I"Clavier'], 1),
        (["*Ipiano"], ["*Ivox"], 2),
        (["*"], ["*"], 2),
    ],
)
def test_which_columns_are_one_player(
    tmp_path: Path, left: list[str], right: list[str], parts: int
) -> None:
    depth = max(len(left), len(right))
    pairs = zip(left + ["*"] * (depth - len(left)), right + ["*"] * depth, strict=False)
    head = "".join(f"{a}\t{b}\n" for a, b in pairs)
    score = read(tmp_path, f"**kern\t**kern\n{head}4C\t4c\n*-\t*-\n")
    assert len(score.parts) == parts
    assert sum(part.staves for part in score.parts) == 2


def test_one_keyboard_in_the_instrument_record(tmp_path: Path) -> None:
    body = "**kern\t**kern\n4C\t4c\n*-\t*-\n"
    assert len(read(tmp_path, "!!!AIN: piano\n" + body).parts) == 1
    assert len(read(tmp_path, "!!!AIN: flt oboe\n" + body).parts) == 2


def test_a_change_of_instrument_is_said(tmp_path: Path) -> None:
    score = read(tmp_path, column("*Iflt", "4c", "*Ipicco", "4d"))
    assert [part.code for part in score.parts] == ["Iflt"]
    assert any("change instrument" in text for text in score.assumed)


def test_organ_has_three_staves(tmp_path: Path) -> None:
    text = "**kern\t**kern\t**kern\n*Iorgan\t*Iorgan\t*Iorgan\n4C\t4c\t4cc\n*-\t*-\t*-\n"
    score = read(tmp_path, text)
    assert [part.staves for part in score.parts] == [3]
    assert [(row[1], row[4]) for row in rows(score)] == [(1, 72), (2, 60), (3, 48)]


MUSICXML = """<score-partwise><part-list><score-part id="P1"><part-name>Piano</part-name>
</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>2</divisions>
<time><beats>2</beats><beat-type>4</beat-type></time><staves>2</staves></attributes>
<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration><staff>1</staff></note>
<backup><duration>4</duration></backup>
<note><pitch><step>C</step><octave>3</octave></pitch><duration>2</duration><staff>2</staff></note>
<note><chord/><pitch><step>G</step><octave>3</octave></pitch><duration>2</duration>
<staff>2</staff></note>
<note><rest/><duration>2</duration><staff>2</staff></note></measure></part></score-partwise>"""


def test_a_piano_piece_gives_the_same_parts_in_kern_and_musicxml(tmp_path: Path) -> None:
    path = tmp_path / "piano.musicxml"
    path.write_text(MUSICXML, "utf-8")
    other = read_musicxml(path)
    score = read(
        tmp_path,
        "**kern\t**kern\n*Ipiano\t*Ipiano\n*M2/4\t*M2/4\n=1\t=1\n"
        "4C 4G\t2cc\n4r\t.\n==\t==\n*-\t*-\n",
    )
    assert [part.staves for part in score.parts] == [part.staves for part in other.parts] == [2]
    assert rows(score) == rows(other)
    assert score.bars.labels == other.bars.labels


# -- sounding pitch -----------------------------------------------------------


def test_transposing_instruments_are_encoded_as_they_sound(tmp_path: Path) -> None:
    assert pitches(read(tmp_path, column("*ITrd1c2", "4cc"))) == [72]
    assert pitches(read(tmp_path, column("*clefGv2", "*8va", "4cc", "*X8va"))) == [72]


def test_a_transposed_encoding_is_taken_back(tmp_path: Path) -> None:
    # A horn in D written in C (as on the page) sounds a minor seventh lower.
    assert pitches(read(tmp_path, column("*Trd6c10", "4cc"))) == [62]
    assert transposition(["*Trd-1c-2"]) == 2
    low = read(tmp_path, column("*Trd7c12", "4CCCCC", "4c"))
    assert (pitches(low), low.lost) == ([48], {"note outside MIDI 0-127": 1})
    assert transposition(["*ITrd-1c-2"]) == 0


# -- bars ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tokens", "labels"),
    [
        (["*M2/4", "4c", "=1", "2c", "=2", "2c", "=="], ["0", "1", "2"]),
        (["*M2/4", "=1-", "2c", "=2", "2c", "=="], ["1", "2"]),
        (["*M2/4", "2c", "=2", "2c", "=3", "2c", "=="], ["1", "2", "3"]),
        (["*M2/4", "=1", "2c", "=", "2c", "=3", "2c", "=="], ["1", "2", "3"]),
        (["*M2/4", "=1", "2c", "=2", "4c", "=:|!", "4c", "=3", "2c"], ["1", "2", "2", "3"]),
        (["*M2/4", "=1", "2c", "=2a", "2c", "=2b", "2c", "=3", "2c"], ["1", "2a", "2b", "3"]),
        (["*M2/4", "=1", "2c", "=", "2c", "=2", "2c", "=="], ["1", "1a", "2"]),
    ],
)
def test_bar_labels(tmp_path: Path, tokens: list[str], labels: list[str]) -> None:
    assert list(read(tmp_path, column(*tokens)).bars.labels) == labels


def test_a_label_inside_a_bar_cuts_it(tmp_path: Path) -> None:
    score = read(
        tmp_path, column("*>[A,B,B]", "*M2/4", "*>A", "=1", "2c", "=2", "4d", "*>B", "4e", "==")
    )
    assert score.bars.labels == ("1", "2", "2")
    assert score.bars.order == (0, 1, 2, 2)


def test_an_expansion_list_that_names_nothing_is_said(tmp_path: Path) -> None:
    score = read(tmp_path, column("*>[A,Z]", "*>A", "*M1/4", "=1", "4c", "=="))
    assert score.bars.order is None
    assert any("'Z'" in text for text in score.assumed)


def test_lists_without_commas_and_without_a_first_label(tmp_path: Path) -> None:
    tokens = ["*M1/4", "=1", "4c", "=2", "*>A1", "4d", "=3", "*>B", "4e", "=="]
    assert read(tmp_path, column("*>[AA1AB]", "*>A", *tokens)).bars.order == (0, 1, 0, 2)
    assert read(tmp_path, column("*>[A,A1,B]", *tokens)).bars.order == (0, 1, 2)


def test_a_label_that_stands_twice_is_taken_where_it_comes_next(tmp_path: Path) -> None:
    bars = ["*M1/4"]
    for number, label in enumerate(["A", "A1", "A", "B"]):
        bars += [f"={number + 1}", f"*>{label}", "4c"]
    score = read(tmp_path, column("*>[A,A1,A,B,B]", *bars, "=="))
    assert score.bars.order == (0, 1, 2, 3, 3)


def test_labels_in_one_place_and_endless_lists(tmp_path: Path) -> None:
    tokens = ["*M1/4", "=1", "*>A", "*>B", "4c", "=2", "4d", "=="]
    assert read(tmp_path, column("*>[A,B,A,B]", *tokens)).bars.order == (0, 1, 0, 1)
    endless = "*>[" + "B," * 60_000 + "B]"
    score = read(tmp_path, column(endless, *tokens))
    assert score.bars.order is None
    assert any("more than" in text for text in score.assumed)


def test_repeat_signs_on_both_sides(tmp_path: Path) -> None:
    bars = read(
        tmp_path, column("*M1/4", "=1!|:", "4c", "=2:|!|:", "4d", "=3:|!", "4e", "==")
    ).bars
    assert bars.repeat_start.tolist() == [True, True, False]
    assert bars.repeat_end.tolist() == [2, 2, 0]


def test_segno_fine_and_da_capo_from_layout_texts(tmp_path: Path) -> None:
    score = read(
        tmp_path,
        column(
            "*M2/4",
            "=1",
            "!LO:TX:a:t=[segno]:problem=on the barline",
            "4c",
            "4d",
            "!LO:TX:b:t=Fine.",
            "=2",
            "4e",
            "!LO:TX:b:i:t=Da Capo.",
            "4f",
            "!LO:TX:a:t=Trio Da Capo",
            "=3",
            "!LO:TX:a:t=dal Segno",
            "2g",
            "==",
        ),
    )
    assert score.bars.marks == (
        frozenset({"segno", "fine"}),
        frozenset({"dacapo"}),
        frozenset({"dalsegno"}),
    )


def test_metre_changes_and_breves(tmp_path: Path) -> None:
    score = read(tmp_path, column("*M2/1", "=1", "0c", "=2", "*M6/8", "4.c", "4.d", "=="))
    quarters = [Fraction(int(x), score.ticks) for x in score.bars.full]
    assert quarters == [8, 3]
    assert [Fraction(int(x), score.ticks) for x in score.bars.beat] == [4, Fraction(3, 2)]
    assert any("4/4" in text for text in read(tmp_path, column("4c")).assumed)


def test_a_rest_longer_than_the_bar_does_not_move_the_barline(tmp_path: Path) -> None:
    text = (
        "**kern\t**kern\t**kern\n*M4/4\t*M4/4\t*M4/4\n=1\t=1\t=1\n00r\t00r\t1c\n"
        "=2\t=2\t=2\n.\t.\t1d\n=3\t=3\t=3\n.\t.\t0e\n==\t==\t==\n*-\t*-\t*-\n"
    )
    score = read(tmp_path, text)
    assert [row[2] for row in rows(score)] == [0, 4, 8]
    assert score.lost == {}


def test_a_short_spine_is_counted_and_the_bars_stay_together(tmp_path: Path) -> None:
    text = (
        "**kern\t**kern\t**kern\n*M4/4\t*M4/4\t*M4/4\n=1\t=1\t=1\n2C\t1c\t1cc\n"
        "=2\t=2\t=2\n1D\t1d\t1dd\n==\t==\t==\n*-\t*-\t*-\n"
    )
    score = read(tmp_path, text)
    assert sorted({row[2] for row in rows(score)}) == [0, 4]
    assert score.lost == {"spines that fall short of the barline": 1}


def test_dynamics_between_notes_are_spread(tmp_path: Path) -> None:
    text = "**kern\t**dynam\n*M4/4\t*\n1c\tp\n.\t<\n.\t.\n.\t[\n==\t==\n*-\t*-\n"
    score = read(tmp_path, text)
    hairpin = score.dynamics[1]
    assert (hairpin.tick, hairpin.end) == (score.ticks, 3 * score.ticks)


# -- what is passed over, what is lost ----------------------------------------


def test_hidden_notes_sound_and_cue_notes_are_left_out(tmp_path: Path) -> None:
    score = read(tmp_path, column("4cyy", "*cue", "4d", "*Xcue", "4e", "4ryy", "4f"))
    assert [(row[2], row[4]) for row in rows(score)] == [(0, 60), (2, 64), (4, 65)]
    assert score.left_out == {"cue": 1}


def test_bad_tokens_are_counted_and_reading_goes_on(tmp_path: Path) -> None:
    score = read(
        tmp_path,
        column("4c", "4", "xe", "4cE", "16f#/16a", "4" + "C" * 12, "1%99999999c", "4g"),
    )
    assert pitches(score) == [60, 67]
    assert sum(score.lost.values()) == 6
    assert score.lost["note outside MIDI 0-127"] == 1


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("**kern\t**kern\n4c\n*-\t*-\n", r"piece\.krn, line 2: 1 tokens where 2 spines"),
        ("**kern\t**kern\n4c\t4d\n*v\t*\n", r"line 3: a join"),
        ("**kern\t**kern\n4c\t4d\n*x\t*\n", r"line 3: an exchange"),
        ("**kern\n4c\n*^\n4c\n", r"line 4: 1 tokens where 2 spines"),
        ("**kern\n4r\n*-\n", "no \\*\\*kern notes"),
        ("", "no \\*\\* line"),
        ("X:1\nK:C\nCDEF\n", "no \\*\\* line"),
        ("4c\n**kern\n4c\n*-\n", "line 1"),
    ],
)
def test_lost_structure_is_an_error_with_its_place(
    tmp_path: Path, text: str, match: str
) -> None:
    with pytest.raises(ReadError, match=match):
        read(tmp_path, text)


def test_a_missing_file_is_a_read_error(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="cannot be read"):
        read_kern(tmp_path / "nowhere.krn")


def test_a_file_that_stops_is_read_and_said(tmp_path: Path) -> None:
    score = read(tmp_path, "**kern\n4c\n4d\n")
    assert pitches(score) == [60, 62]
    assert any("not terminated" in text for text in score.assumed)


def test_encodings_and_line_ends(tmp_path: Path) -> None:
    plain = rows(read(tmp_path, DUET))
    assert rows(read(tmp_path, DUET.replace("\n", "\r\n"))) == plain
    assert rows(read(tmp_path, b"\xef\xbb\xbf" + DUET.encode())) == plain
    latin = read(tmp_path, ("!!!COM: Dvořák\n" + DUET).replace("ř", "r").encode("latin-1"))
    assert latin.metadata["composer"] == "Dvorák"


def test_segments(tmp_path: Path) -> None:
    path = tmp_path / "two.krn"
    one = "!!!!SEGMENT: one\n!!!OTL: First\n" + column("4c")
    path.write_text(one + "!!!!SEGMENT: two\n!!!OTL: Second\n" + column("4d"), "utf-8")
    scores = read_kern_all(path)
    assert [score.metadata["title"] for score in scores] == ["First", "Second"]
    assert [pitches(score) for score in scores] == [[60], [62]]
    assert pitches(read_kern(path)) == [60]


# -- properties ---------------------------------------------------------------

LINE = st.lists(st.sampled_from(["c", "d", "e", "f#", "b-", "cc"]), min_size=1, max_size=8)


@settings(max_examples=25, deadline=None)
@given(upper=LINE, data=st.data())
def test_a_split_spine_is_the_same_music_as_chords(
    tmp_path_factory: pytest.TempPathFactory, upper: list[str], data: st.DataObject
) -> None:
    folder = tmp_path_factory.mktemp("split")
    size = len(upper)
    lower = data.draw(st.lists(st.sampled_from("CDEFG"), min_size=size, max_size=size))
    pairs = list(zip(lower, upper, strict=True))
    split = ["*M4/4", "*^", *(f"4{low}\t4{high}" for low, high in pairs), "*v\t*v"]
    chords = ["*M4/4", *(f"4{low} 4{high}" for low, high in pairs)]
    assert rows(read(folder, column(*split))) == rows(read(folder, column(*chords)))


@settings(max_examples=25, deadline=None)
@given(cuts=st.lists(st.sampled_from([2, 4, 8, 16, 12]), min_size=2, max_size=6))
def test_a_note_cut_by_ties_merges_back(
    tmp_path_factory: pytest.TempPathFactory, cuts: list[int]
) -> None:
    folder = tmp_path_factory.mktemp("ties")
    middle = [f"{cut}c_" for cut in cuts[1:-1]]
    score = read(folder, column(f"[{cuts[0]}c", *middle, f"{cuts[-1]}c]", "4d"))
    tied = score.notes[score.notes["pitch"] == 60]
    ends = tied["onset"] + tied["duration"]
    assert tied["tie_out"].tolist() == [True] * (len(cuts) - 1) + [False]
    assert tied["tie_in"].tolist() == [False] + [True] * (len(cuts) - 1)
    assert ends[:-1].tolist() == tied["onset"][1:].tolist()
    assert Fraction(int(ends[-1]), score.ticks) == sum(Fraction(4, cut) for cut in cuts)


def test_damaged_files_raise_read_errors_only(tmp_path: Path) -> None:
    luck = random.Random(20)
    read_again = refused = 0
    for text in (PIANO, DUET, GROWING):
        for _ in range(100):
            try:
                score = read(tmp_path, _damaged(text.encode(), luck))
            except ReadError:
                refused += 1
                continue
            read_again += 1
            assert (score.notes["bar"] < len(score.bars)).all()
            assert (score.notes["duration"] >= 0).all()
    assert read_again > 20
    assert refused > 20


def _damaged(data: bytes, luck: random.Random) -> bytes:
    """The bytes with one to four cuts, doublings, swaps or strange characters."""
    out = bytearray(data)
    for _ in range(luck.randint(1, 4)):
        if not out:
            break
        place = luck.randrange(len(out))
        size = luck.randint(1, 30)
        what = luck.randrange(5)
        if what == 0:
            del out[place : place + size]
        elif what == 1:
            out[place:place] = out[place : place + size]
        elif what == 2:
            out[place] = luck.choice(b"\t\n*=.^vx-+0%[]_q r\xff\x00!9")
        elif what == 3:
            out = out[: max(place, 1)]
        else:
            out[place:place] = luck.choice([b"\t", b"\n", b"*v\t", b"999999", b"%7", b"*^"])
    return bytes(out)


# -- another reader -----------------------------------------------------------

BUNDLED = [
    "chopin/mazurka06-2.krn",
    "beethoven/opus18no1/movement3.krn",
    "bach/bwv277.krn",
    "bach/bwv281.krn",
    "bach/bwv366.krn",
]


def _bundled() -> list[Path]:
    import music21

    corpus = Path(music21.__file__).parent / "corpus"
    palestrina = sorted((corpus / "palestrina").glob("*.krn"))
    return [corpus / name for name in BUNDLED] + palestrina[::440]


def test_bundled_scores_agree_with_music21_note_for_note() -> None:
    read = {path: read_kern(path) for path in _bundled()}
    assert len(read) >= 8
    assert not any(score.lost for score in read.values())
    staves = {path: own_staves(score) for path, score in read.items()}

    def against_music21() -> None:
        for path, ours in staves.items():
            assert differences(ours, music21_staves(path)) == {}, path.name

    told = [[sorted(staff.items()) for staff in ours] for ours in staves.values()]
    held("kern", told, against_music21)


def test_one_quartet_movement_is_the_same_in_both_formats() -> None:
    import music21

    folder = Path(music21.__file__).parent / "corpus" / "beethoven" / "opus18no1"
    kern, xml = read_kern(folder / "movement3.krn"), read_musicxml(folder / "movement3.mxl")
    assert [part.staves for part in kern.parts] == [part.staves for part in xml.parts]
    assert kern.bars.labels == xml.bars.labels
    assert [row[:3] + row[4:] for row in rows(kern)] == [row[:3] + row[4:] for row in rows(xml)]


BRACED = """\
!!!system-decoration: {decoration}
**kern\t**kern
*part2\t*part1
*staff2\t*staff1
*Iempty\t*{code}
*clefF4\t*clefG2
*M4/4\t*M4/4
=1\t=1
1C\t1c
=2\t=2
1D\t1d
==\t==
*-\t*-
"""


@pytest.mark.parametrize(
    ("instruments", "code", "staves"),
    [
        ("1 empty 1 piano", "Ipiano", [2]),
        ("2 empty", "Iempty", [1, 1]),
        ("1 empty 1 vox", "Ivox", [1, 1]),
    ],
)
def test_an_empty_column_under_the_only_keyboard_is_its_other_staff(
    tmp_path: Path, instruments: str, code: str, staves: list[int]
) -> None:
    path = tmp_path / "empty.krn"
    text = BRACED.replace("{decoration}", "[(s1,s2)]").replace("{code}", code)
    path.write_text(f"!!!AIN: {instruments}\n{text}", encoding="utf-8")
    (score,) = read_kern_all(path)
    assert [part.staves for part in score.parts] == staves


@pytest.mark.parametrize(
    ("decoration", "code", "staves"),
    [
        ("{(s1,s2)}", "Iempty", [2]),
        ("{s1,s2}", "Ipiano", [2]),
        ("[(s1,s2)]", "Ipiano", [1, 1]),  # a bracket joins players, not hands
        ("{(s1,s2)}", "Ivox", [1, 1]),
    ],
)
def test_a_brace_makes_two_staves_one_player(
    tmp_path: Path, decoration: str, code: str, staves: list[int]
) -> None:
    path = tmp_path / "braced.krn"
    text = BRACED.replace("{decoration}", decoration).replace("{code}", code)
    path.write_text(text, encoding="utf-8")
    (score,) = read_kern_all(path)
    assert [part.staves for part in score.parts] == staves
