"""Query files: how headers are read, and where files are found."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from corpusreg.store import sql
from corpusreg.system.errors import DataError, UsageError

TEXT = """\
-- How many bars?
--
-- More about it,
-- in two lines.
--
-- Parameters:
--   $ensemble VARCHAR = NULL  only this one
--   $kind VARCHAR = 'a b'     text with a space
--   $rows INTEGER = 5         how many
--   $work VARCHAR             id
-- Columns:
--   bars INTEGER              length [bars]
--   bands INTEGER[]           octaves [octave number]

-- A comment of the statement itself.
SELECT bars, bands FROM works
"""


@pytest.fixture
def query(tmp_path: Path) -> sql.Query:
    (tmp_path / "how_long.sql").write_text(TEXT, encoding="utf-8")
    return sql.read_file(tmp_path / "how_long.sql")


def test_a_header_is_read(query: sql.Query) -> None:
    assert query.name == "how_long"
    assert query.title == "How many bars?"
    assert query.about == "More about it,\nin two lines."
    assert query.parameters == (
        sql.Parameter("ensemble", "VARCHAR", "NULL", "only this one"),
        sql.Parameter("kind", "VARCHAR", "'a b'", "text with a space"),
        sql.Parameter("rows", "INTEGER", "5", "how many"),
        sql.Parameter("work", "VARCHAR", None, "id"),
    )
    assert query.columns == (
        sql.Column("bars", "INTEGER", "length [bars]"),
        sql.Column("bands", "INTEGER[]", "octaves [octave number]"),
    )
    assert query.text.strip().startswith("-- A comment of the statement")


def test_values_are_the_given_ones_then_the_defaults(query: sql.Query) -> None:
    values = query.values({"work": "w", "rows": "7"})
    assert values == {"ensemble": None, "kind": "a b", "rows": "7", "work": "w"}


def test_a_missing_value_and_an_unknown_name_are_refused(query: sql.Query) -> None:
    with pytest.raises(UsageError, match="needs a value for work; give it as work=VALUE"):
        query.values({})
    with pytest.raises(
        UsageError, match="no parameter 'wrok'; it has: ensemble, kind, rows, work"
    ):
        query.values({"wrok": "w"})


@pytest.mark.parametrize(
    "text", ["SELECT 1", "\n-- late comment\nSELECT 1", "-- Only a title\nSELECT 1"]
)
def test_a_file_without_sections_has_no_parameters(tmp_path: Path, text: str) -> None:
    path = tmp_path / "own.sql"
    path.write_text(text, encoding="utf-8")
    query = sql.read_file(path)
    assert query.parameters == query.columns == ()
    assert query.values({}) == {}
    assert "SELECT 1" in query.text


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("--   rows", "header line 'rows' is not 'name TYPE  words'"),
        ("--   $n INTEGER  words", "parameters begin with [$] and columns do not"),
    ],
)
def test_a_header_of_another_form_is_refused(tmp_path: Path, line: str, words: str) -> None:
    path = tmp_path / "wrong.sql"
    path.write_text(f"-- What?\n-- Columns:\n{line}\nSELECT 1", encoding="utf-8")
    with pytest.raises(DataError, match=words) as caught:
        sql.read_file(path)
    assert str(path) in str(caught.value)


def test_a_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    (tmp_path / "x.sql").write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(DataError, match=r"x\.sql: cannot be read as a query"):
        sql.read_file(tmp_path / "x.sql")
    with pytest.raises(DataError, match="cannot be read as a query"):
        sql.read_file(tmp_path)


def test_windows_line_ends_and_marks_are_read(tmp_path: Path) -> None:
    path = tmp_path / "how_long.sql"
    path.write_bytes(b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode())
    assert len(sql.read_file(path).parameters) == 4


def test_a_query_is_found_by_name_and_by_path(tmp_path: Path, query: sql.Query) -> None:
    assert sql.find("span_by_period").path.parent == sql.folder()
    assert sql.find(str(query.path)) == query


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("span_by_perod", "did you mean span_by_period"),
        ("zzzz", "there are: .*span_by_period"),
        ("missing.sql", "no query named 'missing.sql' and no such file"),
        ("store/schema", "no query named"),
        ("../pyproject", "no query named"),
    ],
)
def test_a_query_that_is_not_there(name: str, words: str) -> None:
    with pytest.raises(UsageError, match=words) as caught:
        sql.find(name)
    assert "\n" not in str(caught.value)


def test_files_are_found_in_an_installed_package(tmp_path: Path, monkeypatch) -> None:
    package = tmp_path / "site-packages" / "corpusreg"
    package.mkdir(parents=True)
    monkeypatch.setattr(sql, "__file__", str(package / "store" / "sql.py"))
    with pytest.raises(DataError, match=r"no query files beside .*; install corpusreg again"):
        sql.folder()
    shutil.copytree(Path(__file__).parent.parent / "queries", package / "queries")
    assert sql.folder() == package / "queries"
    assert "CREATE TABLE works" in sql.load("schema")
    assert len(sql.listed()) >= 10
