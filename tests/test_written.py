"""How the notes written for an instrument are spread: against counts by hand."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from conftest import PIECES

from corpusreg.comparison import heights
from corpusreg.comparison.heights import among, passage
from corpusreg.instruments import load
from corpusreg.norms import written
from corpusreg.norms.cohorts import Copies
from corpusreg.store import open_reference

TABLE = load()


class Table:
    """Rows of `queries/store/written.sql` that are given."""

    def __init__(self, rows: Sequence[tuple[str, str, str | None, str, int, float]]) -> None:
        self.rows = rows

    def fetch_columns(self, text: str, params: dict[str, Any]) -> dict[str, np.ndarray]:
        instrument, ensemble, period, unit, pitch, notes = map(
            np.array, zip(*self.rows, strict=True)
        )
        return {
            "instrument": instrument,
            "here": ensemble == params["ensemble"],
            "period": np.array([each or "" for each in period], object),
            "unit": np.unique(unit, return_inverse=True)[1],
            "pitch": pitch,
            "notes": notes,
        }


def test_composers_count_the_same_and_short_ones_in_proportion() -> None:
    rows: list[tuple[str, str, str | None, str, int, float]]
    rows = [("oboe", "song", "romantic", f"c{n}", 70, 400.0) for n in range(7)]
    rows += [
        ("oboe", "song", None, "c7", 80, 100_000.0),
        ("oboe", "choir", None, "c8", 90, 100.0),
    ]
    found = written.fetch(Table(rows), [TABLE["oboe"]], "choir")["oboe"]
    assert (found.ensemble, found.composers) == ("", 9)
    assert found.share[[70, 80, 90]] == pytest.approx(np.array([7, 1, 0.5]) / 8.5)
    assert found.lower[81] == pytest.approx(8 / 8.5)
    assert found.higher[80] == pytest.approx(0.5 / 8.5)
    assert (found.quantile(0.5), found.quantile(0.9), found.quantile(1)) == (70, 80, 90)
    assert found.periods == {}  # seven composers are too few
    song = written.fetch(Table(rows), [TABLE["oboe"]], "song")["oboe"]
    assert (song.ensemble, song.composers) == ("song", 8)
    assert not written.fetch(Table(rows[:7]), [TABLE["oboe"]], "song")


def test_periods_are_of_the_medium_where_two_of_them_have_enough() -> None:
    def rows(
        medium: str, period: str, pitch: int
    ) -> list[tuple[str, str, str, str, int, float]]:
        return [("horn", medium, period, f"{period}{n}", pitch, 400.0) for n in range(8)]

    song = rows("song", "classical", 50)
    orchestra = rows("orchestra", "classical", 60)
    found = written.fetch(Table([*song, *orchestra]), [TABLE["horn"]], "orchestra")["horn"]
    assert not found.by_medium and found.periods["classical"][50] == pytest.approx(0.5)
    late = rows("orchestra", "romantic", 70)
    found = written.fetch(Table([*song, *orchestra, *late]), [TABLE["horn"]], "orchestra")[
        "horn"
    ]
    assert found.by_medium
    # Too few write for natural horns: they are horns.
    natural = TABLE["natural-horn"]
    assert written.fetch(Table(song), [natural], "")["natural-horn"].name == "horn"
    assert [share.argmax() for share in found.periods.values()] == [60, 70]


def test_counts_are_those_of_the_reference(in_home: Path) -> None:
    reference = open_reference()
    known = written.fetch(reference, list(TABLE.values()), "")
    found = max(known.values(), key=lambda each: each.composers)
    rows = reference.fetch_columns(
        "SELECT w.unit, n.pitch, n.notes FROM part_pitches AS n"
        " JOIN parts AS p USING (work, part) JOIN works AS w USING (work)"
        " WHERE p.instrument = $instrument AND w.same_as IS NULL",
        {"instrument": found.instrument},
    )
    assert found.composers == len(set(rows["unit"]))
    spread = np.zeros(128)
    for unit in set(rows["unit"]):
        own = rows["unit"] == unit
        notes = np.bincount(rows["pitch"][own], weights=rows["notes"][own], minlength=128)
        spread += notes / max(notes.sum(), 200)
    assert found.share == pytest.approx(spread / spread.sum())
    middle = found.quantile(0.5)
    named = written.examples(reference, found, middle, up=True)
    assert 1 <= len(named) <= written.EXAMPLES and all(", " in each for each in named)


def test_a_passage_lies_among_what_is_written_for_its_instrument(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(heights, "own_copies", lambda *_: Copies((), ()))
    found = passage(PIECES / "three-at-a-table.musicxml", "5-8", part="Bassoon", table=load())
    rows = [
        ("bassoon", "", period, f"{period}{n}", pitch, 300.0)
        for n in range(8)
        for pitch, period in ((50, "classical"), (70, "romantic"), (75, "romantic"))
    ]
    far = among(Table(rows), found).far
    assert far is not None
    # All lies above D3 and, but for B flat 4 itself, below B flat 4: half of the notes, and a
    # quarter of them lies above that.
    assert far.lower == pytest.approx(1 / 2) and 1 / 4 < far.higher < 1 / 2
    assert (found.highest, far.top) == (70, {"classical": 1.0, "romantic": 0.0})
    assert far.bottom == {"classical": 0.0, "romantic": 1.0}
    assert among(Table(rows[:3]), found).far is None
