"""A measure by groups of works: a row each, with its works' spread, middle and interval."""

from __future__ import annotations

from collections.abc import Sequence
from types import ModuleType
from typing import TYPE_CHECKING

from corpusreg.documents.figures.sheet import Sheet, Wall, amount, counts
from corpusreg.documents.figures.style import new_axes, say
from corpusreg.documents.pictures.look import COLOURS, STROKES
from corpusreg.norms.atlas.model import Groups, MeasureCell

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw_groups"]

_LEFT, _ACROSS = 300.0, 520.0
_ROW = 74.0
_BOX, _TICK = 0.14, 0.24  # half heights in rows
_BRACKET = 0.34  # rows below the middle line at which the interval is drawn
_DOTS = -0.3


def draw_groups(seaborn: ModuleType, sheet: Sheet, found: Groups) -> None:
    """Draw the rows of a measure on a sheet. Shares are shown in percent."""
    cells = found.cells
    factor = 100.0 if found.measure.unit.startswith("share") else 1.0
    row = min(_ROW, (sheet.bottom - sheet.top - 30) / max(len(cells), 1))
    ax = new_axes(sheet.figure, _LEFT, sheet.top + 30, _ACROSS, row * len(cells))
    ax.set_ylim(len(cells) - 0.5, -0.5)
    for y, cell in enumerate(cells):
        _spread(ax, cell, y, factor)
        _names(sheet, cell, sheet.top + 30 + row * (y + 0.5), factor)
    _dots(seaborn, ax, cells, factor)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    ax.grid(axis="x")
    ax.tick_params(axis="x", labelsize=Wall.TEXT)
    # Little room to the left of zero, so that dots at it are whole.
    high = ax.get_xlim()[1]
    ax.set_xlim(-0.02 * high, high)
    _heads(sheet, found, factor)


def _spread(ax: Axes, cell: MeasureCell, y: int, factor: float) -> None:
    from matplotlib.patches import Rectangle

    low, high = (factor * side for side in cell.quarters)
    middle = factor * cell.middle
    if cell.interval is not None:
        ax.plot(
            [factor * side for side in cell.tenths], [y, y],
            color=COLOURS["weight3"], linewidth=STROKES["firm"], zorder=2,
        )  # fmt: skip
        ax.add_patch(
            Rectangle(
                (low, y - _BOX), high - low, 2 * _BOX, facecolor=COLOURS["weight2"],
                edgecolor=COLOURS["weight4"], linewidth=STROKES["thin"], zorder=3,
                gid=f"spread-{cell.group.replace(' ', '-')}",
            )
        )  # fmt: skip
        ends = [factor * side for side in cell.interval]
        ax.plot(
            [ends[0], ends[0], ends[1], ends[1]],
            [y + _BRACKET - 0.07, y + _BRACKET, y + _BRACKET, y + _BRACKET - 0.07],
            color=COLOURS["mark"], linewidth=2, zorder=4,
        )  # fmt: skip
    ax.plot(
        [middle, middle], [y - _TICK, y + _TICK], color=COLOURS["ink"],
        linewidth=STROKES["strong"], linestyle="-" if cell.interval else (0, (1, 1)), zorder=5,
    )  # fmt: skip


def _dots(seaborn: ModuleType, ax: Axes, cells: Sequence[MeasureCell], factor: float) -> None:
    seaborn.scatterplot(
        x=[factor * dot for cell in cells for dot in cell.dots],
        y=[y + _DOTS for y, cell in enumerate(cells) for _ in cell.dots],
        ax=ax, s=34, color="none", edgecolor=COLOURS["weight4"], linewidth=1.2, zorder=6,
        legend=False,
    )  # fmt: skip


def _names(sheet: Sheet, cell: MeasureCell, y: float, factor: float) -> None:
    """Name and counts at the left of a row, its middle at the right."""
    below = counts(cell.works, cell.units)
    if cell.mostly:
        below += f", mostly {cell.mostly}"
    sheet.row_name(cell.name, below, y, _LEFT - 16)
    right = _LEFT + _ACROSS + 24
    say(sheet.figure, amount(factor * cell.middle), right, y + 1, Wall.LEAD)
    said = "too few composers"
    if cell.interval is not None:
        low, high = (amount(factor * side) for side in cell.interval)
        said = f"{low} to {high}"
    sheet.small(said, right, y + 17)


def _heads(sheet: Sheet, found: Groups, factor: float) -> None:
    unit = "% of bars" if factor != 1 else found.measure.unit
    y = sheet.top + 16
    say(sheet.figure, f"{found.measure.title} [{unit}]", _LEFT, y, Wall.TEXT, "quiet")
    right = _LEFT + _ACROSS + 24
    say(sheet.figure, "middle, 95 % interval", right, y, Wall.TEXT, "quiet")
