"""Text from scores does nothing to a terminal or a spreadsheet, and JSON has it as it was."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path

import duckdb
import pytest

from corpusreg import store
from corpusreg.corpus.table import read_rows
from corpusreg.system.plaintext import from_spreadsheet, plain, spreadsheet
from tests.conftest import command

# It colours, clears the screen, names the window, moves back, and turns the reading order.
OBEYED = "Ode\x1b[31m\x1b]0;gone\x07\x9b2J\r\b\u202eend"
FORMULAS = (
    "=1+1",
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\t=1+1",
    "\r=1+1",
    "＝1+1",
    "\x00=1+1",
    " \t@x",
)


@pytest.mark.parametrize("text", [OBEYED, "a\u2028b", "a\nb", "a\x7fb"])
def test_no_sign_that_a_terminal_obeys(text: str) -> None:
    assert plain(text).isprintable()


@pytest.mark.parametrize("text", ["Étude  Nr. 2", "Песня", "夕焼け", "Ode ♯1 – “x”"])
def test_letters_stay(text: str) -> None:
    assert plain(text) == " ".join(text.split())


@pytest.mark.parametrize("text", FORMULAS)
def test_a_formula_becomes_text(text: str) -> None:
    cell = spreadsheet(text)
    assert cell[0] == "'" and plain(cell) == cell
    assert from_spreadsheet(cell) == plain(text)


@pytest.mark.parametrize("text", ["'tis", "'", "a=b", "Trio - 2", "'=", ""])
def test_other_texts_stay(text: str) -> None:
    assert spreadsheet(text) == text


@pytest.mark.parametrize("value", [-3, -2.5, None, True, "-3", "+4.5e3", "-inf"])
def test_numbers_stay_numbers(value: object) -> None:
    assert spreadsheet(value) == value


@pytest.fixture(scope="module")
def hostile_home(small_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A reference in which a title is a formula and names are what terminals obey."""
    home = tmp_path_factory.mktemp("obeyed") / "home"
    shutil.copytree(small_home / "reference", home / "reference")
    path = store.pointed(home / "reference")
    assert path is not None
    with duckdb.connect(str(path)) as base:
        for name in ("composer_name", "unit", "statement", "evidence"):
            base.execute(f"UPDATE works SET {name} = ?", [OBEYED])
        base.execute("UPDATE works SET title = ?", [FORMULAS[0]])
        base.execute("UPDATE parts SET name = ?", [OBEYED])
        base.execute("UPDATE corpora SET title = ?, statement = ?", [OBEYED, OBEYED])
    return home


def told(home: Path, *arguments: str) -> str:
    ran = command(arguments, {"CORPUSREG_HOME": str(home)}, encoding=None)
    assert ran.returncode == 0, ran.stderr
    return ran.stdout.decode()  # type: ignore[attr-defined, no-any-return]


QUESTION = (
    "SELECT title, composer_name, [composer_name] AS several, -1.5 AS low FROM works LIMIT 1"
)


@pytest.fixture
def question(tmp_path: Path) -> str:
    path = tmp_path / "question.sql"
    path.write_text(QUESTION)
    return str(path)


def test_queries(hostile_home: Path, question: str) -> None:
    table = told(hostile_home, "query", question)
    assert "Ode" in table
    assert table.replace("\n", "").isprintable()
    rows = list(csv.reader(io.StringIO(told(hostile_home, "query", question, "--csv"))))
    assert rows[1][0] == "'=1+1" and rows[1][3] == "-1.5"
    assert all(cell.isprintable() for row in rows for cell in row)
    (raw,) = json.loads(told(hostile_home, "query", question, "--json"))
    assert (raw["title"], raw["composer_name"]) == (FORMULAS[0], OBEYED)


@pytest.mark.parametrize(
    "arguments",
    [
        ("table", "shift_rate", "--by", "composer"),
        ("table", "shift_rate", "--by", "composer", "--csv"),
        ("corpora", "coverage"),
        ("corpora", "list"),
        ("examples", "dwell"),
        ("compare", "demo/pieces/stairs.musicxml"),
        ("profiles",),
    ],
)
def test_other_tables(hostile_home: Path, arguments: tuple[str, ...]) -> None:
    text = told(hostile_home, *arguments)
    assert text.replace("\n", "").isprintable()


def test_problems_name_files_in_plain_letters(hostile_home: Path, tmp_path: Path) -> None:
    piece = tmp_path / "a\x1b[2Jb.mid"
    piece.write_bytes(b"x")
    ran = command(("compare", piece), {"CORPUSREG_HOME": str(hostile_home)})
    assert ran.returncode and "\x1b" not in ran.stderr and ran.stderr.count("\n") == 1


def test_a_template_is_no_formula_and_still_names_its_files(tmp_path: Path) -> None:
    shutil.copy("demo/pieces/stairs.musicxml", tmp_path / "=cmd.musicxml")
    ran = command(
        ("corpora", "template", str(tmp_path)), {"CORPUSREG_HOME": str(tmp_path / "h")}
    )
    assert ran.returncode == 0, ran.stderr
    table = tmp_path / "metadata.csv"
    assert "\n'=cmd.musicxml," in table.read_text(encoding="utf-8-sig")
    ((_, row),) = read_rows(table, [])
    assert row["file"] == "=cmd.musicxml"
