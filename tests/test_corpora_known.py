"""Works of every reader whose bars, notes and range music21 counted.

tests/data/known_works.csv is written by write_known_works.py, which uses music21 and not
corpusreg. The works inside the music21 package are checked here, those of open corpora in
benchmarks/corpora.py.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from write_known_works import place_of, rows

from corpusreg.score.readers import read_file

BUNDLED = [row for row in rows() if row["corpus"] == "bundled"]


def own_counts(path: Path, number: str) -> tuple[int, int, int, int]:
    """Bars, notes, lowest and highest pitch by corpusreg's readers, as the file has them."""
    scores = [s for s in read_file(path).scores if s.number == number or not number]
    assert len(scores) == 1
    notes = scores[0].notes[~scores[0].notes["grace"]]
    pitch = notes["pitch"]
    heads = int((~notes["tie_in"]).sum())
    return len(scores[0].bars), heads, int(pitch.min()), int(pitch.max())


def test_sixty_works_of_all_readers_are_listed() -> None:
    assert len(rows()) >= 60
    assert len(BUNDLED) >= 15
    assert {Path(row["path"]).suffix for row in rows()} >= {".krn", ".mxl", ".abc"}


@pytest.mark.parametrize("row", BUNDLED, ids=lambda row: f"{row['path']}#{row['number']}")
def test_counts_are_those_of_music21(row: dict[str, str]) -> None:
    expected = tuple(int(row[name]) for name in ("bars", "notes", "lowest", "highest"))
    assert own_counts(place_of("bundled", row["path"]), row["number"]) == expected
