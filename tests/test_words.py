"""Sentences, strips, tables and frames, on small hand-made values."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from conftest import PIECES

import corpusreg
from corpusreg.comparison.comparison import Place, PrintedBar
from corpusreg.measures.definitions import BY_NAME, MEASURES
from corpusreg.score.played import PlayedBars, segments
from corpusreg.system.errors import ReadError, UsageError
from corpusreg.system.plaintext import plain
from corpusreg.text import tabular
from corpusreg.text.wording import bar_range, place_words

SPAN, SHIFTS = BY_NAME["span"], BY_NAME["shift_rate"]


def played_bars(written: list[int]) -> PlayedBars:
    """Played bars of a page whose bars are numbered from 1."""
    time = [written[: at + 1].count(bar) for at, bar in enumerate(written)]
    n = len(written)
    whole = np.full(n, 4)
    return PlayedBars(
        written=np.array(written), time=np.array(time), start=4 * np.arange(n), length=whole,
        full=whole, beat=np.ones(n, int), section=np.zeros(n, bool),
        printed=tuple(str(bar + 1) for bar in written),
    )  # fmt: skip


REPEATED = played_bars([0, 1, 2, 0, 1, 2, 3])


def test_bars_as_people_write_them() -> None:
    assert bar_range(REPEATED, 0, 1) == "bar 1"
    assert bar_range(REPEATED, 0, 3) == "bars 1–3"
    assert bar_range(REPEATED, 3, 6) == "bars 1–3 (2nd time)"
    assert bar_range(REPEATED, 1, 5) == "bars 1–3 (with the repeat)"
    assert bar_range(REPEATED, 2, 4) == "bar 3 and, after the repeat, bar 1"
    thrice = played_bars([0, 1, 2, 3, 3, 0, 0])
    assert bar_range(thrice, 3, 7) == "from bar 4 through the repeats to bar 1 (3rd time)"


def test_segments_of_a_repeat_are_named_once() -> None:
    assert segments(REPEATED, 0, 7) == [(0, 3), (0, 4)]
    assert segments(REPEATED, 0, 6) == [(0, 3)]
    assert segments(REPEATED, 2, 4) == [(2, 3), (0, 1)]


def test_text_from_files_cannot_command_a_terminal() -> None:
    assert plain("a\x1b[31m\nred\x07") == "a [31m red"


def test_tables_align_wrap_and_keep_decimals_equal() -> None:
    text = tabular.text_table(["n", "share", "why"], [(1, 0.5, "x " * 60), (12, None, "y")])
    lines = text.splitlines()
    assert max(map(len, lines)) <= 88
    assert lines[2].startswith(" 1   0.50  x x")
    assert lines[-1] == "12      -  y"
    assert "".join(lines).count("x") == 60
    assert tabular.text_table(["n"], []) == "no rows"
    assert "60" in tabular.text_table(["note"], [(60.0,)]).splitlines()[-1]


def test_a_table_far_wider_than_the_screen_is_told_row_by_row() -> None:
    text = tabular.text_table(["work", "copy"], [("a" * 100, "b" * 100), ("c", None)])
    assert text.splitlines() == [
        f"work  {'a' * 100}",
        f"copy  {'b' * 100}",
        "",
        "work  c",
        "copy  -",
    ]


def test_a_table_prints_nothing_as_zero_that_is_not() -> None:
    values = [0.0, 0.004, -0.004, 0.005001, 0.5]
    lines = tabular.text_table(["weight"], [(value,) for value in values]).splitlines()
    assert [line.strip() for line in lines[2:]] == ["0.00", "<0.01", ">-0.01", "0.01", "0.50"]


def test_frames_have_units(in_home: Path) -> None:
    found = corpusreg.compare(PIECES / "stairs.musicxml")
    assert list(found.measures["name"]) == [m.name for m in MEASURES]
    assert found.stays.attrs["units"]["bars"] == "bars"
    assert found.events.attrs["reference_id"] == found.reference_id
    assert str(found).startswith("Stairs")
    assert found.works.loc[0, "bars"] == 32
    with corpusreg.open_reference() as reference:
        assert reference.reference_id == found.reference_id
        table = reference.table("span", by="ensemble")
        assert table.to_frame().attrs["units"]["p50"] == "semitones"
        answer = reference.query("span_by_period")
        assert answer.to_frame().attrs["units"]["middle"] == "semitones"
        with pytest.raises(UsageError, match="no parameter"):
            reference.query("span_by_period", nothing=1)


def test_a_bad_file_from_python(in_home: Path, tmp_path: Path) -> None:
    path = tmp_path / "empty.mxl"
    path.touch()
    with pytest.raises(ReadError, match="empty"):
        corpusreg.compare(path)


def test_bars_whose_numbers_begin_again_are_told_so() -> None:
    start, end = PrintedBar("40", 40), PrintedBar("33", 90)
    told = place_words(Place(100, 150, start, end))
    assert told == "bars 40 to 33 (their numbers begin again in between)"
