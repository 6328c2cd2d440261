"""Sheets as PDF: text is text, fonts are inside, and the numbers are those of --json."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from conftest import PIECES, Command
from pypdf import PdfReader
from pypdf.generic import DictionaryObject

from corpusreg.documents.paper import paper_of, typeset

MARKUP = 'A #import "x" <b>bold</b> $x^2$ *loud* _low_ @ref \\ [c] // é ♯'
TEMPLATE = "= #data.title\n#picture(data.svg, data.title, width: 50mm)\n"
SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><path d="M0 0h9v9"/></svg>'


def text_of(pdf: bytes | Path) -> str:
    """All text, on one line."""
    source = pdf if isinstance(pdf, Path) else io.BytesIO(pdf)
    return squeezed(" ".join(page.extract_text() for page in PdfReader(source).pages))


def squeezed(text: str) -> str:
    """One space wherever there is any."""
    return " ".join(text.split())


def descriptors(pdf: bytes | Path) -> Iterator[tuple[str, DictionaryObject]]:
    """Names and descriptors of all fonts."""
    reader = PdfReader(pdf if isinstance(pdf, Path) else io.BytesIO(pdf))
    for number in range(1, len(reader.xref_objStm) + len(reader.xref.get(0, {})) + 1):
        found: Any = reader.get_object(number)
        if isinstance(found, DictionaryObject) and found.get("/Type") == "/Font":
            for font in found.get("/DescendantFonts", [found]):
                described = font.get_object()
                yield str(described["/BaseFont"]), described["/FontDescriptor"].get_object()


def embedded(pdf: bytes | Path) -> list[bool]:
    """For each font whether its shapes are in the file."""
    files = ("/FontFile", "/FontFile2", "/FontFile3")
    return [any(name in found for name in files) for _, found in descriptors(pdf)]


def test_markup_in_a_title_is_text() -> None:
    made = typeset(TEMPLATE, {"title": MARKUP, "svg": SVG})
    assert squeezed(MARKUP) in text_of(made.pdf)
    assert PdfReader(io.BytesIO(made.pdf)).metadata.title == MARKUP  # type: ignore[union-attr]
    assert made.remarks == ()


def test_fonts_are_inside_and_the_file_is_tagged() -> None:
    made = typeset(TEMPLATE, {"title": "Evening", "svg": SVG})
    assert embedded(made.pdf)
    assert all(embedded(made.pdf))
    root: Any = PdfReader(io.BytesIO(made.pdf)).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert "/StructTreeRoot" in root


def test_the_same_data_give_the_same_bytes() -> None:
    once, again = (typeset(TEMPLATE, {"title": "Evening", "svg": SVG}) for _ in range(2))
    assert once == again


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_papers(paper: str, size: tuple[int, int]) -> None:
    made = typeset(TEMPLATE, {"title": "Evening", "svg": SVG}, paper=paper)
    box = PdfReader(io.BytesIO(made.pdf)).pages[0].mediabox
    assert (round(box.width), round(box.height)) == size


def test_a_letter_that_no_font_has_is_said() -> None:
    made = typeset(TEMPLATE, {"title": "Air \U000f1234", "svg": SVG})
    (remark,) = made.remarks
    assert "empty boxes" in remark
    assert "Air" in text_of(made.pdf)


@pytest.fixture(scope="module")
def report(small_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A report of one demo piece, made by the command."""
    from conftest import command

    path = tmp_path_factory.mktemp("report") / "stairs.pdf"
    done = command(
        ["compare", PIECES / "stairs.musicxml", "--report", path],
        {"CORPUSREG_HOME": str(small_home)},
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout == f"{path}: a piece\n"
    return path


def test_a_report_is_one_page_and_its_details(report: Path) -> None:
    pages = [squeezed(page.extract_text()) for page in PdfReader(report).pages]
    assert pages[0].startswith("Stairs")
    for heading in ("In numbers", "To look at", "One thing to try"):
        assert heading in pages[0]
    assert pages[1].startswith("What happens")
    assert all(embedded(report))


def test_paper_refuses_what_it_cannot_set() -> None:
    with pytest.raises(ValueError, match="<video>"):
        paper_of("<video></video>", {}, title="A")
    with pytest.raises(ValueError, match="no picture map"):
        paper_of('<img src="map" alt="x">', {}, title="A")


def test_markup_in_a_body_is_text() -> None:
    made = paper_of("<h1>A #b &lt;i&gt;</h1><p>*c* $d$ <em>e</em></p>", {}, title="A")
    assert "A #b <i>" in text_of(made.pdf)
    assert "*c* $d$ e" in text_of(made.pdf)


def test_a_picture_taller_than_a_page_is_made_smaller() -> None:
    tall = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 300" width="100mm" '
        'height="300mm"><path d="M0 0h100v300"/></svg>'
    )
    body = '<h1>Tall</h1><figure><img src="t" alt="x" class="notation"><p>below</p></figure>'
    made = PdfReader(io.BytesIO(paper_of(body, {"t": tall}, title="Tall").pdf))
    heights: list[float] = []
    [page] = made.pages
    page.extract_text(
        visitor_text=lambda text, cm, tm, *_: (
            heights.append(cm[3] * tm[5] + cm[5]) if text.strip() == "below" else None
        )
    )
    assert heights and min(heights) > 16 / 25.4 * 72


def test_a_report_on_paper_of_another_size(run: Command, tmp_path: Path) -> None:
    pdf, page = tmp_path / "on-letter.pdf", tmp_path / "on-letter.html"
    piece = PIECES / "stairs.musicxml"
    for path in (pdf, page):
        done = run("compare", piece, "--report", path, "--paper", "letter")
        assert done.returncode == 0, done.stderr
    sizes = {(round(p.mediabox.width), round(p.mediabox.height)) for p in PdfReader(pdf).pages}
    assert sizes == {(612, 792)}
    assert "@page { size: letter; }" in page.read_text(encoding="utf-8")


def test_a_size_of_paper_without_a_report_is_refused(run: Command) -> None:
    done = run("compare", PIECES / "stairs.musicxml", "--paper", "letter")
    assert (done.returncode, done.stdout) == (2, "")
    assert "--report" in done.stderr


def test_a_report_that_cannot_be_written_leaves_nothing(run: Command, tmp_path: Path) -> None:
    done = run("compare", PIECES / "stairs.musicxml", "--report", tmp_path / "no" / "a.pdf")
    assert done.returncode == 1
    assert len(done.stderr.splitlines()) == 1
    assert "cannot be written" in done.stderr
    assert not list(tmp_path.iterdir())
