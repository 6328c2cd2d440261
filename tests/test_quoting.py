"""Passages of the reference: shown only under an open licence, and only as measured."""

from __future__ import annotations

import shutil
from pathlib import Path

import direct
import pytest

from corpusreg.corpus.files import bundled_root
from corpusreg.documents.engraving import Engraved
from corpusreg.documents.quoting import Quotation, QuotedPlace, quotations
from corpusreg.store import open_reference
from corpusreg.system.errors import UsageError

PIECES = Path(__file__).parents[1] / "demo" / "pieces"
OPEN, CLOSED = "kitchen-window.musicxml", "stairs.musicxml"


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of two pieces, one under CC0 and one that says nothing, measured."""
    home, shelf = tmp_path_factory.mktemp("home"), tmp_path_factory.mktemp("x") / "shelf"
    shelf.mkdir()
    shutil.copy(PIECES / OPEN, shelf)
    text = (PIECES / CLOSED).read_text(encoding="utf-8")
    start, end = text.index("<rights"), text.index("</rights>")
    (shelf / CLOSED).write_text(text[:start] + text[end + len("</rights>") :], encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("CORPUSREG_HOME", str(home))
        direct.extract([str(shelf)], workers=1)
    return home


def ask(home: Path, folder: Path | None, *names: str) -> list[Quotation]:
    places = [QuotedPlace(f"shelf:{name}", 4, 8, "bars 5–8") for name in names]
    folders = {} if folder is None else {"shelf": folder}
    with open_reference(home / "reference") as reference:
        return quotations(reference, places, folders)


def test_an_open_work_is_engraved_with_its_attribution(shelf: Path) -> None:
    [found] = ask(shelf, PIECES, OPEN)
    assert isinstance(found.picture, Engraved)
    assert found.picture.labels == ("5", "6", "7", "8")
    assert found.named.endswith("Kitchen Window, bars 5–8")
    name, _, rest = found.credit.partition(". Encoding: ")
    assert found.named == f"{name}, bars 5–8"
    assert rest == 'kitchen-window.musicxml (shelf); its licence as stated: "CC0 1.0"'
    assert found.why == ""


def test_other_works_are_named_by_bar(shelf: Path) -> None:
    shut, shown = ask(shelf, PIECES, CLOSED, OPEN)
    assert shut.picture is None and shut.credit == ""
    assert shut.why == "the encoding is not under an open licence (reserved)"
    assert shut.named.endswith("stairs, bars 5–8")
    assert shown.picture is not None


def test_a_file_that_is_gone_or_has_changed_is_said(shelf: Path, tmp_path: Path) -> None:
    [gone] = ask(shelf, tmp_path, OPEN)
    assert gone.picture is None and gone.why == f"{OPEN} is no longer there"
    (tmp_path / OPEN).write_bytes((PIECES / OPEN).read_bytes() + b"\n")
    [changed] = ask(shelf, tmp_path, OPEN)
    assert changed.picture is None
    assert changed.why == f"{OPEN} has changed since it was measured"
    [unknown] = ask(shelf, None, OPEN)
    assert unknown.why == "the folder of the corpus 'shelf' is not known here"


def test_a_work_that_is_not_in_the_reference(shelf: Path) -> None:
    with pytest.raises(UsageError, match="no work 'shelf:attic' in the reference"):
        ask(shelf, PIECES, "attic")


def test_bundled_works(in_home: Path) -> None:
    with open_reference() as reference:
        rows = reference.query(
            "SELECT work FROM works WHERE tier = 'open' AND path LIKE 'webern/%' AND "
            "work LIKE 'bundled:%' "
            "UNION ALL (SELECT work FROM works WHERE tier = 'permitted' ORDER BY work LIMIT 1)"
        ).rows
        shown, named = (
            quotations(reference, [QuotedPlace(w, 0, 2, "bars 1–2")])[0] for (w,) in rows
        )
    assert shown.picture is not None
    assert shown.named == "Anton Webern, Dormi Jesu (Op. 16/II), bars 1–2"
    assert "(music21 corpus)" in shown.credit and "CC-BY-SA" in shown.credit
    assert named.picture is None and "open licence (permitted)" in named.why


def test_a_title_that_is_a_file_name_is_told_with_its_collection(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shelf = tmp_path / "chorales"
    shelf.mkdir()
    shutil.copy(bundled_root() / "bach" / "bwv10.7.mxl", shelf)  # titled 'bwv10.7.mxl'
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "home"))
    direct.extract([str(shelf)], workers=1)
    with open_reference() as reference:
        place = QuotedPlace("chorales:bwv10.7.mxl", 0, 1, "bar 1")
        named = quotations(reference, [place])[0].named
    assert named.endswith("chorales: BWV 10.7, bar 1")
