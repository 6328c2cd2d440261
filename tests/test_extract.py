"""One file to rows: whole works and broken files, counted by hand where they are small."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest

from corpusreg.building.extract import extract_file
from corpusreg.corpus.files import SourceFile, content_hash
from corpusreg.measures.definitions import MEASURES
from corpusreg.store.tables import EXTRACTED, Rows, checked, columns

PIECES = Path(__file__).parents[1] / "demo" / "pieces"
TUNES = """\
X:1
T:Up and Down
C:Nobody
M:4/4
L:1/4
K:C
CDEF|GABc|cBAG|FEDC|

X:2
T:Rests
M:4/4
L:1/4
K:C
z4|z4|

X:3
T:Short
M:3/4
L:1/4
K:G
|:G2B|d3:|
"""


def source(path: Path) -> SourceFile:
    return SourceFile("mine", path.name, path, "", path.stat().st_size)


def written(folder: Path, name: str, text: str | bytes) -> SourceFile:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return source(path)


def named(rows: Rows, table: str) -> list[dict[str, Any]]:
    """Rows of a table by column name."""
    return [dict(zip(columns(table), row, strict=True)) for row in rows.get(table, [])]


@pytest.fixture
def tunes(tmp_path: Path) -> Rows:
    return extract_file(written(tmp_path, "tunes.abc", TUNES))


# Form


@pytest.mark.parametrize("path", sorted(PIECES.iterdir()), ids=lambda path: path.name)
def test_rows_fit_the_schema(path: Path) -> None:
    rows = extract_file(source(path))
    assert set(rows) <= set(EXTRACTED)
    assert rows.get("failures", []) == []
    assert checked(rows).keys() == {table for table, part in rows.items() if part}
    (work,) = named(rows, "works")
    assert work["work"].startswith(f"mine:{path.name}")
    assert work["content"] == content_hash(path)
    assert work["same_as"] is None  # known only when all works are in
    assert {row[0] for part in rows.values() for row in part} == {work["work"]}


def test_every_table_of_a_rich_piece_has_rows() -> None:
    rows = extract_file(source(PIECES / "waiting-for-the-bus.musicxml"))
    empty = {table for table in EXTRACTED if not rows.get(table)} - {"work_columns"}
    assert empty <= {"failures", "phrases", "measures_rebarred", "shifts"}


def test_what_tables_of_one_work_say_agrees() -> None:
    rows = extract_file(source(PIECES / "kitchen-window.musicxml"))
    (work,) = named(rows, "works")
    parts, pitches = named(rows, "parts"), named(rows, "pitch_weights")
    assert len(parts) == work["parts"]
    assert sum(part["notes"] for part in parts) == work["notes"]
    assert sum(row["notes"] for row in pitches) == work["notes"]
    assert sum(row["notes"] for row in named(rows, "part_pitches")) == work["notes"]
    assert min(part["lowest"] for part in parts) == work["lowest"] == pitches[0]["pitch"]
    assert max(part["highest"] for part in parts) == work["highest"] == pitches[-1]["pitch"]
    for table in ("band_weights", "pitch_weights"):
        assert math.fsum(row["share"] for row in named(rows, table)) == pytest.approx(1)
    stays = sorted(named(rows, "stays"), key=lambda row: row["played_first"])
    assert sum(stay["bars"] for stay in stays) == work["bars"]
    assert [stay["stay"] for stay in stays] == list(range(len(stays)))
    assert sorted(stay["rank"] for stay in stays) == list(range(1, len(stays) + 1))
    values = {row["name"]: row["value"] for row in named(rows, "measures")}
    assert list(values) == [measure.name for measure in MEASURES]
    assert values["span"] == work["highest"] - work["lowest"]
    assert values["longest_dwell"] == max(stay["bars"] for stay in stays)


def test_the_same_file_gives_the_same_rows() -> None:
    one = extract_file(source(PIECES / "two-shores.mid"))
    assert extract_file(source(PIECES / "two-shores.mid")) == one


# A tune by hand


def test_works_of_one_file_are_told_apart_by_number(tunes: Rows) -> None:
    first, third = named(tunes, "works")
    assert (first["work"], first["number"]) == ("mine:tunes.abc#1", "1")
    assert (third["work"], third["number"]) == ("mine:tunes.abc#3", "3")
    assert first["content"] == third["content"]
    assert (first["title"], first["texture"], first["format"]) == (
        "Up and Down", "single line", "abc",
    )  # fmt: skip
    assert (first["bars"], first["beats"], first["notes"]) == (4, 16.0, 16)
    assert (first["lowest"], first["highest"], first["voices"]) == (60, 72, 1.0)
    assert (third["bars"], third["notes"]) == (4, 6)  # with its repeat
    assert not first["dynamics_known"]
    assert any("mezzo-forte" in line for line in first["assumed"])


def test_measures_of_a_scale(tunes: Rows) -> None:
    rows = [row for row in named(tunes, "measures") if row["work"].endswith("#1")]
    values = {row["name"]: row for row in rows}
    assert values["span"]["value"] == 12
    # From C D E F to G A B C: 7 on average; then the same notes; then back.
    assert values["movement_bar"]["value"] == pytest.approx(14 / 3)
    # Five semitones up or down in every bar, from beat to beat in three steps.
    assert values["travel"]["value"] == pytest.approx(5 / 3)
    assert values["shift_rate"]["value"] == pytest.approx(50)
    assert "too short" in values["shift_rate"]["reason"]
    assert values["span"]["reason"] is None
    assert (values["hollow_share"]["value"], values["hollow_share"]["reason"]) == (
        None, "needs three voices or more",
    )  # fmt: skip


def test_steps_pitches_and_phrases_of_a_scale(tunes: Rows) -> None:
    steps = {
        row["step"]: row["times"] for row in named(tunes, "steps") if row["work"].endswith("#1")
    }
    assert steps == {1: 2, 2: 5, 0: 1, -1: 2, -2: 5}
    counts = {
        row["pitch"]: row["notes"]
        for row in named(tunes, "pitch_weights")
        if row["work"].endswith("#1")
    }
    assert counts == dict.fromkeys((60, 62, 64, 65, 67, 69, 71, 72), 2)
    (phrase, _) = named(tunes, "phrases")
    assert (phrase["notes"], phrase["first"], phrase["last"]) == (16, 60.0, 60.0)
    assert phrase["middle"] == pytest.approx((2 * sum(counts) - 120) / 14)


def test_shifts_and_stays_of_a_scale(tunes: Rows) -> None:
    shifts = [row for row in named(tunes, "shifts") if row["work"].endswith("#1")]
    assert [(row["bar"], row["clear"], row["counted"]) for row in shifts] == [
        ("2", False, True), ("4", False, True),
    ]  # fmt: skip
    stays = [row for row in named(tunes, "stays") if row["work"].endswith("#1")]
    longest = stays[0]
    assert (longest["rank"], longest["start_bar"], longest["end_bar"]) == (1, "2", "3")
    assert (longest["low"], longest["high"], longest["width"]) == (67, 72, "narrow")


def test_a_repeat_is_heard_and_the_page_is_pointed_at(tunes: Rows) -> None:
    (stay,) = (row for row in named(tunes, "stays") if row["work"].endswith("#3"))
    assert (stay["played_first"], stay["played_last"]) == (0, 4)
    assert (stay["first"], stay["last"]) == (0, 2)
    assert (stay["start_bar"], stay["end_bar"]) == ("1", "2 (2nd time)")


# Failures


def test_a_tune_without_notes_is_a_failure_among_works(tunes: Rows) -> None:
    (failure,) = named(tunes, "failures")
    assert (failure["corpus"], failure["path"], failure["number"]) == ("mine", "tunes.abc", "2")
    assert failure["content"] == named(tunes, "works")[0]["content"]
    assert failure["reason"] == "no notes in it; is it an empty template?"


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("empty.krn", b""),
        ("words.txt", b"hello\nthere"),
        ("cut.musicxml", b"<score-partwise><part>"),
        ("noise.mid", b"\x00\xff" * 40),
        ("noise.mxl", b"PK\x03\x04 nothing"),
    ],
)
def test_a_file_that_cannot_be_read_is_one_failure_of_one_line(
    name: str, text: bytes, tmp_path: Path
) -> None:
    file = written(tmp_path, name, text)
    rows = extract_file(file)
    assert list(rows) == ["failures"]
    (failure,) = named(rows, "failures")
    assert failure["content"] == content_hash(file.path)
    assert (failure["path"], failure["number"], failure["stage"]) == (name, "", "read")
    assert failure["reason"]
    assert "\n" not in failure["reason"]
    assert checked(rows) == rows


def test_an_error_of_our_own_is_no_failure_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A defect in the code must be seen, and not become the fault of a file."""
    monkeypatch.setattr("corpusreg.building.extract.analyse", lambda played: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        extract_file(written(tmp_path, "tunes.abc", TUNES))
