"""The instruments table, heights and registers on it, and the matching of part names."""

from __future__ import annotations

from pathlib import Path

import pytest
from by_hand import bars_of, notes_of
from hypothesis import given
from hypothesis import strategies as st

from corpusreg.instruments import (
    DECAYS,
    FAMILIES,
    LEVELS,
    Instrument,
    height,
    load,
    register_name,
)
from corpusreg.instruments.names import is_generic, plain, read_name
from corpusreg.score.notes import Part
from corpusreg.score.pitch import parse_note
from corpusreg.score.played import Played
from corpusreg.system.errors import DataError, UsageError

TABLE = load()
ROWS = list(TABLE.values())
by_id = pytest.mark.parametrize("row", ROWS, ids=lambda row: row.id)


def notes(text: str) -> tuple[int, int]:
    low, high = text.split()
    return parse_note(low), parse_note(high)


# --- the table ---------------------------------------------------------------------


def test_size_of_the_table() -> None:
    kinds = [row for row in ROWS if row.family == "voice" and not row.generic]
    assert len([row for row in ROWS if row.family != "voice"]) >= 45
    assert len(kinds) >= 8
    assert {row.family for row in ROWS} == set(FAMILIES)
    assert {row.decay for row in ROWS} == set(DECAYS)


@by_id
def test_limits_nest(row: Instrument) -> None:
    low, high = row.professional
    for inner in (row.student, row.comfortable, *row.tiring, *row.dull):
        assert low <= inner[0] < inner[1] <= high
    assert row.student[0] <= row.comfortable[0]
    assert row.comfortable[1] <= row.student[1]
    assert row.source


@by_id
def test_registers_fill_the_range_and_are_wide(row: Instrument) -> None:
    assert row.registers[0].low == row.professional[0]
    assert row.registers[-1].high == row.professional[1]
    for register in row.registers:
        assert register.name
        assert register.high - register.low >= 7
    for lower, upper in zip(row.registers, row.registers[1:], strict=False):
        assert upper.low == lower.high + 1


def test_machine_ids_are_unique_and_kinds_exist() -> None:
    for ids in ("programs", "sound_ids", "kern_codes"):
        every = [one for row in ROWS for one in getattr(row, ids)]
        assert len(every) == len(set(every)), ids
    assert all(row.kind_of in TABLE for row in ROWS if row.kind_of)


# Aldwell and Schachter (seen second-hand); common reference spans of voice types;
# Kennan, The Technique of Orchestration (practical ranges).
@pytest.mark.parametrize(
    ("name", "level", "span"),
    [
        ("soprano", "student", (60, 79)),
        ("alto", "student", (55, 72)),
        ("tenor", "student", (48, 67)),
        ("bass", "student", (40, 60)),
        ("soprano", "professional", notes("C4 C6")),
        ("mezzo-soprano", "professional", notes("A3 A5")),
        ("alto", "professional", notes("F3 F5")),
        ("tenor", "professional", notes("C3 C5")),
        ("baritone", "professional", notes("A2 A4")),
        ("bass", "professional", notes("E2 E4")),
        ("violin", "professional", notes("G3 B6")),
        ("viola", "professional", notes("C3 C6")),
        ("cello", "professional", notes("C2 C5")),
        ("double-bass", "professional", notes("E1 A3")),
        ("oboe", "professional", notes("Bb3 A6")),
        ("flute", "professional", notes("C4 D7")),
        ("harp", "professional", notes("Cb1 G#7")),
        ("piano", "professional", (21, 108)),
        ("harpsichord", "professional", (29, 89)),
    ],
)
def test_sounding_limits_agree_with_sources(
    name: str, level: str, span: tuple[int, int]
) -> None:
    assert TABLE[name].limits(level) == span


# Published range tables give written notes and the interval of transposition.
@pytest.mark.parametrize(
    ("name", "written", "transposition"),
    [
        ("piccolo", "D4 C7", 12),
        ("english-horn", "B3 G6", -7),
        ("clarinet", "E3 C7", -2),
        ("clarinet-a", "E3 C7", -3),
        ("bass-clarinet", "Eb3 G6", -14),
    ],
)
def test_written_limits_agree_with_sources(name: str, written: str, transposition: int) -> None:
    row = TABLE[name]
    low, high = notes(written)
    assert row.transposition == transposition
    assert row.professional == (low + transposition, high + transposition)


def test_the_orchestra_from_contrabassoon_to_piccolo() -> None:
    # Adler, The Study of Orchestration (value from memory): Bb0 to C8.
    winds = [row.professional for row in ROWS if row.family == "woodwind"]
    assert (min(low for low, _ in winds), TABLE["contrabassoon"].professional[0]) == (22, 22)
    assert TABLE["piccolo"].professional[1] == 108


# General MIDI Level 1: programs printed 1-128 are bytes 0-127.
@pytest.mark.parametrize(
    ("printed", "name"),
    [
        *[(41, "violin"), (43, "cello"), (61, "horn"), (71, "bassoon")],
        *[(72, "clarinet"), (73, "piccolo"), (74, "flute"), (1, "piano")],
    ],
)
def test_general_midi_bytes(printed: int, name: str) -> None:
    assert printed - 1 in TABLE[name].programs


# --- height and registers ----------------------------------------------------------


@pytest.mark.parametrize("level", LEVELS)
def test_one_pitch_on_four_instruments(level: str) -> None:
    a4 = 69
    assert height(a4, TABLE["bassoon"], level) > 0.8
    assert height(a4, TABLE["clarinet"], level) < 0.55
    assert height(a4, TABLE["flute"], level) < 0.3
    assert height(a4, TABLE["piccolo"], level) < 0


def test_a_soprano_at_f5() -> None:
    soprano = TABLE["soprano"]
    f5 = parse_note("F5")
    assert round(TABLE.height(f5, soprano, "professional"), 2) == 0.71
    assert any(low <= f5 <= high for low, high in soprano.tiring)


def test_throat_notes_are_dull_and_in_the_middle() -> None:
    clarinet = TABLE["clarinet"]
    ((low, high),) = clarinet.dull
    assert TABLE.register_name(high, clarinet) == "chalumeau"
    assert TABLE.register_name(high + 1, clarinet) == "clarion"
    assert 0.3 < height(low, clarinet) < height(high, clarinet) < 0.5


@given(st.sampled_from(ROWS), st.sampled_from(LEVELS), st.integers(0, 127))
def test_height_is_linear_and_never_clipped(row: Instrument, level: str, pitch: int) -> None:
    low, high = row.limits(level)
    assert height(low, row, level) == 0
    assert height(high, row, level) == 1
    step = height(pitch + 12, row, level) - height(pitch, row, level)
    assert step == pytest.approx(12 / (high - low))
    assert (0 <= height(pitch, row, level) <= 1) == (low <= pitch <= high)


@given(st.sampled_from(ROWS), st.integers(0, 127))
def test_register_name_says_when_a_pitch_is_outside(row: Instrument, pitch: int) -> None:
    low, high = row.professional
    name = register_name(pitch, row)
    assert (name == "below the range") == (pitch < low)
    assert (name == "above the range") == (pitch > high)
    if low <= pitch <= high:
        assert name in {register.name for register in row.registers}


def test_unknown_level() -> None:
    with pytest.raises(UsageError, match="'amateur' is not a level"):
        height(60, TABLE["flute"], "amateur")


# --- names -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Violin I", "violin"),
        ("Vl. I", "violin"),
        ("Violini II.", "violin"),
        ("1st Violin", "violin"),
        ("Violon 2", "violin"),
        ("Va.", "viola"),
        ("Bratsche", "viola"),
        ("Vc.", "cello"),
        ("Violoncello.", "cello"),
        ("Kb.", "double-bass"),
        ("Contrabassi", "double-bass"),
        ("Fl.", "flute"),
        ("Petite Flûte", "piccolo"),
        ("Ob. 2", "oboe"),
        ("Hautbois I-II", "oboe"),
        ("Oboe d'amore", "oboe-d-amore"),
        ("Cor anglais", "english-horn"),
        ("Corno inglese.", "english-horn"),
        ("Kl. in B", "clarinet"),
        ("Clarinetto 1mo in B.", "clarinet"),
        ("A Clarinet 1", "clarinet-a"),
        ("Clarinetti in C", "clarinet-c"),
        ("Clarinette Ut I-II", "clarinet-c"),
        ("Clarinette en Mi bémol", "clarinet-eb"),
        ("Eb Clarinet", "clarinet-eb"),
        ("Clarinetto in Es", "clarinet-eb"),
        ("Bassklarinette", "bass-clarinet"),
        ("Fagotto Primo.", "bassoon"),
        ("Eb Alto Saxophone", "alto-saxophone"),
        ("Hr. in F", "horn"),
        ("F Horn 1", "horn"),
        ("Bb (basso) Horn 3", "horn"),
        ("Horn in B♭ alto", "horn"),
        ("Alto Horn", "alto-horn"),
        ("Corni in D", "horn"),
        ("Cornu Secondo Ex Es", "horn"),
        ("3 Trombe in F.", "trumpet"),
        ("D Trumpet 2", "trumpet-d"),
        ("Clarino Secundo", "natural-trumpet"),
        ("Pos.", "trombone"),
        ("Bass Trombone", "bass-trombone"),
        ("Pk.", "timpani"),
        ("Pauken", "timpani"),
        ("Pianoforte", "piano"),
        ("Klavier\nPiano", "piano"),
        ("Fortepian.", "piano"),
        ("Cembalo", "harpsichord"),
        ("Orgel", "organ"),
        ("Basso continuo", "continuo"),
        ("Arfa.", "harp"),
        ("Guitare\nGuitar", "guitar"),
        ("Canto", "soprano"),
        ("CANTVS.", "soprano"),
        ("Altus", "alto"),
        ("Contralto", "alto"),
        ("TENOR.", "tenor"),
        ("Contratenor", "tenor"),
        ("Countertenor", "countertenor"),
        ("Bassus", "bass"),
        ("Baſso Ripieno.", "bass"),
        ("Baryton", "baritone"),
        ("Singstimme\n\n          Voice", "voice"),
        ("Canto\nVoice", "voice"),
        ("Chant", "voice"),
        ("Śpiew.", "voice"),
        ("Głos", "voice"),
        ("Hommes", "mens-voice"),
        ("Coro 1 S 3", "soprano"),
        ("S(econ)do Tenore", "tenor"),
        ("Alto (or\n1st Tenor)", "alto"),
        ("Alto Viola", "viola"),
        ("Violone e Organo", "violone"),
        ("Т", "tenor"),
    ],
)
def test_printed_names(name: str, expected: str) -> None:
    found = TABLE.match(Part(name))
    assert found is not None
    assert found.id == expected


@pytest.mark.parametrize(
    "name",
    [
        "",
        "MusicXML Part",
        "Track 3",
        "Manru.",
        "Mignon",
        "Ground Bass",
        "Banda",
        "in B.",
        "x",
        "V.",
    ],
)
def test_unknown_names_are_not_guessed(name: str) -> None:
    assert TABLE.match(Part(name)) is None


@pytest.mark.parametrize(
    ("part", "expected"),
    [
        # The sound id chooses between meanings and makes names narrower …
        (Part("Bass", sound_id="strings.contrabass"), "double-bass"),
        (Part("Bass", sound_id="voice.bass"), "bass"),
        (Part("Clarinet 2", sound_id="wind.reed.clarinet.a"), "clarinet-a"),
        (Part("D Horn 1", sound_id="brass.natural-horn"), "natural-horn"),
        (Part("Voice", sound_id="voice.soprano"), "soprano"),
        (Part("Clarinet in C", sound_id="wind.reed.clarinet"), "clarinet-c"),
        (Part("C", sound_id="voice.tenor"), "tenor"),
        # … but does not contradict them.
        (Part("Singstimme", sound_id="wind.reed.oboe"), "voice"),
        (Part("Violone e Organo", sound_id="strings.cello"), "violone"),
        (Part("Violin 1", sound_id="strings.group"), "violin"),
        # Names unknown to the table.
        (Part("Mignon", sound_id="voice.vocals", program=73), "voice"),
        (Part("Mignon", abbreviation="Sopr."), "soprano"),
        (Part("", sound_id="brass.trumpet.tenor"), "trumpet"),
        # kern codes
        (Part("", code="Ivioln"), "violin"),
        (Part("V. 1.", code="*Ivioln"), "violin"),
        (Part("Basso", code="Icello"), "cello"),
        (Part("ALTVS", code="Itenor"), "tenor"),
        (Part("Sopran/Tenor", code="Itenor"), "soprano"),
        (Part("QVINTO", code="Isoprn"), "soprano"),
        (Part("Clarinetto 1mo in B.", code="Iclarb"), "clarinet"),
        (Part("", code="Icbass&Icello"), "double-bass"),
        (Part("Canto", code="Iempty"), "soprano"),
        # General MIDI, only where the name says nothing
        (Part("", program=40), "violin"),
        (Part("Track 2", program=73), "flute"),
        (Part("", program=0, staves=2), "piano"),
        (Part("MusicXML Part", program=52), "voice"),
        (Part("Soprano", program=0), "soprano"),
        # words
        (Part("Oboe", lyrics=100), "oboe"),
        (Part("", code="oboe", lyrics=100), "oboe"),
        (Part("", sound_id="wind.reed.oboe", lyrics=100), "voice"),
        (Part("", sound_id="wind.reed.oboe", lyrics=3), "oboe"),
        (Part("Guitar", lyrics=100), "guitar"),
    ],
)
def test_what_decides(part: Part, expected: str) -> None:
    found = TABLE.match(part)
    assert found is not None
    assert found.id == expected


@pytest.mark.parametrize(
    "part",
    [
        Part("", program=0),
        Part("Mignon", program=73),
        Part("MusicXML Part", program=66),
        Part("C. I in D"),
        Part("Strings", sound_id="strings.group"),
        Part("", code="Iempty"),
    ],
)
def test_defaults_and_stand_ins_decide_nothing(part: Part) -> None:
    assert TABLE.match(part) is None


def test_other_parts_decide_unclear_names() -> None:
    def ids(*names: str) -> list[str | None]:
        return [row.id if row else None for row in TABLE.match_all([Part(n) for n in names])]

    assert ids("Violino I", "Violino II", "Alto", "Basso") == [
        *("violin", "violin", "viola", "double-bass")
    ]
    assert ids("Canto", "Alto", "Tenore", "Basso") == ["soprano", "alto", "tenor", "bass"]
    assert ids("Soprano", "Basso", "Violino") == ["soprano", "bass", "violin"]
    assert ids("Bass", "Piano") == ["bass", "piano"]
    assert ids("S1", "S2", "S3", "S4") == [None] * 4
    assert ids("S1", "S2", "A", "T", "B") == ["soprano", "soprano", "alto", "tenor", "bass"]


def test_plural_and_group_names() -> None:
    for name in ("Violini", "Corni in F", "Flutes", "Chór.", "Ténors"):
        assert TABLE.is_section(Part(name)), name
    for name in ("Violino", "Baritone", "Cor", "", "Manru"):
        assert not TABLE.is_section(Part(name)), name


def test_percussion_without_pitch_is_known_and_has_no_range() -> None:
    for part in (Part("Bass Drum"), Part("Grosse Caisse"), Part("Zz", code="Itrngl")):
        assert TABLE.is_unpitched(part)
        assert TABLE.match(part) is None
    assert not TABLE.is_unpitched(Part("Timpani"))


@given(st.text(max_size=40))
def test_any_text_can_be_a_name(text: str) -> None:
    part = Part(text, abbreviation=text, sound_id=text, code=text)
    assert TABLE.match_all([part]) == [TABLE.match(part)]
    words = plain(text)
    assert words == " ".join(words.split())
    assert words == words.casefold() and not any(letter.isdecimal() for letter in words)
    is_generic(text)


@given(st.sampled_from(ROWS), st.sampled_from(["I", "2", "solo", "1mo", "II."]))
def test_numbers_change_nothing(row: Instrument, number: str) -> None:
    assert TABLE.named(f"{row.name} {number}") == TABLE.named(row.name)
    assert TABLE.named(row.name.upper()) == TABLE.named(row.name)


def test_every_row_is_found_by_its_own_name() -> None:
    unfound = [row.id for row in ROWS if row not in TABLE.named(row.name)]
    # Named with an addition in brackets that no score prints.
    assert set(unfound) <= {"voice", "recorder", "keyboard"}


def test_keys() -> None:
    known = {"horn", "clarinet"}
    keys = {"in Es": "Eb", "ex D": "D", "(F)": "F", "in B": "Bb", "in H": "B", "en La": "A"}
    for written, key in keys.items():
        assert read_name(f"Horn {written}", known).key == key
    assert read_name("Bb Clarinet", known).key == "Bb"
    assert read_name("Clarinet in B-flat", known).key == "Bb"


# --- a user's table ----------------------------------------------------------------

HEAD = "id,student_low,student_high,professional_low,professional_high"


def write(folder: Path, text: str) -> Path:
    path = folder / "ranges.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_row_replaces_limits_and_keeps_the_rest(tmp_path: Path) -> None:
    table = load(write(tmp_path, f"{HEAD}\nflute,C4,C6,B3,E7\n"))
    flute = table["flute"]
    assert (flute.student, flute.professional) == (notes("C4 C6"), notes("B3 E7"))
    assert flute.registers[0].low == parse_note("B3")
    assert flute.registers[-1].high == parse_note("E7")
    assert flute.comfortable[1] <= flute.student[1]
    assert (flute.family, flute.decay) == ("woodwind", "sustained")
    assert table.match(Part("Flauto 1")) == flute
    assert load()["flute"] == TABLE["flute"] != flute


def test_a_row_adds_an_instrument_with_names(tmp_path: Path) -> None:
    text = (
        f"{HEAD},family,decay,names,registers,transposition\n"
        "nyckelharpa,C3,C6,C3,E6,strings,sustained,Nyckelharpa; Nyck.,low C3-B4; high C5-E6,0\n"
    )
    table = load(write(tmp_path, text))
    row = table.match(Part("Nyck. 2"))
    assert row is not None
    assert row.id == "nyckelharpa"
    assert table.register_name(60, row) == "low"
    assert len(table) == len(TABLE) + 1


GOOD = "flute,C4,A6,C4,D7"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            f"{HEAD}\nflute,C6,C4,C4,D7\n",
            r"ranges.csv: row 2, student range: C6 is not below C4",
        ),
        (
            f"{HEAD}\n{GOOD}\noboe,B3,A6,A6,A6\n",
            "row 3, professional range: A6 is not below A6",
        ),
        (f"{HEAD}\nflute,C4,H6,C4,D7\n", "row 2, student range: 'H6' is not a note name"),
        (f"{HEAD}\nflute,C4,,C4,D7\n", "row 2, student range: '' is not a note name"),
        ("id,student_low\nflute,C4\n", "row 1 lacks the column student_high"),
        ("", "row 1 lacks the column id"),
        (f"{HEAD}\n{GOOD}\n{GOOD}\n", r"row 3 has 'flute' again \(first in row 2\)"),
        (f"{HEAD},names\n{GOOD},Fl.\noboe,C4,C5,C4,C5,fl\n", "row 3 has 'fl' again"),
        (f"{HEAD}\n,C4,A6,C4,D7\n", "row 2 has no id"),
        (f"{HEAD},colour\n{GOOD},red\n", "row 1 has an unknown column 'colour'"),
        (f"{HEAD}\nnew,C4,A6,C4,D7\n", "row 2: '' is no family; use one of: strings"),
        (f"{HEAD},programs\n{GOOD},128\n", "row 2: '128' is not a whole number from 0 to 127"),
        (f"{HEAD},tiring\n{GOOD},high\n", "row 2, tiring: 'high' is not a span of notes"),
    ],
)
def test_bad_tables_are_refused_in_one_line(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(DataError, match=message) as caught:
        load(write(tmp_path, text))
    assert "\n" not in str(caught.value)


def test_unreadable_tables(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="cannot be read"):
        load(tmp_path / "none.csv")
    (tmp_path / "ranges.csv").write_bytes(b"\xff\xfe\x00id")
    with pytest.raises(DataError, match="not a text table in UTF-8"):
        load(tmp_path / "ranges.csv")


def test_a_double_bass_that_is_encoded_as_read_is_taken_as_it_sounds() -> None:
    """The same line for a double bass, as read and as it sounds, and for a cello."""
    read, sounds = [52, 50, 55, 57], [40, 38, 43, 45]
    parts = tuple(Part(name) for name in ("Violoncello", "Contrabass", "Double Bass"))
    rows = [
        (pitch, 4 * n, 4, 1.0, part)
        for part, line in enumerate((read, read, sounds))
        for n, pitch in enumerate(line)
    ]
    played = Played(4, parts, bars_of([16]), notes_of(rows), True, False, False, ())
    found = load().as_sounding(played)
    heard = [found.notes.pitch[found.notes.part == part].tolist() for part in range(3)]
    assert heard == [read, sounds, sounds]
    assert found.assumed == (
        "Contrabass: given as it is read, and taken an octave lower, as it sounds",
    )
    assert load().as_sounding(found) is found


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        (("Voce", "Pianoforte", ""), ["voice", "piano", "piano"]),  # its left hand
        (("", "Organ"), ["organ", "organ"]),
        (("Organ", "Organ", ""), ["organ", "organ", None]),  # it has both hands already
        (("Violini", "", "Viola"), ["violin", "violin", "viola"]),
        (("Violin", "", "Viola"), ["violin", None, "viola"]),
        (("Oboe 1mo", "2do", "in F"), ["oboe", "oboe", "oboe"]),
        (("Soprani", "", "2do"), ["soprano", None, None]),  # who sings is never guessed
    ],
)
def test_a_name_stands_for_the_staves_that_go_with_it(
    names: tuple[str, ...], expected: list[str | None]
) -> None:
    found = load().match_all([Part(name) for name in names])
    assert [row.id if row else None for row in found] == expected
