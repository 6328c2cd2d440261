"""Pictures as SVG: what they say, valid and escaped; laws on invented notes."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import music21
import numpy as np
import pytest
from by_hand import BAR, bars_of, notes_of
from conftest import PIECES
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from corpusreg.cli import main
from corpusreg.comparison.comparison import Comparison, Piece, compare
from corpusreg.comparison.findings import reading
from corpusreg.comparison.placing import measured
from corpusreg.comparison.players import players
from corpusreg.documents.pictures.charts import (
    DOTS,
    SLICES,
    level_grid,
    nearest_works,
    octave_chart,
    octave_uses,
    spread,
    strip,
)
from corpusreg.documents.pictures.register_map import pages, register_map, stills
from corpusreg.documents.pictures.save import contents, pdf, png
from corpusreg.documents.pictures.svg import Picture, element, number, wrapped
from corpusreg.documents.pictures.view import MapView, view_of
from corpusreg.instruments import load
from corpusreg.measures.analysis import Analysis, analyse
from corpusreg.measures.definitions import MEASURES
from corpusreg.norms.profiles.model import Neighbour, PlacedProfile
from corpusreg.norms.reference import Cohort, Rung
from corpusreg.score.notes import Part
from corpusreg.score.pitch import USUAL
from corpusreg.score.played import Played
from corpusreg.system.errors import CorpusregError, UsageError
from corpusreg.system.writing import write_files
from corpusreg.text.reading import by_period

BUNDLED = Path(music21.__file__).parent / "corpus"
SVG = "{http://www.w3.org/2000/svg}"
Row = tuple[float, ...]
Box = tuple[float, float, float, float]

notes = st.lists(
    st.tuples(
        st.integers(24, 100), st.integers(0, 7 * BAR), st.integers(1, BAR),
        st.sampled_from((0.2, 0.6, 1.0)),
    ),
    min_size=1,
    max_size=25,
)  # fmt: skip
titles = st.text(max_size=80)


def analysis(rows: list[Row], count: int = 9) -> Analysis:
    return analyse(
        Played(BAR // 4, (Part("Piano"),), bars_of([BAR] * count), notes_of(rows),
               True, False, False, ())
    )  # fmt: skip


def drawn(rows: list[Row], title: str = "Piece") -> Picture:
    return register_map(MapView(title, analysis(rows)), prefix="m")


def elements(picture: Picture) -> list[ElementTree.Element]:
    return list(ElementTree.fromstring(picture.svg).iter())


def weights(picture: Picture) -> dict[str, list[Box]]:
    """Boxes of sound by level, the key left out."""
    found: dict[str, list[Box]] = {}
    root = ElementTree.fromstring(picture.svg)
    for system in root.iter(f"{SVG}g"):
        if system.get("class") == "system":
            for path in system.iter(f"{SVG}path"):
                role = path.get("class") or ""
                if role.startswith("weight"):
                    found.setdefault(role, []).extend(boxes(path.get("d") or ""))
    return found


def boxes(data: str) -> list[Box]:
    """x, y, width, height; each begins from the corner of the one before."""
    numbers = r"m(-?[\d.]+) (-?[\d.]+)h(-?[\d.]+)v(-?[\d.]+)h"
    found, x, y = [], 0.0, 0.0
    for each in re.findall(numbers, data):
        across, down, width, height = map(float, each)
        x, y = x + across, y + down
        found.append((x, y, width, height))
    return found


def corners(
    node: ElementTree.Element, x: float = 0.0, y: float = 0.0
) -> Iterator[tuple[float, float]]:
    """Outer points of everything drawn, moved as the groups around it say."""
    move = re.fullmatch(r"translate\((-?[\d.]+) (-?[\d.]+)\)", node.get("transform", ""))
    if move:
        x, y = x + float(move[1]), y + float(move[2])
    if node.tag == f"{SVG}rect":
        left, top = x + float(node.get("x", 0)), y + float(node.get("y", 0))
        yield left, top
        yield left + float(node.get("width", 0)), top + float(node.get("height", 0))
    elif node.tag == f"{SVG}polygon":
        for pair in (node.get("points") or "").split():
            a, b = map(float, pair.split(","))
            yield x + a, y + b
    elif node.tag == f"{SVG}path":
        data = node.get("d") or ""
        for a, b in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", data):
            yield x + float(a), y + float(b)
        for left, top, width, height in boxes(data):
            yield x + left + width, y + top + height
    elif node.tag == f"{SVG}text" and "rotate" not in node.get("transform", ""):
        yield x + float(node.get("x", 0)), y + float(node.get("y", 0))
    for child in node:
        yield from corners(child, x, y)


def stays_inside(picture: Picture) -> None:
    root = ElementTree.fromstring(picture.svg)
    _, _, width, height = map(float, (root.get("viewBox") or "").split())
    for x, y in corners(root):
        assert -0.01 <= x <= width + 0.01
        assert -0.01 <= y <= height + 0.01


def has_distinct_ids(picture: Picture, prefix: str) -> None:
    ids = [each.get("id") for each in elements(picture) if each.get("id")]
    assert len(ids) == len(set(ids))
    assert all(each and each.split("-")[0] == prefix for each in ids)


def said(picture: Picture) -> list[str]:
    return [each.text or "" for each in elements(picture) if each.tag == f"{SVG}text"]


# Elements


def test_numbers_are_short_and_finite() -> None:
    assert [number(v) for v in (2, 2.0, 0.125, -0.001, 1e6)] == [
        "2",
        "2",
        "0.13",
        "0",
        "1000000",
    ]
    for bad in (float("nan"), float("inf")):
        with pytest.raises(ValueError, match="no place"):
            number(bad)


@settings(max_examples=30, deadline=None)
@given(st.text(), st.text())
def test_any_text_is_shown_as_it_is_and_never_read_as_markup(inside: str, held: str) -> None:
    node = ElementTree.fromstring(element("text", inside, data_x=held))
    assert not list(node)
    legal = re.compile(r"[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
    shown = legal.sub("\ufffd", inside).replace("\r\n", "\n").replace("\r", "\n")
    assert (node.text or "") == shown
    spaces = str.maketrans("\t\n", "  ")
    kept = legal.sub("\ufffd", held).replace("\r\n", "\n").replace("\r", "\n")
    assert node.get("data-x") == kept.translate(spaces)


@settings(max_examples=30, deadline=None)
@given(titles, st.floats(60, 400))
def test_wrapped_text_keeps_its_words(text: str, room: float) -> None:
    rows = wrapped(text, room, 12)
    assert max(map(len, rows)) <= room / (12 * 0.47) + 1
    if all(len(word) < 8 for word in text.split()):
        assert " ".join(rows).split() == text.split()


@settings(max_examples=20, deadline=None)
@given(titles)
def test_a_title_with_markup_is_text_on_the_map(title: str) -> None:
    picture = drawn([(60, 0, BAR)], f"<script>alert(1)</script>&{title}")
    names = {each.tag.removeprefix(SVG) for each in elements(picture)}
    assert names <= {"svg", "title", "desc", "g", "path", "rect", "text", "circle", "polygon"}
    assert any("<script>" in text for text in said(picture))
    assert not re.search(r"\son\w+=", picture.svg)
    stays_inside(picture)


# The register map


def test_weight_lies_where_the_notes_sound() -> None:
    """C4 through bar 1, then E4 in the second beat of bar 3, half a beat long."""
    picture = drawn([(60, 0, BAR), (64, 2 * BAR + 4, 2)])
    found = weights(picture)
    ((x, y, width, height),) = found["weight4"]
    ((x2, y2, width2, _),) = found["weight2"]  # half of the beat
    assert set(found) == {"weight2", "weight4"}
    assert width2 == pytest.approx(width / 4, abs=0.02)  # a beat
    assert x2 == pytest.approx(x + 2 * width + width / 4, abs=0.02)
    assert y2 == pytest.approx(y - 4 * height, abs=0.03)


def test_a_longer_or_louder_sound_is_never_lighter() -> None:
    levels = []
    for length, loud in ((1, 0.2), (2, 0.4), (3, 0.7), (4, 1.0)):
        found = weights(drawn([(60, 0, length, loud), (72, BAR, BAR, 1.0)]))
        low = max(box[1] for several in found.values() for box in several)
        levels += [name for name, several in found.items() if any(b[1] == low for b in several)]
    assert levels == sorted(levels)
    assert levels[0] == "weight1" and levels[-1] == "weight4"


@settings(max_examples=20, deadline=None)
@given(notes)
def test_everything_lies_in_the_frame_and_ids_are_distinct(rows: list[Row]) -> None:
    picture = drawn(rows)
    stays_inside(picture)
    has_distinct_ids(picture, "m")
    found = analysis(rows)
    ids = {each.get("id") for each in elements(picture)}
    events = [n for n, each in enumerate(found.events, start=1) if each.kind != "shift"]
    for kind, counts in (
        ("stay", range(1, len(found.stays) + 1)),
        ("shift", range(1, len(found.shifts) + 1)),
        ("event", events),  # a shift has a sign of its own
    ):
        assert {i for i in ids if i and i.startswith(f"m-{kind}-")} == {
            f"m-{kind}-{count}" for count in counts
        }


@settings(max_examples=20, deadline=None)
@given(notes, st.integers(-12, 12))
def test_transposing_moves_the_names_and_nothing_else(rows: list[Row], by: int) -> None:
    here = drawn(rows)
    there = drawn([(row[0] + by, *row[1:]) for row in rows])
    assert weights(here) == weights(there)
    stays = [
        [each.get("d") for each in elements(p) if each.get("class") == "outline"]
        for p in (here, there)
    ]
    assert stays[0] == stays[1]


@settings(max_examples=20, deadline=None)
@given(notes)
def test_bars_tell_what_sounds_in_them(rows: list[Row]) -> None:
    picture, found = drawn(rows), analysis(rows)
    asked = [each for each in elements(picture) if each.get("class") == "bar"]
    assert [each.get("data-index") for each in asked] == [str(n) for n in range(9)]
    assert [each.get("data-bar") for each in asked] == list(found.played.bars.labels)
    for bar, each in enumerate(asked):
        names = (each.get("data-notes") or "").split()
        assert len(names) == int((found.texture.bars[bar] > 0).sum())
        stay = found.stays[found.ranking[int(each.get("data-stay") or 0) - 1]]
        assert stay.first <= bar < stay.last


def bundled(name: str) -> MapView:
    return MapView(*measured(BUNDLED / name))


def test_repeats_are_bracketed_and_bars_have_their_printed_numbers() -> None:
    view = MapView(*measured(PIECES / "kitchen-window.musicxml"))
    texts = said(register_map(view, prefix="m"))
    assert "2nd time" in texts
    assert {"1", "5", "9", "10", "20", "25"} <= set(texts)


def test_a_long_work_is_cut_into_legible_systems_and_pages() -> None:
    view = bundled("haydn/opus74no1/movement1.mxl")
    total = len(view.whole.played.bars)
    cut = pages(view)
    assert [first for first, _ in cut] == [0, *(last for _, last in cut[:-1])]
    assert cut[-1][1] == total
    for passage in cut:
        picture = register_map(view, prefix="m", bars=passage)
        assert picture.height < 1600
        asked = [each for each in elements(picture) if each.get("class") == "bar"]
        assert len(asked) == passage[1] - passage[0]
        assert min(float(each.get("width") or 0) for each in asked) >= 20
        stays_inside(picture)


def test_a_map_of_a_hundred_bars_is_small() -> None:
    view = bundled("joplin/maple_leaf_rag.mxl")
    size = len(register_map(view, prefix="m").svg.encode())
    assert size / len(view.whole.played.bars) < 1500


def test_a_part_is_drawn_alone() -> None:
    view = MapView(*measured(PIECES / "field-path.abc"))
    picture = register_map(MapView("Viola", view.parts["Viola"]), prefix="m")
    every = {n for each in elements(picture) for n in (each.get("data-notes") or "").split()}
    assert every and max(int(name[-1]) for name in every) == 4


def test_two_versions_share_their_axes() -> None:
    low, high = analysis([(40, 0, BAR), (60, BAR, BAR)]), analysis([(60, 0, BAR), (90, 4, 4)])
    picture = register_map(MapView("A", low), MapView("B", high), prefix="m")
    has_distinct_ids(picture, "m")
    stays_inside(picture)
    first, second = (
        [each for each in elements(picture) if (each.get("id") or "") == name]
        for name in ("m-bar-3", "m-b-bar-3")
    )
    for side in ("x", "width", "height"):
        assert first[0].get(side) == second[0].get(side)
    assert said(picture).count("C4") == 2
    assert {"first", "second", "A / B"} <= set(said(picture))


def test_a_compact_map_has_long_systems_and_signs_without_numbers() -> None:
    rows = [(48 + 12 * (bar // 5 % 3), bar * BAR, BAR) for bar in range(100)]
    view = MapView("Long", analysis(rows, 100))
    plain_map = register_map(view, prefix="m", width=900, heading=False)
    compact = register_map(view, prefix="m", width=900, height=495, heading=False, compact=60)
    systems_of = [each.svg.count('class="system"') for each in (plain_map, compact)]
    assert systems_of == [3, 2]
    assert compact.height == 495 < plain_map.height

    def signs(picture: Picture) -> dict[str, bool]:
        """Signs by id, and whether each has a number."""
        groups = ElementTree.fromstring(picture.svg).iter("{http://www.w3.org/2000/svg}g")
        return {
            g.get("id", ""): g.find("{*}text") is not None
            for g in groups
            if g.get("class") in ("shift", "event")
        }

    numbered, without = signs(plain_map), signs(compact)
    assert numbered.keys() == without.keys() != set()
    assert all(numbered.values())
    assert not any(without.values())
    stays_inside(compact)


@pytest.mark.parametrize("name", ["stairs.musicxml", "after-the-rain.mxl"])
def test_stills_have_the_shape_of_a_projector(name: str) -> None:
    view = MapView(*measured(PIECES / name))
    for made in (stills(view, prefix="m"), stills(view, view, prefix="m")):
        for picture in made:
            assert picture.width / picture.height == pytest.approx(16 / 9)
            root = ElementTree.fromstring(picture.svg)
            _, _, width, height = map(float, (root.get("viewBox") or "").split())
            assert width / height == pytest.approx(16 / 9, abs=0.01)
            stays_inside(picture)


# Against works


def works(seed: int = 1, count: int = 60, zeros: float = 0.0) -> Cohort:
    """Works of 32 bars, one for each composer: all count the same."""
    random = np.random.default_rng(seed)
    values = {m.name: np.round(random.gamma(3, 4, count), 3) for m in MEASURES}
    values["pedal_points"] = np.where(
        np.arange(count) < zeros * count, 0.0, values["pedal_points"]
    )
    return Cohort(
        Rung({"ensemble": "piano"}, "piano works"), np.arange(count), values,
        np.full(count, 32.0), np.ones(count), count, 0, 1,
    )  # fmt: skip


def compared(count: int = 32, zeros: float = 0.0) -> Comparison:
    rows = [(48 + 5 * (bar % 7), bar * BAR, BAR) for bar in range(count)]
    whole = analysis([*rows, (84, 3 * BAR, 4)], count)
    piece = Piece("<i>Étude</i> & more", "p", ("Piano",), "piano")
    return compare(piece, whole, {"Piano": whole}, [works(zeros=zeros)], count)


def test_what_stands_out_is_told_by_the_broader_group_where_the_own_is_too_small() -> None:
    rows = [(48 + 5 * (bar % 7), bar * BAR, BAR) for bar in range(32)]
    whole, small = analysis(rows, 32), works()
    piece = Piece("Étude", "p", ("Piano",), "piano")
    broad = replace(
        small, rung=Rung({}, "all", broad=True), odd=np.array([0.0, 10.0, 50.0, 50.0])
    )
    assert compare(piece, whole, {}, [small], 32).odder is None
    assert compare(piece, whole, {}, [small, broad], 32).odder == 0.5
    own = replace(small, odd=np.zeros(4))
    assert compare(piece, whole, {}, [own, broad], 32).odder == 0.0


def test_the_hill_is_the_cohort_as_it_was_placed() -> None:
    c = compared()
    for each in c.measures:
        found = spread(c, each)
        if found is None or each.value is None:
            assert each.placement.percentile is None
            continue
        assert found.whole.middle == each.placement.median
        assert found.interval[0] <= each.value <= found.interval[1]
        assert (found.whole.tall >= 0).all()
        slice_ = (found.at[-1] - found.at[0]) / SLICES
        held = np.trapezoid(found.whole.tall, found.at) / slice_
        # All but the outermost hundredth on either side, and what a value beyond adds.
        assert 0.9 <= held <= 1.02


def test_a_value_that_many_share_is_a_column_of_its_share() -> None:
    c = compared(zeros=0.7)
    found = spread(c, next(m for m in c.measures if m.measure.name == "pedal_points"))
    assert found is not None
    assert found.whole.shared == ((0.0, pytest.approx(0.7)),)
    slice_ = (found.at[-1] - found.at[0]) / SLICES
    assert np.trapezoid(found.whole.tall, found.at) / slice_ == pytest.approx(0.3, abs=0.03)


def test_a_strip_says_how_many_works_lie_where_one_points() -> None:
    c = compared(zeros=0.7)
    picture = strip(c, "pedal_points", prefix="s")
    assert picture is not None
    stays_inside(picture)
    has_distinct_ids(picture, "s")
    told = [each.get("data-told") for each in elements(picture) if each.get("data-told")]
    assert len(told) == SLICES + 1 and told[-1].startswith("This piece: ")
    assert re.match(r"Pedal points, 0 to [\d.]+ per 100 bars: about 7\d of 100 works", told[0])
    found = spread(c, next(m for m in c.measures if m.measure.name == "span"))
    assert found is not None and sum(found.slices) == pytest.approx(1)
    assert strip(compared(count=9), "pedal_points", prefix="s") is None


def test_the_works_of_a_period_are_drawn_on_the_scale_of_all() -> None:
    cohort = works()
    early = np.arange(60) < 30
    values = {**cohort.values, "span": np.where(early, 20.0, 44.0) + np.arange(60) % 30 / 10}
    period = np.where(early, "romantic", "baroque").astype(object)
    c = compared()
    names = np.array([f"Anon, Air {n}" for n in range(60)], object)
    apart = replace(cohort, values=values, period=period)
    c = replace(compare(c.piece, c.whole, {}, [apart], 32), names=names)
    span = next(m for m in c.measures if m.measure.name == "span")
    found = spread(c, span)
    assert found is not None
    middles = {name: hill.middle for name, hill in found.periods.items()}
    assert middles == pytest.approx({"baroque": 45.45, "romantic": 21.45})
    # A slice names a work that lies in it.
    wide = (found.at[-1] - found.at[0]) / SLICES
    for place, (share, name) in enumerate(zip(found.slices, found.examples, strict=True)):
        assert (share > 0) == bool(name)
        if name and 0 < place < SLICES - 1:
            value = values["span"][int(name.rpartition(" ")[2])]
            assert place <= (value - found.at[0]) / wide < place + 1
    for name in found.periods:
        picture = strip(c, "span", prefix="s", period=name)
        assert picture is not None
        stays_inside(picture)
    assert strip(c, "span", prefix="s", period="medieval") is None
    (shown,) = by_period(reading(c))
    assert list(shown[1].periods) == ["baroque", "romantic"]


def test_a_cohort_of_one_value_still_has_a_strip() -> None:
    cohort = works()
    values = {**cohort.values, "span": np.full(60, 36.0)}
    c = compared()
    c = compare(c.piece, c.whole, {}, [replace(cohort, values=values)], 32)
    picture = strip(c, "span", prefix="s")
    assert picture is not None
    stays_inside(picture)


def test_octaves_of_the_works_are_quartiles() -> None:
    c = compared()
    shares = np.zeros((60, 11))
    shares[:, 4] = np.linspace(0, 1, 60)
    shares[:, 5] = 1 - shares[:, 4]
    uses = {each.octave: each for each in octave_uses(replace(c, octaves=shares))}
    # Hyndman and Fan's type 5, which numpy calls hazen.
    wanted = np.quantile(shares[:, 4], (0.25, 0.5, 0.75), method="hazen")
    assert uses[3].quarters == pytest.approx(tuple(wanted))
    assert [each.share for each in uses.values()] == pytest.approx(
        [c.whole.band_shares[octave + 1] for octave in uses]
    )
    assert sum(each.share for each in uses.values()) == pytest.approx(1)
    picture = octave_chart(replace(c, octaves=shares), prefix="o")
    stays_inside(picture)
    assert any(text.startswith("half of the works") for text in said(picture))
    alone = octave_chart(c, prefix="o")
    assert not any("works" in text for text in said(alone))


def test_the_grid_says_the_shares_of_all_players_and_of_each() -> None:
    title, whole, parts = measured(PIECES / "three-at-a-table.musicxml")
    found = players(whole, parts, load())
    picture = level_grid(found, USUAL, prefix="g")
    assert picture is not None and found.two_level is not None
    stays_inside(picture)
    large = [int(text[:-2]) for text in said(picture) if re.fullmatch(r"\d+ %", text)]
    assert sorted(large) == sorted(
        round(100 * s) for s in found.two_level.grid.ravel().tolist() if s >= 0.005
    )
    assert {"Flute", "Clarinet in Bb", "Bassoon"} <= set(said(picture))
    assert title == "Three at a Table"


def test_without_a_known_instrument_there_is_no_grid() -> None:
    whole = analysis([(60, 0, BAR)])
    unknown = replace(whole, played=replace(whole.played, parts=(Part("Xyzzy"),)))
    assert level_grid(players(unknown, {"Xyzzy": unknown}, load()), USUAL, prefix="g") is None


def neighbour(name: str, space: float, between: float) -> Neighbour:
    return Neighbour(
        name, f"{name} <b>", "Anon & Co", 0.1, {"space": space, "between": between}
    )


def profile(spaces: list[float]) -> PlacedProfile:
    cloud = np.linspace(-2, 2, 900)
    near = tuple(neighbour(f"w{n}", space, 0.0) for n, space in enumerate(spaces))
    return PlacedProfile(
        "r", "", None, None, 0.0, False, near, {"space": 0.0, "between": 0.0},
        around={"space": cloud, "between": -cloud}, names=("A | B, C",) * 900,
    )  # fmt: skip


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-4, 4), min_size=0, max_size=3))
def test_near_works_never_cover_one_another(spaces: list[float]) -> None:
    picture = nearest_works(profile(spaces), prefix="n")
    assert picture is not None
    stays_inside(picture)
    has_distinct_ids(picture, "n")
    root = ElementTree.fromstring(picture.svg)
    places = [
        tuple(map(float, re.findall(r"-?[\d.]+", each.get("transform") or "")))
        for each in root
        if each.tag == f"{SVG}g" and "translate" in (each.get("transform") or "")
    ][: len(spaces)]
    for i, one in enumerate(places):
        for other in places[:i]:
            assert np.hypot(one[0] - other[0], one[1] - other[1]) >= 15
    dots = [e for e in root.iter() if e.get("class") == "weight2"]
    assert len(boxes(dots[0].get("d") or "")) == DOTS
    assert any("900 works" in text for text in said(picture))
    (named,) = [e.get("data-dots") for e in root.iter() if e.get("data-dots")]
    assert named is not None and len(named.split("|")) == DOTS


def test_one_family_makes_no_scatter() -> None:
    lone = replace(profile([]), families={"space": 0.0})
    assert nearest_works(lone, prefix="n") is None


# Files


def test_a_pdf_has_its_face_and_its_text_in_it() -> None:
    view = MapView("Tea & <b>Biscuits</b>", analysis([(60, 0, BAR), (80, BAR, BAR)]))
    made = pdf([register_map(view, prefix="a"), register_map(view, prefix="b")])
    reader = PdfReader(io.BytesIO(made))
    assert len(reader.pages) == 2
    assert "Tea & <b>Biscuits</b>" in reader.pages[1].extract_text()
    assert reader.metadata is not None and reader.metadata.title == view.title
    assert b"FontFile" in made or b"LibertinusSerif" in made
    assert made == pdf([register_map(view, prefix="a"), register_map(view, prefix="b")])


def test_a_png_has_two_dots_for_a_pixel() -> None:
    picture = drawn([(60, 0, BAR)])
    head = png(picture)
    assert head.startswith(b"\x89PNG")
    width = int.from_bytes(head[16:20], "big")
    assert width == pytest.approx(2 * picture.width, abs=2)


def test_files_are_named_by_page_and_bad_names_refused(tmp_path: Path) -> None:
    picture = drawn([(60, 0, BAR)])
    assert list(contents([picture], tmp_path / "a.svg")) == [tmp_path / "a.svg"]
    found = contents([picture, picture], tmp_path / "b.svg")
    assert [path.name for path in found] == ["b-1.svg", "b-2.svg"]
    assert found[tmp_path / "b-2.svg"] == picture.svg.encode()
    with pytest.raises(UsageError, match=r"\.svg, \.png, \.pdf"):
        contents([picture], tmp_path / "c.gif")


def test_what_cannot_be_written_leaves_nothing_behind(tmp_path: Path) -> None:
    with pytest.raises(CorpusregError, match="cannot be written"):
        write_files({tmp_path / "missing" / "a.svg": b""})
    (tmp_path / "b-2.svg").mkdir()
    with pytest.raises(CorpusregError, match=r"b-2\.svg: cannot be written"):
        write_files({tmp_path / "b-1.svg": b"", tmp_path / "b-2.svg": b""})
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_the_command_draws_and_names_what_it_wrote(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    piece, to = PIECES / "field-path.abc", tmp_path / "map.svg"
    assert main(["map", str(piece), "--to", str(to), "--part", "viola"]) == 0
    assert capsys.readouterr().out == f"{to}\n"
    assert "Field Path: Viola" in to.read_text(encoding="utf-8")
    other = PIECES / "stairs.musicxml"
    wide = tmp_path / "wide.pdf"
    assert main(["map", str(piece), str(other), "--to", str(wide), "--wide"]) == 0
    box = PdfReader(wide).pages[0].mediabox
    assert float(box.width) / float(box.height) == pytest.approx(16 / 9, abs=0.01)


def test_one_work_of_a_file_of_several_is_drawn(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tunes = [
        f"X:{n}\nT:Tune {n}\nM:4/4\nL:1/4\nK:C\n{'C' * n}{'z' * (4 - n)}|\n" for n in (1, 2)
    ]
    book, alone, to = (tmp_path / name for name in ("book.abc", "alone.abc", "map.svg"))
    book.write_text("\n".join(tunes))
    alone.write_text(tunes[1])
    assert main(["map", str(book), "--to", str(to)]) == 2
    assert "holds several works; choose with --number: 1, 2" in capsys.readouterr().err
    assert not to.exists()
    assert main(["map", str(book), "--to", str(to), "--number", "2"]) == 0
    drawn_there = to.read_text(encoding="utf-8")
    assert "Tune 2 (no. 2)" in drawn_there and "Tune 1" not in drawn_there
    # The other version may hold that one alone.
    assert main(["map", str(book), str(alone), "--to", str(to), "--number", "1"]) == 0
    both = to.read_text(encoding="utf-8")
    assert "Tune 1 (no. 1)" in both and "Tune 2" in both


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["field-path.abc", "--to", "x.gif"], 2, "one of .svg, .png, .pdf"),
        (["field-path.abc", "--to", "x.svg", "--part", "tuba"], 2, "no part 'tuba'"),
        (["nowhere.krn", "--to", "x.svg"], 1, "nowhere.krn"),
    ],
)
def test_bad_wishes_are_one_line(
    arguments: list[str],
    code: int,
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["map", str(PIECES / arguments[0]), *arguments[1:]]) == code
    err = capsys.readouterr().err
    assert words in err and err.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_a_view_of_a_comparison_is_its_piece() -> None:
    c = compared()
    assert view_of(c) == MapView(c.piece.title, c.whole, c.parts)
