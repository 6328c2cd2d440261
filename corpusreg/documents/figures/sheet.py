"""What all wall figures share: size, title, rows, the notes at the foot.

A sheet has the shape of A4 and A3 lying, so that it fills either. The notes at the foot
say how the figure is read, what is left out, and what it was made from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from corpusreg.documents.figures.style import fill, new_figure, say
from corpusreg.documents.pictures.svg import wrapped

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["Sheet", "Wall", "amount", "counts", "new_sheet"]


class Wall:
    """Sizes on the wall, in pixels: those of `look`, larger, to be read from a distance."""

    WIDTH, HEIGHT = 1122.5, 793.7  # A4 lying at 96 to the inch
    MARGIN = 48.0
    SMALL, TEXT, LEAD, TITLE = 13.0, 15.0, 18.0, 30.0


@dataclass
class Sheet:
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


def new_sheet(title: str, meaning: str, notes: Sequence[str], made: str) -> Sheet:
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
    return Sheet(figure, top - 4, bottom)


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
