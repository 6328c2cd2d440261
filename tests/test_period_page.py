"""`periods --report`: its numbers, its pictures, the page in a browser, the PDF."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from lxml import etree, html
from playwright.sync_api import Browser, Page
from pypdf import PdfReader
from test_periods import invented, late, with_span

from corpusreg import cli
from corpusreg.documents.figures.periods import Chart, charts, period_picture, trend_picture
from corpusreg.documents.figures.style import amount
from corpusreg.documents.layout import Document
from corpusreg.documents.periods import periods_document, write_periods
from corpusreg.documents.pictures.look import COLOURS
from corpusreg.norms.periods.answer import study
from corpusreg.norms.periods.results import Study
from corpusreg.norms.periods.works import Works
from corpusreg.system.errors import CorpusregError

SVG = "{http://www.w3.org/2000/svg}"
EVIL = "A & <b>B</b> $x$"
MEASURES = ["span", "hollow_share"]


def planted() -> Works:
    """Romantic composers span four more; shares of hollow bars lie between 0 and 1."""
    works = invented()
    works = with_span(works, works.values["span"] + 4 * late(works))
    hollow = np.linspace(0, 1, len(works))
    return replace(works, values={**works.values, "hollow_share": hollow})


NAMES = {unit: f"Composer {unit}" for unit in range(24)} | {3: EVIL}


@pytest.fixture(scope="module")
def found() -> Study:
    return study(planted(), MEASURES)


@pytest.fixture(scope="module")
def drawn(found: Study) -> tuple[Chart, ...]:
    return charts(planted(), found, NAMES)


@pytest.fixture(scope="module")
def content(found: Study, drawn: tuple[Chart, ...]) -> Document:
    return periods_document(found, drawn, "invented")


@pytest.fixture(scope="module")
def page(content: Document, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("page") / "periods.html"
    path.write_text(content.page(), encoding="utf-8")
    return path


def words(svg: str) -> list[str]:
    texts = etree.fromstring(svg).iter(f"{SVG}text")
    return ["".join(text.itertext()) for text in texts]


# --- numbers and pictures ---------------------------------------------------------------


def test_every_work_is_a_dot_in_the_line_of_its_composer(drawn: tuple[Chart, ...]) -> None:
    works, chart = planted(), drawn[0]
    own = [(c.name, c.values) for band in chart.bands for c in band.composers]
    assert sum(len(values) for _, values in own) == len(works)
    for name, values in own:
        (unit,) = [unit for unit, called in NAMES.items() if called == name]
        assert sorted(works.values["span"][works.unit == unit]) == pytest.approx(values)
    for band in chart.bands:
        assert [c.year for c in band.composers] == sorted(c.year for c in band.composers)


def test_a_trend_goes_through_the_middle_composer_as_steep_as_it_is_said(
    found: Study, drawn: tuple[Chart, ...]
) -> None:
    line, trend = drawn[0].line, found.measures[0].trend
    assert line is not None and trend is not None and trend.slope is not None
    years = line.ends[1] - line.ends[0]
    for side, slope in zip((line.middle, line.low, line.high), trend.slope, strict=True):
        assert 100 * (side[1] - side[0]) / years == pytest.approx(slope)
        share = (np.median(line.years) - line.ends[0]) / years
        assert side[0] + share * (side[1] - side[0]) == pytest.approx(np.median(line.values))


def test_counts_middles_and_intervals_are_on_the_figure(
    found: Study, drawn: tuple[Chart, ...]
) -> None:
    for own, chart in zip(found.measures, drawn, strict=True):
        factor = 100 if own.measure.name == "hollow_share" else 1
        text = words(period_picture(chart, "p").svg)
        for cell in own.cells:
            assert f"{cell.works} works by {cell.units}" in text
            assert amount(factor * cell.median) in text
            assert cell.interval is not None
            assert " to ".join(amount(factor * side) for side in cell.interval) in text
        assert {name for name in NAMES.values() if name != EVIL} <= set(text)
    assert any("time with a gap" in each for each in text)


def test_a_period_of_one_collection_is_called_by_it_and_few_have_no_interval() -> None:
    works = planted()
    romantic = late(works) > 0
    works = replace(
        works,
        collection=np.where(romantic, "edition 0", works.collection).astype(object),
        unit=np.where(romantic, np.minimum(works.unit, 13), works.unit),
    )
    (chart,) = charts(works, study(works, ["span"]), NAMES)
    text = words(period_picture(chart, "p").svg)
    assert "too few composers" in text
    assert "First" in " ".join(text) and "(romantic)" in " ".join(text)
    picture = trend_picture(chart, "t")
    assert picture is not None and "Over the years: " in " ".join(words(picture.svg))


def test_many_composers_are_drawn_and_not_named() -> None:
    works = invented(composers=30, each=2)
    names = {unit: f"Composer {unit}" for unit in range(60)}
    (chart,) = charts(works, study(works, ["span"]), names)
    picture = period_picture(chart, "p")
    assert not [text for text in words(picture.svg) if text.startswith("Composer")]
    assert picture.height < 600


# --- page -------------------------------------------------------------------------------


def test_pictures_come_first_and_what_holds_is_said(content: Document, page: Path) -> None:
    tree = html.parse(page)
    sections = tree.xpath("//main/section[@id]")
    assert [section.get("id") for section in sections] == MEASURES
    for section in sections:
        names = [child.tag for child in section]
        assert names.index("figure") < names.index("ul")
    columns, rows = content.data["summary"]
    cells = {row[0]: dict(zip(columns, row, strict=True)) for row in rows}
    assert cells["Span"]["Classical to romantic"] == "more"
    assert "->" not in tree.getroot().text_content()


def test_the_page_has_the_numbers_of_the_answer(found: Study, page: Path) -> None:
    text = " ".join(html.parse(page).getroot().text_content().split())
    for own in found.measures:
        (pair,) = own.pairs
        assert f"In {50 * (pair.value + 1):.0f} of 100 pairs of composers" in text
    assert "Made with reference invented, definitions 5." in text
    assert f"{found.works} works with a period by {found.units} composers" in text


@pytest.fixture
def opened(browser: Browser, page: Path) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    trouble: list[str] = []
    shown = context.new_page()
    shown.on("console", lambda message: trouble.append(message.text))
    shown.on("pageerror", lambda error: trouble.append(str(error)))
    shown.on("request", lambda r: r.url.startswith("file:") or trouble.append(r.url))
    shown.goto(page.as_uri())
    yield shown
    context.close()
    assert not trouble


def test_the_page_opens_from_disk_is_accessible_and_escapes(opened: Page) -> None:
    assert opened.locator("h1").count() == 1
    assert EVIL in opened.locator("#span svg").first.text_content()
    for scheme, asked in (("light", {}), ("dark", {"runOnly": ["color-contrast"]})):
        opened.emulate_media(color_scheme=scheme)
        asked |= {"resultTypes": ["violations"]}
        found = Axe().run(opened, options=asked).response["violations"]
        assert not [(each["id"], [n["html"][:90] for n in each["nodes"]]) for each in found]


def test_figures_take_the_palette_of_the_page(opened: Page) -> None:
    opened.emulate_media(color_scheme="dark")
    paint = "getComputedStyle(document.querySelector('.figure text')).fill"
    assert COLOURS["quiet"].lower() not in opened.evaluate(paint)
    dark = opened.evaluate(paint)
    opened.emulate_media(color_scheme="light")
    assert dark != opened.evaluate(paint)


@pytest.mark.parametrize("width", [360, 1024])
def test_nothing_overflows(opened: Page, width: int) -> None:
    opened.set_viewport_size({"width": width, "height": 800})
    assert opened.evaluate("document.documentElement.scrollWidth") <= width


def test_the_pdf_says_the_same(content: Document, tmp_path: Path) -> None:
    sheet = content.sheet()
    assert sheet.remarks == ()
    (tmp_path / "a.pdf").write_bytes(sheet.pdf)
    text = " ".join(
        " ".join(page.extract_text() for page in PdfReader(tmp_path / "a.pdf").pages).split()
    )
    for section in content.data["sections"]:
        assert section.title in text
        for result in section.results:
            assert result.words in text
    assert EVIL in text
    assert "Made with reference invented" in text


# --- command ----------------------------------------------------------------------------


def test_the_command_writes_a_page(
    in_home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "span.html"
    assert cli.main(["periods", "span", "--report", str(path)]) == 0
    assert capsys.readouterr().out == f"{path}\n"
    assert "Register by period" in path.read_text("utf-8")
    assert [each.name for each in tmp_path.iterdir()] == ["span.html"]


def test_another_ending_is_refused_before_anything_is_asked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CORPUSREG_HOME", str(tmp_path / "nothing"))
    assert cli.main(["periods", "--report", "a.docx"]) == 2
    said = "corpusreg: a.docx: a report ends in .html or .pdf; name it so\n"
    assert capsys.readouterr().err == said


def test_where_it_cannot_be_written_nothing_is_left(
    found: Study, drawn: tuple[Chart, ...], tmp_path: Path
) -> None:
    path = tmp_path / "missing" / "a.html"
    with pytest.raises(CorpusregError, match=re.escape(f"{path}: cannot be written")):
        write_periods(found, drawn, "invented", path)
    assert list(tmp_path.iterdir()) == []


def test_a_reference_without_periods_is_said() -> None:
    works = invented()
    none = {
        name: getattr(works, name)[:0]
        for name in ("unit", "composer", "period", "year", "ensemble", "collection", "bars",
                     "stated", "dynamics", "pedal", "repeats")
    }  # fmt: skip
    empty = replace(
        works,
        **none,
        values={name: values[:0] for name, values in works.values.items()},
        rebarred={
            bars: {name: values[:0] for name, values in own.items()}
            for bars, own in works.rebarred.items()
        },
    )
    found = study(empty)
    page = periods_document(found, charts(empty, found, {}), "invented").page()
    assert "Nothing can be compared: no work has a period." in page
