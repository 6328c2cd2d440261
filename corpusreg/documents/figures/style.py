"""The look of the figures for matplotlib and seaborn, and figures as pictures.

`styled` sets the visual language of `corpusreg.documents.pictures.look`, and nothing else
does. One unit of a figure is one pixel of a picture: sizes of type and widths of lines are
those of `look`. `as_picture` turns a figure into the same kind of SVG that all other pictures
are: text as text in the book face, colours as attributes, so that a page can show it in its
dark palette and typst sets it for print.

A wall sheet has the shape of A4 and A3 lying, so that it fills either. The notes at the foot
say how the figure is read, what is left out, and what it was made from.
"""

from __future__ import annotations

import contextlib
import io
import logging
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from types import ModuleType
from typing import TYPE_CHECKING, Any

from lxml import etree

from corpusreg.documents.pictures.look import COLOURS, FONT, SIZES, STROKES
from corpusreg.documents.pictures.svg import Picture, element, escaped, wrapped

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "Wall", "WallSheet", "amount", "as_picture", "colour_rules", "counts", "new_axes",
    "new_figure", "new_sheet", "rules", "say", "styled",
]  # fmt: skip

# The nearest to the book face that matplotlib brings along; it measures, the face is set.
_MEASURING = "STIXGeneral"
_DOTS = 72  # to the inch: one unit is one pixel
_LINK = "{http://www.w3.org/1999/xlink}href"
_PLACE = ("href", "x", "y")  # what marks differ in
_LONG = re.compile(r"(\d\.\d\d)\d+")  # hundredths of a pixel are enough
_FEW = 4  # marks in a row that are left as they are


@contextlib.contextmanager
def styled() -> Iterator[ModuleType]:
    """The look as settings of matplotlib inside a with block, which gives seaborn.

    Nothing of a user's own settings comes in, none of ours stays.
    """
    import matplotlib
    import seaborn

    # The user's fonts are none of our business, and their absence no message of ours.
    noise = logging.getLogger("matplotlib.font_manager")
    level = noise.level
    noise.setLevel(logging.ERROR)
    try:
        with matplotlib.rc_context(rules(matplotlib)):
            yield seaborn
    finally:
        noise.setLevel(level)


def rules(matplotlib: ModuleType) -> dict[Any, Any]:
    """The look as settings of matplotlib, its own standard for all that has no look."""
    fresh: dict[Any, Any] = {**matplotlib.rcParamsDefault}
    del fresh["backend"]  # stays as it is: no window is opened
    return fresh | {
        "svg.fonttype": "none",
        "svg.hashsalt": "corpusreg",
        "text.parse_math": False,
        "font.family": _MEASURING,
        "font.size": SIZES["text"],
        "figure.facecolor": COLOURS["paper"],
        "axes.facecolor": "none",
        "axes.edgecolor": COLOURS["line"],
        "axes.linewidth": STROKES["thin"],
        "axes.labelcolor": COLOURS["quiet"],
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.axisbelow": True,
        "grid.color": COLOURS["faint"],
        "grid.linewidth": STROKES["thin"],
        "hatch.color": COLOURS["ink"],
        "hatch.linewidth": STROKES["hair"],
        "text.color": COLOURS["ink"],
        "xtick.color": COLOURS["line"],
        "ytick.color": COLOURS["line"],
        "xtick.labelcolor": COLOURS["ink"],
        "ytick.labelcolor": COLOURS["ink"],
        "legend.frameon": False,
        "lines.solid_capstyle": "butt",
    }


def new_figure(width: float, height: float) -> Figure:
    """A figure of so many pixels, which opens no window."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width / _DOTS, height / _DOTS), dpi=_DOTS)


def new_axes(figure: Figure, left: float, top: float, width: float, height: float) -> Axes:
    """Axes at a place in pixels from the upper left corner."""
    across, down = figure.get_size_inches() * _DOTS
    place = (left / across, 1 - (top + height) / down, width / across, height / down)
    axes: Axes = figure.add_axes(place)
    axes.tick_params(length=0, pad=6)
    return axes


def say(
    figure: Figure, text: str, x: float, y: float, size: float, colour: str = "ink", **how: Any
) -> None:
    """Text whose foot line begins at x, y, in pixels from the upper left corner."""
    across, down = figure.get_size_inches() * _DOTS
    given = {"va": "baseline", "ha": "left", **how}
    figure.text(x / across, 1 - y / down, text, fontsize=size, color=COLOURS[colour], **given)


def fill(
    figure: Figure, text: str, x: float, y: float, room: float, size: float, colour: str = "ink"
) -> float:
    """Text in lines of a width, the first at y; the foot line of the next."""
    for row in wrapped(text, room, size):
        say(figure, row, x, y, size, colour)
        y += size * 1.35
    return y


def as_picture(figure: Figure, prefix: str, title: str, description: str) -> Picture:
    """The figure as an SVG picture. prefix: of all ids in it, apart from other pictures'."""
    across, down = (float(side) for side in figure.get_size_inches() * _DOTS)
    written = io.BytesIO()
    figure.savefig(written, format="svg", metadata={"Date": None, "Creator": None})
    parser = etree.XMLParser(remove_comments=True, remove_blank_text=True)
    drawn = etree.fromstring(written.getvalue(), parser)
    etree.strip_elements(drawn, "{*}metadata", "{*}style", with_tail=False)
    for node in drawn.iter():
        node.tag = etree.QName(node).localname
        given = dict(node.attrib)
        node.attrib.clear()
        node.attrib.update(_attributes(given, prefix))
    etree.cleanup_namespaces(drawn)
    for parent in list(drawn.iter()):
        _together(parent)
    etree.indent(drawn, space="")
    body = "".join(etree.tostring(each, encoding="unicode") for each in drawn).strip()
    opening = element(
        "svg",
        xmlns="http://www.w3.org/2000/svg",
        id=prefix,
        class_="picture figure",
        width=across,
        height=down,
        viewBox=f"0 0 {across:g} {down:g}",
        role="img",
        aria_labelledby=f"{prefix}-title {prefix}-desc",
        font_family=FONT,
        stroke_linejoin="round",
        stroke_linecap="butt",
    )
    head = (
        f'<title id="{prefix}-title">{escaped(title)}</title>'
        f'<desc id="{prefix}-desc">{escaped(description)}</desc>'
    )
    svg = f"{opening.removesuffix('/>')}>{head}\n{body}\n</svg>"
    return Picture(svg, across, down, title, description)


def _together(parent: etree._Element) -> None:
    """What marks that follow each other are alike in is said once, for all of them."""

    def look(node: etree._Element) -> dict[str, str] | None:
        if node.tag != "use":
            return None
        return {name: value for name, value in node.attrib.items() if name not in _PLACE}

    for alike, run in groupby(list(parent), look):
        marks = list(run)
        if alike is None or len(marks) < _FEW:
            continue
        group = etree.Element("g", alike)
        parent.replace(marks[0], group)
        for mark in marks:
            for name in alike:
                del mark.attrib[name]
            group.append(mark)


def colour_rules() -> str:
    """Style rules that give the colours of figures in a page the roles of its palette."""
    return "\n".join(
        f'.figure [{kind}="{value}"] {{ {kind}: var(--{name}); }}'
        for name, value in COLOURS.items()
        for kind in ("fill", "stroke")
    )


def _attributes(given: dict[str, str], prefix: str) -> dict[str, str]:
    """Attributes with ids of this picture alone, and with declarations as attributes, since a
    page's policy allows no styles inside elements.

    The face is left out: it is that of the whole picture.
    """
    given = {"href" if name == _LINK else name: value for name, value in given.items()}
    for declaration in given.pop("style", "").split(";"):
        name, _, value = declaration.partition(":")
        if name.strip() not in ("", "font-family"):
            given[name.strip()] = value.strip().removesuffix("px")
    made = {}
    for name, value in given.items():
        if name == "id":
            value = f"{prefix}-{value}"
        elif name == "href":
            value = value.replace("#", f"#{prefix}-")
        elif name == "d":
            value = _path(value)
        made[name] = _LONG.sub(r"\1", value.replace("url(#", f"url(#{prefix}-"))
    return made


def _path(drawn: str) -> str:
    """A path in short; a line to where it began is a dot."""
    words = drawn.split()
    if len(words) == 6 and (words[0], words[3]) == ("M", "L") and words[1:3] == words[4:]:
        return f"M{words[1]} {words[2]}h0"
    return " ".join(words)


class Wall:
    """Sizes on the wall, in pixels: those of `look`, larger, to be read from a distance."""

    WIDTH, HEIGHT = 1122.5, 793.7  # A4 lying at 96 to the inch
    MARGIN = 48.0
    SMALL, TEXT, LEAD, TITLE = 13.0, 15.0, 18.0, 30.0


@dataclass
class WallSheet:
    """A figure with its title and notes written. top, bottom: the room between, in pixels."""

    figure: Figure
    top: float
    bottom: float

    def row_name(self, name: str, below: str, y: float, right: float) -> None:
        """A name and a smaller line below it, right-aligned, around the height y."""
        room = right - Wall.MARGIN
        rows = wrapped(name, room, Wall.TEXT)
        rest = wrapped(below, room, Wall.SMALL)
        height = len(rows) * Wall.TEXT * 1.15 + len(rest) * Wall.SMALL * 1.2
        y += Wall.TEXT - height / 2 - 2
        for row in rows:
            say(self.figure, row, right, y, Wall.TEXT, ha="right")
            y += Wall.TEXT * 1.15
        for row in rest:
            say(self.figure, row, right, y, Wall.SMALL, "quiet", ha="right")
            y += Wall.SMALL * 1.2

    def small(self, text: str, x: float, y: float) -> None:
        """A small note up to the right margin."""
        fill(self.figure, text, x, y, Wall.WIDTH - Wall.MARGIN - x, Wall.SMALL, "quiet")


def new_sheet(title: str, meaning: str, notes: Sequence[str], made: str) -> WallSheet:
    """A sheet with its texts. notes: paragraphs at the foot; made: the last line."""
    figure = new_figure(Wall.WIDTH, Wall.HEIGHT)
    room = Wall.WIDTH - 2 * Wall.MARGIN
    say(figure, title, Wall.MARGIN, 66, Wall.TITLE)
    top = fill(figure, meaning, Wall.MARGIN, 92, room, Wall.TEXT, "quiet")
    rows = [row for note in notes for row in wrapped(note, room, Wall.SMALL)]
    step = Wall.SMALL * 1.32
    foot = Wall.HEIGHT - Wall.MARGIN
    y = foot - step * (len(rows) + 0.3)
    bottom = y - 48  # an axis and its numbers lie between
    for row in rows:
        say(figure, row, Wall.MARGIN, y, Wall.SMALL)
        y += step
    say(figure, made, Wall.MARGIN, foot + 6, Wall.SMALL - 1, "quiet")
    return WallSheet(figure, top - 4, bottom)


def amount(value: float) -> str:
    """A value as it is written on a figure.

    >>> amount(23.28), amount(0.04), amount(4.295), amount(0.0)
    ('23', '0.04', '4.3', '0')
    """
    if value == 0 or abs(value) >= 10:
        return f"{value:.0f}"
    return f"{value:.1f}" if abs(value) >= 1 else f"{value:.2g}"


def counts(works: int, units: int) -> str:
    """How many works by how many composers or sources."""
    return f"{works:,} work{'s' * (works != 1)} by {units}"
