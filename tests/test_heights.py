"""One passage on many instruments, the table of instruments, and ranges of one's own."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest
from conftest import PIECES, Command, command
from jsonschema import Draft202012Validator
from test_cli import GRADING, schema
from test_players import score

from corpusreg import instruments
from corpusreg.comparison import placing
from corpusreg.comparison.heights import find_bars, find_part, passage
from corpusreg.score.notes import ReadResult, Score
from corpusreg.system.errors import UsageError
from corpusreg.text.heights import passage_document, passage_text, transposed
from corpusreg.text.players import CAUTION

__all__ = ["schema"]  # a fixture

THREE = PIECES / "three-at-a-table.musicxml"
TABLE = instruments.load()
HEAD = "id,student_low,student_high,professional_low,professional_high"


@pytest.fixture
def home_less(tmp_path: Path) -> Command:
    """The real command in an empty home: what needs no reference must not make one."""

    def call(*arguments: str | Path, **options: object) -> subprocess.CompletedProcess[str]:
        done = command(arguments, {"CORPUSREG_HOME": str(tmp_path / "home")}, **options)
        assert not (tmp_path / "home").exists()
        return done

    return call


def of(monkeypatch: pytest.MonkeyPatch, written: Score) -> Path:
    """A path that reads as this score."""
    monkeypatch.setattr(placing, "read_file", lambda path: ReadResult((written,), ()))
    return Path("piece.xml")


# --- which bars, which part -----------------------------------------------------------


def test_bars_by_their_printed_numbers() -> None:
    labels = ("0", "1", "2", "2a", "3")
    assert find_bars(labels, "0", "x") == (0, 1)
    assert find_bars(labels, "1-2a", "x") == (1, 4)
    assert find_bars(labels, " 2 - 3 ", "x") == (2, 5)
    # Numbers that occur again: the first ones.
    assert find_bars(("1", "2", "1", "2"), "1-2", "x") == (0, 2)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("9", "x has no bar '9'; its bars are 1 to 4"),
        ("2-9", "x has no bar '9'; its bars are 1 to 4"),
        ("", "x has no bar ''; its bars are 1 to 4"),
        ("3-2", "x: bar 2 comes before bar 3; write 2-3"),
    ],
)
def test_bars_that_are_not_there(asked: str, said: str) -> None:
    with pytest.raises(UsageError) as error:
        find_bars(("1", "2", "3", "4"), asked, "x")
    assert str(error.value) == said


def test_parts_by_name_or_number() -> None:
    names = {0: "Violin I", 1: "Violin II", 3: "Viola"}
    assert find_part(names, "viola", "x") == 3
    assert find_part(names, "violin i", "x") == 0, "the whole name before a piece of one"
    assert find_part(names, "II", "x") == 1
    assert find_part(names, "4", "x") == 3, "as counted on the page"
    assert find_part({2: "Oboe"}, None, "x") == 2


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (None, "x has 2 parts; choose one with --part: Violin I, Violin II"),
        (
            "violin",
            "x: 'violin' may be Violin I (--part 1) or Violin II (--part 2); choose one",
        ),
        ("Viollin I", "x has no part 'Viollin I'; did you mean Violin I?"),
        ("tuba", "x has no part 'tuba'; its parts are Violin I, Violin II"),
        ("3", "x has no part '3'; its parts are Violin I, Violin II"),
    ],
)
def test_parts_that_are_not_one(asked: str | None, said: str) -> None:
    with pytest.raises(UsageError) as error:
        find_part({0: "Violin I", 1: "Violin II"}, asked, "x")
    assert str(error.value) == said


# --- the passage ----------------------------------------------------------------------


def test_the_same_note_by_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    path = of(monkeypatch, score(Bassoon=[[69], [50]]))
    found = passage(path, "1", on=["flute", "piccolo"], level="professional", table=TABLE)
    bassoon, flute, piccolo = found.rows
    # Bb1-E5 is 34-76, C4-D7 is 60-98, D5-C8 is 74-108.
    assert bassoon.height.mean == pytest.approx(35 / 42)
    assert flute.height.mean == pytest.approx(9 / 38)
    assert piccolo.height.mean == pytest.approx(-5 / 34)
    assert [(each.pitch, each.side) for each in piccolo.out_of_range] == [(69, "below")]
    assert bassoon.registers == {"tenor": 1.0}
    # On the flute 60 + 38 x 35/42 = 91.67: 22.67 semitones up, near two octaves.
    assert flute.exact == pytest.approx(22.67, abs=0.01)
    assert flute.semitones == 24
    assert flute.moved.mean == pytest.approx(33 / 38)
    # On the piccolo 74 + 34 x 35/42 = 102.33: 33.33, not near three octaves.
    assert piccolo.semitones == 33
    assert (bassoon.semitones, bassoon.exact) == (0, pytest.approx(0))


def test_a_note_held_into_the_passage_belongs_to_it(monkeypatch: pytest.MonkeyPatch) -> None:
    written = score(Flute=[[72], [84, 84]])
    written.notes["duration"][0] = 96 + 48  # until the middle of bar 2
    found = passage(of(monkeypatch, written), "2", level="student", table=TABLE)
    assert (found.lowest, found.highest) == (72, 84)
    # Half a bar at C5 and a bar at C6 together: a third of the sound is C5.
    own = found.rows[0]
    assert own.height.mean == pytest.approx((12 + 24 + 24) / 3 / 33)


def test_transposing_the_passage_changes_no_wish(monkeypatch: pytest.MonkeyPatch) -> None:
    """What feels equally high is a matter of ranges and height, not of the notes as such."""
    wishes = []
    for by in (0, 12):
        path = of(monkeypatch, score(Viola=[[55 + by, 60 + by]]))
        rows = passage(path, "1", on=["cello"], level="professional", table=TABLE).rows
        wishes.append(rows[1].semitones)
    # Both ranges are three octaves, an octave apart.
    assert wishes == [-12, -12]


def test_both_levels_and_the_family_by_default(monkeypatch: pytest.MonkeyPatch) -> None:
    found = passage(of(monkeypatch, score(Oboe=[[69]])), "1", table=TABLE)
    assert [row.level for row in found.rows[:2]] == ["student", "professional"]
    ids = {row.instrument.id for row in found.rows}
    assert {"oboe", "flute", "clarinet", "bassoon"} <= ids
    assert not {"clarinet-a", "violin"} & ids
    assert found.home.id == "oboe"


def test_a_part_without_instrument_is_compared_with_the_first_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    path = of(monkeypatch, score(Wobbleboard=[[69]]))
    found = passage(path, "1", on=["viola", "flute"], table=TABLE)
    assert (found.own, found.home.id) == (None, "viola")
    assert "instrument not known, compared with viola" in passage_text(found)
    with pytest.raises(UsageError, match="'Wobbleboard' is for is not known; name instr"):
        passage(path, "1", table=TABLE)


def test_a_silent_passage_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    path = of(monkeypatch, score(Flute=[[69], [], [69]], Viola=[[60]] * 3))
    with pytest.raises(UsageError, match=r"^piece.xml: 'Flute' is silent there \(--bars 2\)$"):
        passage(path, "2", part="flute", table=TABLE)


def test_transpositions_in_words() -> None:
    assert transposed(24) == "two octaves higher"
    assert transposed(-19) == "a twelfth lower"
    assert transposed(-1) == "a semitone lower"


# --- the commands ---------------------------------------------------------------------


def test_heights_as_text(home_less: Command) -> None:
    done = home_less("heights", THREE, "--bars", "9-16", "--part", "bassoon", "--on", "flute")
    assert (done.returncode, done.stderr) == (0, "")
    text = done.stdout
    assert text.startswith("Bassoon, bars 9–16: F4–C5, written for bassoon\n")
    assert "flute: two octaves higher" in text
    assert max(map(len, text.splitlines())) <= 88
    assert GRADING.findall(text) == []


def test_heights_as_json(home_less: Command) -> None:
    done = home_less(
        *("heights", THREE, "--bars", "9-16", "--part", "3", "--on", "flute,piccolo"),
        *("--level", "professional", "--json"),
    )
    found = json.loads(done.stdout)
    assert (found["instrument"], found["bars"]) == ("bassoon", ["9", "16"])
    rows = {row["instrument"]: row for row in found["rows"]}
    assert list(rows) == ["bassoon", "flute", "piccolo"]
    assert rows["bassoon"]["height"]["mean"] > 0.8 > rows["flute"]["height"]["mean"] > 0
    assert rows["piccolo"]["height"]["mean"] < 0
    assert {each["side"] for each in rows["piccolo"]["out_of_range"]} == {"below"}
    assert rows["flute"]["equally_high"]["words"] == "two octaves higher"
    assert rows["flute"]["equally_high"]["semitones"] == 24


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (
            ["--bars", "1", "--part", "1", "--on", "bason"],
            "no instrument 'bason' in the table; did you mean bassoon",
        ),
        (["--part", "1"], "missing option '--bars'"),
    ],
)
def test_wrong_requests_are_one_line(
    home_less: Command, arguments: list[str], said: str
) -> None:
    done = home_less("heights", THREE, *arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert said in done.stderr


def test_one_work_of_a_file_of_several(home_less: Command, tmp_path: Path) -> None:
    book = tmp_path / "book.abc"
    tune = "X:{}\nT:A\nM:4/4\nL:1/4\nK:C\n{}|\n"
    book.write_text(f"{tune.format(1, 'CDEF')}\n{tune.format(7, 'cdef')}")
    asked = ("heights", book, "--bars", "1", "--on", "flute", "--json")
    done = home_less(*asked)
    assert done.returncode == 2
    assert "book.abc holds several works; choose with --number: 1, 7" in done.stderr
    done = home_less(*asked, "--number", "2")
    assert done.returncode == 2
    assert "book.abc has no work 2; choose with --number: 1, 7" in done.stderr
    low, high = (json.loads(home_less(*asked, "--number", n).stdout) for n in "17")
    assert (low["lowest"], high["lowest"]) == ("C4", "C5")


def test_a_file_that_is_not_there_is_one_line(home_less: Command, tmp_path: Path) -> None:
    done = home_less("heights", tmp_path / "none.xml", "--bars", "1")
    assert (done.returncode, done.stderr.count("\n")) == (1, 1)


def test_the_table_as_text_and_as_json(home_less: Command) -> None:
    text = home_less("ranges").stdout
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= 88
    for row in TABLE:
        assert f"\n{row} " in text
    found = json.loads(home_less("ranges", "--json").stdout)
    assert [row["id"] for row in found] == list(TABLE)
    assert all(row["source"] for row in found)


def test_one_instrument_with_all_that_is_told(home_less: Command) -> None:
    text = " ".join(home_less("ranges", "Klarinette").stdout.split())
    assert "sounding D3-Bb6 professional, D3-D6 student" in text
    assert "written E3-C7 professional, E3-E6 student; sounds 2 semitones below" in text
    assert "chalumeau D3-Ab4; clarion A4-Bb5; altissimo B5-Bb6" in text
    assert "breaks Ab4/A4, Bb5/B5" in text
    assert "dull E4-Ab4" in text
    (row,) = json.loads(home_less("ranges", "clarinet", "--json").stdout)
    assert row["written"]["professional"] == {"lowest": "E3", "highest": "C7"}
    assert row["transposition"] == -2
    unknown = home_less("ranges", "obo")
    assert unknown.returncode == 2
    assert "no instrument 'obo' in the table; did you mean oboe" in unknown.stderr


# --- ranges of one's own --------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f"{HEAD}\nflute,C4,C6,E7,B3\n", "row 2, professional range: E7 is not below B3"),
        (f"{HEAD}\nflute,C4,C6,B3,H7\n", "row 2, professional range: 'H7' is not a note name"),
        ("id,student_low\nflute,C4\n", "row 1 lacks the column student_high"),
        (
            f"{HEAD}\nflute,C4,C6,B3,E7\nflute,C4,C6,B3,E7\n",
            "row 3 has 'flute' again (first in row 2)",
        ),
    ],
)
def test_a_bad_table_is_one_line_with_its_row(
    run: Command, tmp_path: Path, text: str, said: str
) -> None:
    own = tmp_path / "own.csv"
    own.write_text(text)
    passage_of = ("heights", THREE, "--bars", "1", "--part", "1")
    for arguments in (("compare", THREE), passage_of, ("ranges",)):
        done = run(*arguments, "--ranges", own)
        assert (done.returncode, done.stdout) == (1, "")
        assert done.stderr.count("\n") == 1
        assert f"own.csv: {said}" in done.stderr


def test_ranges_of_ones_own_count_everywhere(run: Command, tmp_path: Path) -> None:
    """With a bassoon that reaches two octaves higher nothing is at its edge any more."""
    own = tmp_path / "own.csv"
    own.write_text(f"{HEAD},comfortable_low,comfortable_high,tiring,source\n"
                   "bassoon,Bb1,G6,Bb1,E7,C2,E6,F6-E7,invented\n")  # fmt: skip
    found = json.loads(run("compare", THREE, "--json", "--ranges", own).stdout)
    (bassoon,) = (part for part in found["works"][0]["parts"] if part["name"] == "Bassoon")
    assert bassoon["height"]["edge"] == bassoon["height"]["tiring"] == 0
    text = run("compare", THREE, "--full", "--ranges", own).stdout
    assert "where it tires" not in text
    assert "Bassoon: long stretches" not in text
    done = run("heights", THREE, "--bars", "1-8", "--part", "3", "--json", "--ranges", own)
    assert json.loads(done.stdout)["rows"][1]["range"] == {"lowest": "Bb1", "highest": "E7"}
    assert "invented" in run("ranges", "bassoon", "--ranges", own).stdout


# --- compare --------------------------------------------------------------------------


def test_the_bassoon_is_told_with_a_caution(run: Command) -> None:
    text = run("compare", THREE, "--full").stdout
    said = " ".join(text.split("\nEach player\n")[1].split())
    assert "Bassoon E4–C5" in said
    assert "39 % of its time where it tires" in said
    assert said.count("The bassoon lies high throughout") == 1
    assert "this tires the player" in said
    assert CAUTION in said
    lines = text.split("\nEach player\n")[1].splitlines()[:3]
    assert [line.split()[0] for line in lines] == ["Flute", "Clarinet", "Bassoon"]
    assert all(len(line.split("|")[1]) == 17 for line in lines)
    assert lines[0].endswith("at ease")
    assert "of its time where it tires" in lines[2]


def test_parts_and_two_levels_in_json(run: Command, schema: Draft202012Validator) -> None:
    found = json.loads(run("compare", THREE, "--json").stdout)
    schema.validate(found)
    (work,) = found["works"]
    assert [part["instrument"] for part in work["parts"]] == ["flute", "clarinet", "bassoon"]
    two = work["two_level"]
    assert two["compass"] == {"lowest": "Bb1", "highest": "D7"}
    cells = [share for row in two["grid"].values() for share in row.values()]
    assert sum(cells) == pytest.approx(1, abs=1e-3)
    shares = {part["name"]: part["middle_but_edge"] for part in two["parts"]}
    assert shares["Bassoon"] > 0.9 > 0.1 > shares["Flute"]
    assert {stay["still"] for stay in two["stays"]} <= {"whole", "instrument", "both"}


@pytest.mark.parametrize(
    ("part", "pitches", "lowest", "alone"),
    [
        ("Violin", [57, 60, 69], "G3", ["G3"]),  # an octave and a tone up the G string
        ("Violin", [64, 67, 71], "D4", ["G3", "D4"]),  # a tenth up the G string, or in place
        ("Violin", [57, 76], "G3", []),  # open E lies too far up the G string
        ("Cello", [45, 50, 57], "G2", ["G2"]),
        (
            "Contrabass",
            [38, 43],
            "D2",
            ["E1", "A1", "D2"],
        ),  # sounding; written an octave higher
    ],
)
def test_the_strings_of_a_passage(
    monkeypatch: pytest.MonkeyPatch,
    part: str,
    pitches: list[int],
    lowest: str,
    alone: list[str],
) -> None:
    path = of(monkeypatch, score(**{part: [pitches]}))
    found = passage(path, "1", table=TABLE)
    document = passage_document(found)
    assert document["strings"] == {"lowest": lowest, "alone": alone}
    assert document["as_read"] == (["D3", "G3"] if part == "Contrabass" else None)
    assert ("too wide for one string" in passage_text(found)) == (not alone)


def test_the_g_string_is_named_as_players_do(monkeypatch: pytest.MonkeyPatch) -> None:
    path = of(monkeypatch, score(Violin=[[57, 60, 69]], Flute=[[62]]))
    said = " ".join(passage_text(passage(path, "1", part="1", table=TABLE)).split())
    assert "on the G string (sul G; up to a ninth above the open string)." in said
    assert passage(path, "1", part="flute", table=TABLE).strings is None
