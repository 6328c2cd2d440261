"""The repertoire atlas: its numbers on invented works by hand, and the sheets they become."""

from __future__ import annotations

import html
import json
import re
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from conftest import Command
from lxml import etree
from numpy.typing import NDArray
from playwright.sync_api import Browser
from pypdf import PdfReader

from corpusreg import cli, instruments
from corpusreg.documents.atlas import atlas_document, atlas_page, write_atlas
from corpusreg.documents.figures.atlas import atlas_pictures
from corpusreg.documents.figures.style import Wall, amount
from corpusreg.documents.pictures.look import COLOURS
from corpusreg.documents.pictures.svg import text_width
from corpusreg.measures.definitions import MEASURES
from corpusreg.norms.atlas import (
    FIGURES,
    Atlas,
    GroupedMeasure,
    Heights,
    OctaveCell,
    Octaves,
    atlas,
)
from corpusreg.store import open_reference
from corpusreg.system.errors import CorpusregError, DataError

SVG = "{http://www.w3.org/2000/svg}"
EVIL = "Airs & <b>Graces</b> $x^2$"


class Invented:
    """A store of invented works: choirs by A (98 works), B, C and D; two piano works by E.

    Span is 20 in all works of A, and 10, 30 and 40 in the one work of B, C and D.
    """

    reference_id = "invented"

    def __init__(self) -> None:
        unit = [0] * 98 + [1, 2, 3] + [4, 4]
        self.span = np.array([20.0] * 98 + [10, 30, 40] + [50, 70])
        self.unit = np.array(unit)
        self.work = np.array([f"w{number:03d}" for number in range(len(unit))], object)
        self.ensemble = np.array(["choir"] * 101 + ["piano"] * 2, object)

    def fetch_columns(
        self, text: str, params: Mapping[str, object] | Sequence[object] | None = None
    ) -> dict[str, NDArray[Any]]:
        count = len(self.unit)
        if "atlas group" in text:
            return {
                "work": self.work,
                "unit_number": self.unit,
                "collection": np.array(
                    ["evil" if u == 4 else f"c{u}" for u in self.unit], object
                ),
                "period": np.array([None] * 98 + ["baroque"] * 3 + ["romantic"] * 2, object),
                "ensemble": self.ensemble,
                **{measure.name: self.span for measure in MEASURES},
            }
        if "sounds in each octave" in text:
            # A sounds in octave 4 alone, all others half in 3 and half in 4.
            work = [
                w for w, u in zip(self.work, self.unit, strict=True) for _ in range(1 + (u > 0))
            ]
            band = [b for u in self.unit for b in ((4,) if u == 0 else (3, 4))]
            share = [s for u in self.unit for s in ((1.0,) if u == 0 else (0.5, 0.5))]
            return {
                "work": np.array(work, object), "band": np.array(band), "share": np.array(share)
            }  # fmt: skip
        if "for each instrument" in text:
            # Violin: A has 900 notes on 60, B to E one each on 70; 20 lies below its range.
            return {
                "instrument": np.array(["violin"] * 5 + ["viola"], object),
                "unit_number": np.array([0, 1, 2, 3, 4, 0]),
                "pitch": np.array([60, 70, 70, 70, 20, 50]),
                "notes": np.array([900.0, 1, 1, 1, 1, 5]),
                "works": np.array([count] * 6),
            }
        return {"collection": np.array(["evil"], object), "title": np.array([EVIL], object)}


@pytest.fixture(scope="module")
def found() -> Atlas:
    return atlas(Invented())


@pytest.fixture(scope="module")
def drawn(found: Atlas) -> dict[str, etree._Element]:
    return {name: etree.fromstring(p.svg) for name, p in atlas_pictures(found).items()}


def groups(found: Atlas, name: str) -> GroupedMeasure:
    (figure,) = [each for each in found.figures if each.name == name]
    assert isinstance(figure, GroupedMeasure)
    return figure


def words(svg: etree._Element) -> list[str]:
    return ["".join(text.itertext()) for text in svg.iter(f"{SVG}text")]


# --- numbers --------------------------------------------------------------------------


def test_composers_count_the_same(found: Atlas) -> None:
    (choir,) = groups(found, "span-by-ensemble").cells
    assert (choir.works, choir.units) == (101, 4)
    # Four composers with 10, 20, 30 and 40: half-way between the second and the third.
    assert choir.middle == pytest.approx(25)
    assert choir.dots == (10, 20, 30, 40)
    assert choir.quarters == pytest.approx((15, 35))
    assert choir.interval is not None
    assert choir.interval[0] < 20 and choir.interval[1] > 30


def test_one_composer_is_left_out_and_named_by_the_collection(found: Atlas) -> None:
    figure = groups(found, "span-by-ensemble")
    assert figure.left_out == (f"\u2018{EVIL}\u2019 (piano works)",)
    baroque, romantic = groups(found, "shifts-by-period").cells
    assert (baroque.name, baroque.units, baroque.mostly) == ("baroque", 3, "choral works")
    assert baroque.interval is None, "three composers are too few"
    assert romantic.name == f"\u2018{EVIL}\u2019 (romantic)", "a period stays in its place"


def test_octaves_weigh_composers_equally(found: Atlas) -> None:
    (figure,) = [each for each in found.figures if isinstance(each, Octaves)]
    (choir,) = figure.cells
    assert figure.bands == (3, 4)
    # One of four composers has 1 in octave 4, three have a half.
    assert choir.shares == pytest.approx((0.375, 0.625))
    # By hand: sd .25, t with 3 degrees 3.182, over the root of 4.
    assert choir.intervals is not None
    assert choir.intervals[0][1] == pytest.approx(0.375 + 3.182 * 0.25 / 2, rel=2e-3)
    assert choir.intervals[0][0] == 0, "no share is below nothing"


def test_figures_that_no_group_fills_are_named() -> None:
    class Few(Invented):
        def fetch_columns(
            self, text: str, params: Mapping[str, object] | Sequence[object] | None = None
        ) -> dict[str, NDArray[Any]]:
            rows = super().fetch_columns(text, params)
            none = "for each instrument" in text
            return {name: own[:0] if none else own for name, own in rows.items()}

    few = atlas(Few())
    title = "What is written for each voice and instrument?"
    assert few.undrawn == (title,)
    assert not [each for each in few.figures if isinstance(each, Heights)]
    assert f"Too few composers for these: {title}" in atlas_page(few, atlas_pictures(few))


def test_one_composer_alone_is_no_atlas() -> None:
    alone = Invented()
    keep = alone.unit == 0
    alone.unit, alone.span = alone.unit[keep], alone.span[keep]
    alone.work, alone.ensemble = alone.work[keep], alone.ensemble[keep]

    class Alone(Invented):
        def __init__(self) -> None:
            vars(self).update(vars(alone))

        def fetch_columns(
            self, text: str, params: Mapping[str, object] | Sequence[object] | None = None
        ) -> dict[str, NDArray[Any]]:
            rows = super().fetch_columns(text, params)
            if "for each instrument" in text:
                return {name: own[:1] for name, own in rows.items()}
            if "period" in rows:
                rows["period"] = rows["period"][: len(self.unit)]
            return rows

    with pytest.raises(DataError, match="no figure can be drawn: no ensemble has two"):
        atlas(Alone())


def test_many_rows_go_on_several_sheets() -> None:
    """Twenty instruments by five composers each: three sheets, every one once."""
    ids = [name for name, row in instruments.load().items() if not row.generic][:20]

    class Many(Invented):
        def fetch_columns(
            self, text: str, params: Mapping[str, object] | Sequence[object] | None = None
        ) -> dict[str, NDArray[Any]]:
            if "for each instrument" not in text:
                return super().fetch_columns(text, params)
            return {
                "instrument": np.repeat(np.array(ids, object), 5),
                "unit_number": np.tile(np.arange(5), 20),
                "pitch": np.full(100, 60),
                "notes": np.ones(100),
                "works": np.full(100, 5),
            }

    sheets = [each for each in atlas(Many()).figures if isinstance(each, Heights)]
    assert [each.name for each in sheets] == [
        "heights-by-instrument", "heights-by-instrument-2", "heights-by-instrument-3",
    ]  # fmt: skip
    assert sheets[1].title.endswith(" (2 of 3)")
    assert [row.instrument.id for each in sheets for row in each.rows] == ids
    assert {len(each.rows) for each in sheets} == {6, 7}


def test_what_is_written_for_an_instrument(found: Atlas) -> None:
    (figure,) = [each for each in found.figures if isinstance(each, Heights)]
    (violin,) = figure.rows
    assert figure.left_out == ("viola",)
    assert dict(zip(violin.pitches, violin.shares, strict=True)) == pytest.approx(
        {20: 0.2, 60: 0.2, 70: 0.6}
    )
    assert violin.beyond == pytest.approx(0.2)
    assert (violin.units, violin.notes) == (5, 904)


def test_a_store_without_works_is_said() -> None:
    empty = Invented()
    empty.unit, empty.span = empty.unit[:0], empty.span[:0]
    with pytest.raises(DataError, match="no works, so there is nothing to draw"):
        atlas(empty)


def test_numbers_of_the_store_agree_with_the_queries(run: Command, in_home: Path) -> None:
    """Medians and counts as 'corpusreg table' has them, heights as in queries/."""
    with open_reference() as reference:
        own = atlas(reference)
    for name, _, measure, by in FIGURES:
        table = json.loads(run("table", measure, "--by", by, "--json").stdout)
        rows = {row["group"]: row for row in table}
        for cell in groups(own, name).cells:
            row = rows[cell.group]
            assert (cell.works, cell.units) == (row["works"], row["units"])
            quantiles = (*cell.tenths[:1], *cell.quarters[:1], cell.middle)
            expected = (row["p10"], row["p25"], row["p50"])
            assert quantiles == pytest.approx(expected, abs=1e-3), name


# --- sheets ---------------------------------------------------------------------------


def test_the_query_beside_a_sheet_gives_the_works_of_its_first_row(
    run: Command, in_home: Path
) -> None:
    with open_reference() as reference:
        made = atlas(reference)
    page = atlas_page(made, atlas_pictures(made))
    asked = re.findall(r"<code>corpusreg ([^<]+)</code>", page)
    assert len(asked) == len(made.figures) > 5
    for figure, command in zip(made.figures, asked, strict=True):
        rows = json.loads(run(*shlex.split(html.unescape(command)), "--json").stdout)
        if isinstance(figure, Heights):
            first = figure.rows[0]
            assert len({row["work"] for row in rows}) == first.works
        else:
            cell = figure.cells[0]
            counted = [row for row in rows if row["weight"] is not None]
            assert len(counted) == (cell.in_use if isinstance(cell, OctaveCell) else cell).works


def test_counts_middles_and_intervals_are_on_the_figure(
    found: Atlas, drawn: dict[str, etree._Element]
) -> None:
    for figure in found.figures:
        said = words(drawn[figure.name])
        assert figure.title in said
        assert any("Reference invented" in text for text in said)
        if isinstance(figure, GroupedMeasure):
            factor = 100 if figure.measure.unit.startswith("share") else 1
            for cell in figure.cells:
                assert any(
                    text.startswith(f"{cell.works} works by {cell.units}") for text in said
                )
                assert amount(factor * cell.middle) in said
                if cell.interval is None:
                    assert "too few composers" in said
                else:
                    assert " to ".join(amount(factor * x) for x in cell.interval) in said
    assert "101 works by 4" in words(drawn["octaves-by-ensemble"])
    assert "904 notes, 103 works by 5" in words(drawn["heights-by-instrument"])
    assert any("; 20 % beyond" in text for text in words(drawn["heights-by-instrument"]))


def test_markup_in_a_name_is_text(drawn: dict[str, etree._Element]) -> None:
    said = " ".join(words(drawn["span-by-ensemble"]))
    assert EVIL in said
    assert not list(drawn["span-by-ensemble"].iter("{*}b"))


def test_text_stays_on_the_sheet(drawn: dict[str, etree._Element]) -> None:
    for name, svg in drawn.items():
        for text in svg.iter(f"{SVG}text"):
            size = float(text.get("font-size"))
            place = re.search(r"translate\(([-\d.]+) ([-\d.]+)\)", text.get("transform", ""))
            x, y = (
                (float(place[1]), float(place[2]))
                if place
                else (float(text.get("x")), float(text.get("y")))
            )
            wide = text_width("".join(text.itertext()), size)
            left = x - wide * {"middle": 0.5, "end": 1.0}.get(text.get("text-anchor"), 0.0)
            assert 0 < y < Wall.HEIGHT, (name, text.text)
            assert left > -1 and left + wide < Wall.WIDTH + 1, (name, text.text)
            assert size >= 10


def test_sheets_are_plain_svg_in_the_colours_of_the_look(
    drawn: dict[str, etree._Element],
) -> None:
    allowed = {*COLOURS.values(), "none"}
    ids: list[str] = []
    for svg in drawn.values():
        for each in svg.iter():
            assert "style" not in each.attrib, "a page's policy forbids it"
            painted = {each.get("fill", "none"), each.get("stroke", "none")}
            # Hatching is a pattern, whose own colours are looked at like all others.
            assert {p for p in painted if not p.startswith("url(#")} <= allowed
            ids += [each.attrib["id"]] if "id" in each.attrib else []
        assert not list(svg.iter(f"{SVG}style"))
        assert svg.find(f"{SVG}title").text and svg.find(f"{SVG}desc").text
    assert len(ids) == len(set(ids)), "all of them stand on one page"


def test_the_same_input_gives_the_same_sheets(found: Atlas) -> None:
    import matplotlib

    some = replace(found, figures=(found.figures[0], found.figures[-1]))
    first = {name: picture.svg for name, picture in atlas_pictures(some).items()}
    with matplotlib.rc_context({"font.size": 31, "axes.facecolor": "red"}):
        again = {name: picture.svg for name, picture in atlas_pictures(some).items()}
    assert first == again


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_is_accessible_and_fits(
    found: Atlas, browser: Browser, tmp_path: Path, scheme: Any
) -> None:
    path = tmp_path / "index.html"
    some = replace(found, figures=found.figures[:2] + found.figures[-1:])
    path.write_text(atlas_page(some, atlas_pictures(some)), encoding="utf-8")
    context = browser.new_context(viewport={"width": 360, "height": 800}, color_scheme=scheme)
    page, trouble = context.new_page(), list[str]()
    page.on("console", lambda message: trouble.append(message.text))
    page.goto(path.as_uri())
    violations = Axe().run(page).response["violations"]
    assert not [(each["id"], [n["html"][:90] for n in each["nodes"]]) for each in violations]
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert not trouble
    context.close()


def test_the_folder_holds_each_sheet_in_three_forms(found: Atlas, tmp_path: Path) -> None:
    written = write_atlas(found, tmp_path / "a" / "wall")
    names = {figure.name for figure in found.figures}
    assert {path.name for path in written} == {
        "index.html", "atlas.json", "atlas.pdf",
        *(f"{name}.{kind}" for name in names for kind in ("pdf", "png", "svg")),
    }  # fmt: skip
    assert {path.name for path in (tmp_path / "a" / "wall").iterdir()} == {
        p.name for p in written
    }
    pages = PdfReader(tmp_path / "a" / "wall" / "atlas.pdf").pages
    assert len(pages) == len(names)
    for page in pages:
        # A4 lying, in points; A3 has the same shape.
        assert float(page.mediabox.width) == pytest.approx(841.9, abs=0.5)
        assert float(page.mediabox.height) == pytest.approx(595.3, abs=0.5)
    assert "101 works by 4" in pages[0].extract_text()
    page_text = (tmp_path / "a" / "wall" / "index.html").read_text("utf-8")
    linked = set(re.findall(r'href="([\w-]+\.\w+)"', page_text))
    assert linked == {path.name for path in written} - {"index.html"}
    stored = json.loads((tmp_path / "a" / "wall" / "atlas.json").read_text("utf-8"))
    assert stored == json.loads(json.dumps(atlas_document(found)))


def test_where_nothing_can_be_written_nothing_is_left(found: Atlas, tmp_path: Path) -> None:
    one = replace(found, figures=found.figures[:1])
    taken = tmp_path / "taken"
    taken.write_text("mine", encoding="utf-8")
    with pytest.raises(CorpusregError, match=r"taken: no folder can be made there \(.*\)"):
        write_atlas(one, taken)
    assert [path.name for path in tmp_path.iterdir()] == ["taken"]
    blocked = tmp_path / "blocked"
    (blocked / "atlas.pdf").mkdir(parents=True)
    with pytest.raises(CorpusregError, match="cannot be written"):
        write_atlas(one, blocked)
    assert not [path for path in blocked.iterdir() if path.name.startswith(".")]


def test_the_command_names_what_it_wrote(
    in_home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["atlas", "--to", str(tmp_path / "wall")]) == 0
    printed = capsys.readouterr().out.splitlines()
    assert sorted(printed) == sorted(map(str, (tmp_path / "wall").iterdir()))
