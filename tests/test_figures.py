"""The picture of a passage on many instruments: what it holds, and the file it becomes."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from conftest import PIECES, command
from lxml import etree
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from test_heights import of
from test_players import score

from corpusreg import cli, instruments
from corpusreg.comparison.heights import Passage, passage
from corpusreg.documents.figures.heights import ENDINGS, heights_figure, write_heights
from corpusreg.system.errors import CorpusregError, UsageError

THREE = PIECES / "three-at-a-table.musicxml"
TABLE = instruments.load()
ASKED = ("heights", str(THREE), "--bars", "9-16", "--part", "bassoon", "--on", "flute,piccolo")
SIGNATURES = {".png": b"\x89PNG", ".svg": b"<?xml", ".pdf": b"%PDF"}


@pytest.fixture
def found() -> Passage:
    return passage(THREE, "9-16", part="bassoon", on=["flute", "piccolo"], table=TABLE)


def rectangles(ax: Axes) -> dict[str, Rectangle]:
    return {p.get_gid(): p for p in ax.patches if isinstance(p, Rectangle) and p.get_gid()}


def span(box: Rectangle) -> tuple[float, float]:
    """First and last note of a box whose notes are one semitone wide."""
    return box.get_x() + 0.5, box.get_x() + box.get_width() - 0.5


def lines(ax: Axes) -> dict[str, Line2D]:
    return {line.get_gid(): line for line in ax.lines if line.get_gid()}


def words(ax: Axes) -> list[str]:
    return [text.get_text().replace("\n", " ") for text in ax.texts]


# --- what is drawn --------------------------------------------------------------------


def test_one_row_an_instrument_with_its_name(found: Passage) -> None:
    ax = heights_figure(found)
    assert [label.get_text() for label in ax.get_yticklabels()] == [
        "bassoon",
        "flute",
        "piccolo",
    ]
    assert ax.get_ylim() == (2.5, -0.5), "the first row on top"
    for y, name in enumerate(("bassoon", "flute", "piccolo")):
        whole = rectangles(ax)[f"whole-{name}"]
        assert whole.get_y() + whole.get_height() / 2 == pytest.approx(y)


def test_spans_are_those_of_the_table(found: Passage) -> None:
    ax = heights_figure(found)
    boxes = rectangles(ax)
    for name in ("bassoon", "flute", "piccolo"):
        row = TABLE[name]
        assert span(boxes[f"whole-{name}"]) == row.professional
        assert span(boxes[f"comfortable-{name}"]) == row.comfortable
        zones = [key for key in boxes if key.startswith(f"tiring-{name}-")]
        assert tuple(span(boxes[key]) for key in zones) == row.tiring
        assert all(boxes[key].get_hatch() for key in zones)
        thickness = [boxes[f"{kind}-{name}"].get_height() for kind in ("whole", "comfortable")]
        assert thickness[0] < thickness[1]
        assert span(boxes[f"passage-{name}"]) == (65, 72)  # F4 to C5
    # By hand, from the printed table: Bb1-E5 for the bassoon.
    assert span(boxes["whole-bassoon"]) == (34, 76)


def test_registers_are_named_and_parted(found: Passage) -> None:
    ax = heights_figure(found)
    registers = TABLE["bassoon"].registers
    breaks = [lines(ax)[f"break-bassoon-{n}"] for n in range(1, len(registers))]
    assert [line.get_xdata()[0] for line in breaks] == [r.low - 0.5 for r in registers[1:]]
    assert f"break-bassoon-{len(registers)}" not in lines(ax)
    for register in registers:
        assert register.name in words(ax)


def test_the_mean_and_the_notes_beyond(monkeypatch: pytest.MonkeyPatch) -> None:
    path = of(monkeypatch, score(Bassoon=[[69], [50, 60]]))
    two = passage(path, "2", on=["flute", "contrabassoon"], level="professional", table=TABLE)
    ax = heights_figure(two)
    for name in ("bassoon", "flute", "contrabassoon"):
        assert lines(ax)[f"mean-{name}"].get_xdata() == pytest.approx([55])
    # The flute begins at C4, which is 60; the contrabassoon ends below that.
    assert list(lines(ax)["below-flute"].get_xdata()) == [50]
    top = TABLE["contrabassoon"].professional[1]
    assert list(lines(ax)["above-contrabassoon"].get_xdata()) == [
        pitch for pitch in (50, 60) if pitch > top
    ]
    assert not {"below-bassoon", "above-bassoon", "above-flute"} & set(lines(ax))
    for name in ("below-flute", "above-contrabassoon"):
        assert lines(ax)[name].get_markerfacecolor() == "white"


def test_student_limits_only_where_they_were_asked_for(found: Passage) -> None:
    both = lines(heights_figure(found))
    low, high = TABLE["bassoon"].student
    assert min(both["student-low-bassoon"].get_xdata()) == low - 0.5
    assert max(both["student-high-bassoon"].get_xdata()) == high + 0.5
    one = passage(THREE, "9-16", part="3", on=["flute"], level="professional", table=TABLE)
    assert not [key for key in lines(heights_figure(one)) if key.startswith("student")]
    # The passage reaches C5, the bassoon of a student does not.
    student = passage(THREE, "9-16", part="3", on=["flute"], level="student", table=TABLE)
    beyond = lines(heights_figure(student))["above-bassoon"].get_xdata()
    assert min(beyond) > high
    assert max(beyond) == 72


def test_notes_are_named_at_the_cs(found: Passage) -> None:
    ax = heights_figure(found)
    labels = [label.get_text() for label in ax.get_xticklabels()]
    ticks = [int(pitch) for pitch in ax.get_xticks()]
    # Below and above the rows.
    assert labels == labels[: len(ticks)] * 2
    assert dict(zip(ticks, labels, strict=False)) == {
        36: "C2",
        48: "C3",
        60: "C4",
        72: "C5",
        84: "C6",
        96: "C7",
        108: "C8",
    }


def test_title_wishes_signs_and_caution(found: Passage) -> None:
    ax = heights_figure(found)
    said = words(ax)
    assert "How high a passage lies" in said
    assert "Bassoon, bars 9–16: F4–C5, written for bassoon" in said
    assert "To lie as high as for bassoon (professional):" in said
    assert "two octaves higher" in said
    assert any("fatigue and strain: ask the player or the singer" in text for text in said)
    legend = ax.get_legend()
    assert legend is not None
    assert [text.get_text() for text in legend.get_texts()] == [
        "whole range (professional)",
        "comfortable",
        "tiring",
        "border of registers",
        "student range",
        "the passage",
        "its mean height",
        "notes beyond the professional range",
    ]


def test_signs_that_do_not_occur_are_not_explained() -> None:
    alone = passage(THREE, "9-16", part="3", on=["bassoon"], level="professional", table=TABLE)
    ax = heights_figure(alone)
    legend = ax.get_legend()
    assert legend is not None
    said = [text.get_text() for text in legend.get_texts()]
    assert not [text for text in said if "student" in text or "beyond" in text]
    assert not [text for text in words(ax) if text.startswith("To lie as high")]


def test_axes_of_ones_own(found: Passage) -> None:
    figure = Figure()
    ax = figure.subplots()
    assert heights_figure(found, ax) is ax
    assert "whole-flute" in rectangles(ax)


@pytest.mark.parametrize(
    ("piece", "part", "on"),
    [
        (THREE, "bassoon", ["flute"]),
        (THREE, "bassoon", ["alto-horn", "contrabass-clarinet", "keyboard", "tenor", "piano"]),
        (PIECES / "stairs.musicxml", "1", []),
        (PIECES / "waiting-for-the-bus.musicxml", "1", []),
    ],
)
@pytest.mark.parametrize("level", [None, "student"])
def test_nothing_is_cut_off_at_the_margins(
    piece: Path, part: str, on: list[str], level: str | None
) -> None:
    ax = heights_figure(passage(piece, "1-4", part=part, on=on, level=level, table=TABLE))
    figure = ax.get_figure(root=True)
    assert figure is not None
    renderer = FigureCanvasAgg(figure).get_renderer()
    legend = ax.get_legend()
    assert legend is not None
    drawn = [*ax.texts, *ax.get_yticklabels(), *ax.get_xticklabels(), legend]
    boxes = [one.get_window_extent(renderer) for one in drawn]
    assert min(box.x0 for box in boxes) > 0
    assert min(box.y0 for box in boxes) > 0
    assert max(box.x1 for box in boxes) < figure.bbox.x1
    assert max(box.y1 for box in boxes) < figure.bbox.y1
    caution = ax.texts[-1].get_window_extent(renderer)
    assert caution.y1 < legend.get_window_extent(renderer).y0


# --- the file -------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["a.png", "a.svg", "a.pdf", "A.SVG"])
def test_the_command_writes_each_format(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    home = {"CORPUSREG_HOME": str(tmp_path / "home")}
    done = command([*ASKED, "--picture", path], home)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("Bassoon, bars 9–16")
    assert path.read_bytes().startswith(SIGNATURES[path.suffix.lower()])
    assert [each.name for each in tmp_path.iterdir()] == [name], "and nothing else"


def test_every_ending_has_its_signature_here() -> None:
    assert set(SIGNATURES) == set(ENDINGS)


def test_an_svg_names_its_shapes(found: Passage, tmp_path: Path) -> None:
    path = tmp_path / "a.svg"
    write_heights(found, path)
    ids = [each.get("id") for each in etree.parse(path).iter() if each.get("id")]
    assert {"whole-flute", "tiring-bassoon-1", "mean-piccolo", "below-piccolo"} <= set(ids)
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("ending", [".svg", ".pdf"])
def test_the_same_input_gives_the_same_file(tmp_path: Path, ending: str) -> None:
    """In other processes, at other times, and whatever a user has set for other pictures."""
    settings = tmp_path / "matplotlibrc"
    settings.write_text("font.size: 31\nfigure.facecolor: red\nsvg.fonttype: none\n")
    written = []
    for number, more in enumerate(
        (
            {"SOURCE_DATE_EPOCH": "0", "PYTHONHASHSEED": "1"},
            {"MATPLOTLIBRC": str(settings), "PYTHONHASHSEED": "2"},
        )
    ):
        path = tmp_path / f"{number}{ending}"
        done = command([*ASKED, "--picture", path], more)
        assert done.returncode == 0, done.stderr
        written.append(path.read_bytes())
    assert written[0] == written[1]


def test_a_part_with_an_odd_name(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Signs that would be formulas, markup, or that the font lacks."""
    path = of(monkeypatch, score(**{"Flute $x^1$ & <b> 大": [[72]]}))
    odd = passage(path, "1", on=["flute"], table=TABLE)
    for ending in ENDINGS:
        write_heights(odd, tmp_path / f"a{ending}")
    title = etree.parse(tmp_path / "a.svg").findtext(".//{*}title")
    assert title is not None
    assert "Flute $x^1$ & <b> 大" in title


@pytest.mark.parametrize("name", ["a.jpg", "a", "svg", ".png"])
def test_another_ending(found: Passage, tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError) as error:
        write_heights(found, tmp_path / name)
    said = "a picture is written as one of .png, .svg, .pdf; end the name with one of these"
    assert str(error.value) == f"{name}: {said}"
    assert list(tmp_path.iterdir()) == []


def test_another_ending_on_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main([*ASKED, "--picture", str(tmp_path / "a.gif")]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "a.gif: a picture is written as one of .png, .svg, .pdf" in err


def test_folders_that_are_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "file"
    file.touch()
    taken = tmp_path / "taken.png"
    taken.mkdir()
    for path in (tmp_path / "none" / "a.png", file / "a.png", taken):
        assert cli.main([*ASKED, "--picture", str(path)]) == 1
        out, err = capsys.readouterr()
        assert (out, err.count("\n")) == ("", 1)
        assert f"{path}: cannot be written (" in err
        assert "name a file in a folder that exists and can be written" in err
    assert sorted(tmp_path.iterdir()) == [file, taken]
    assert list(taken.iterdir()) == []


# All is loaded by a first picture, and only then does the process become another user,
# who may not be able to read the interpreter's own files.
AS_STRANGER = """
import contextlib, io, os, sys
from corpusreg.cli import main

good, bad, *asked = sys.argv[1:]
# What a child imports late must be there before its user may not read it.
from matplotlib.mathtext import MathTextParser
from corpusreg.system import isolate
apart, isolate.call = isolate.call, lambda function, item, *_, **__: function(item)
with contextlib.redirect_stdout(io.StringIO()):
    assert main([*asked, "--picture", good]) == 0
# Nor may a child be started from the interpreter. As a copy it lacks the files of fonts.
isolate.call, isolate._may_fork = apart, lambda: True
MathTextParser._parse_cached.cache_clear()
if os.geteuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
sys.exit(main([*asked, "--picture", bad]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="permissions of POSIX")
def test_a_folder_without_permission(tmp_path: Path) -> None:
    # Not in pytest's own folder, which no other user may enter.
    with tempfile.TemporaryDirectory(prefix="corpusreg-") as name:
        closed = Path(name)
        (closed / "three.musicxml").write_bytes(THREE.read_bytes())
        (closed / "three.musicxml").chmod(0o644)
        closed.chmod(0o555)
        try:
            asked = [ASKED[0], str(closed / "three.musicxml"), *ASKED[2:]]
            good, bad = tmp_path / "a.png", closed / "a.png"
            done = subprocess.run(
                [sys.executable, "-c", AS_STRANGER, str(good), str(bad), *asked],
                capture_output=True,
                encoding="utf-8",
                env=os.environ | {"CORPUSREG_HOME": str(closed)},
                check=False,
                timeout=120,
            )
            assert (done.returncode, done.stdout) == (1, ""), done.stderr
            assert done.stderr.count("\n") == 1, done.stderr
            assert f"{bad}: cannot be written (Permission denied)" in done.stderr
            assert [each.name for each in closed.iterdir()] == ["three.musicxml"]
        finally:
            closed.chmod(0o755)


def test_a_full_disk_leaves_the_old_picture(
    found: Passage, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.png"
    path.write_text("the old one")

    def half(target: Path, content: bytes) -> None:
        with target.open("wb") as file:
            file.write(content[:3])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", half)
    with pytest.raises(CorpusregError, match=r"cannot be written \(No space left on device\)"):
        write_heights(found, path)
    assert path.read_text() == "the old one"
    assert list(tmp_path.iterdir()) == [path]


def test_matplotlib_is_loaded_in_the_child_alone(tmp_path: Path) -> None:
    code = (
        "import sys; from corpusreg.cli import main; main(sys.argv[1:]); "
        "sys.exit('matplotlib' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *ASKED, "--picture", str(tmp_path / "a.svg")],
        capture_output=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "a.svg").exists()
