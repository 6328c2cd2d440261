"""What is written for each instrument and voice, over its range."""

from __future__ import annotations

from types import ModuleType
from typing import TYPE_CHECKING

from corpusreg.documents.figures.sheet import Sheet, Wall
from corpusreg.documents.figures.style import new_axes, say
from corpusreg.documents.pictures.look import COLOURS, STROKES
from corpusreg.norms.atlas.model import Heights, InstrumentHeights
from corpusreg.score.pitch import note_name

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw_heights"]

_LEFT, _ACROSS = 278.0, 570.0
_ROW = 66.0
_FLOOR, _HILL = 0.12, 0.5  # of the hill, and how high it is, in rows
_RANGE, _COMFORT = 0.03, 0.075  # half heights of the bars
_AT = 0.24  # rows below the middle of a row at which they lie
_MARGIN = 2


def draw_heights(seaborn: ModuleType, sheet: Sheet, found: Heights) -> None:
    """Draw a row an instrument: hill of written notes above, range and comfort below."""
    rows = found.rows
    row = min(_ROW, (sheet.bottom - sheet.top - 28) / max(len(rows), 1))
    top = sheet.top + 26
    ax = new_axes(sheet.figure, _LEFT, top, _ACROSS, row * len(rows))
    low = min(min(each.instrument.professional[0], each.pitches[0]) for each in rows)
    high = max(max(each.instrument.professional[1], each.pitches[-1]) for each in rows)
    ax.set(xlim=(low - _MARGIN, high + _MARGIN), ylim=(len(rows) - 0.5, -0.5))
    for y, each in enumerate(rows):
        _hill(seaborn, ax, each, y)
        _range(ax, each, y)
        _names(sheet, each, top + row * (y + 0.5))
    names = [pitch for pitch in range(low, high + 1) if pitch % 12 == 0]
    ax.set_xticks(names, [note_name(pitch) for pitch in names], fontsize=Wall.TEXT)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    ax.grid(axis="x")
    ax.set(xlabel="", ylabel="")
    right = _LEFT + _ACROSS + 20
    say(sheet.figure, "middle, 95 % interval", right, top - 8, Wall.TEXT, "quiet")


def _hill(seaborn: ModuleType, ax: Axes, each: InstrumentHeights, y: int) -> None:
    """Shares by pitch as steps that rise from a line; the highest is _HILL rows high."""
    before = len(ax.patches)
    seaborn.histplot(
        x=list(each.pitches), weights=list(each.shares), discrete=True, ax=ax, element="bars",
        color=COLOURS["weight3"], alpha=1, edgecolor=COLOURS["paper"], linewidth=0.5, zorder=3,
    )  # fmt: skip
    most = max(each.shares)
    low, high = each.tenths
    for patch in ax.patches[before:]:
        height = patch.get_height() / most * _HILL  # type: ignore[attr-defined]
        patch.set_y(y + _FLOOR - height)  # type: ignore[attr-defined]
        patch.set_height(height)  # type: ignore[attr-defined]
        centre = patch.get_x() + patch.get_width() / 2  # type: ignore[attr-defined]
        if not low <= centre <= high:
            patch.set_facecolor(COLOURS["weight1"])
    ax.plot([each.middle] * 2, [y + _FLOOR, y + _FLOOR - _HILL - 0.06], color=COLOURS["ink"],
            linewidth=STROKES["strong"], zorder=5)  # fmt: skip
    if each.interval is not None:
        ax.plot(list(each.interval), [y + _FLOOR - _HILL - 0.06] * 2, color=COLOURS["mark"],
                linewidth=STROKES["strong"], zorder=6)  # fmt: skip


def _range(ax: Axes, each: InstrumentHeights, y: int) -> None:
    from matplotlib.patches import Rectangle

    def box(span: tuple[int, int], half: float, name: str, **look: object) -> None:
        first, last = span
        ax.add_patch(
            Rectangle((first - 0.5, y + _AT - half), last - first + 1, 2 * half,
                      gid=f"{name}-{each.instrument.id}", **look)  # type: ignore[arg-type]
        )  # fmt: skip

    box(each.instrument.professional, _RANGE, "range", facecolor=COLOURS["quiet"], zorder=2)
    box(each.instrument.comfortable, _COMFORT, "comfortable", facecolor=COLOURS["pale"],
        edgecolor=COLOURS["quiet"], linewidth=STROKES["thin"], zorder=3)  # fmt: skip
    for zone in each.instrument.tiring:
        box(zone, _COMFORT, "tiring", facecolor=COLOURS["paper"], edgecolor=COLOURS["ink"],
            hatch="/////", linewidth=STROKES["thin"], zorder=4)  # fmt: skip


def _names(sheet: Sheet, each: InstrumentHeights, y: float) -> None:
    below = f"{each.notes:,} notes, {each.works:,} works by {each.units}"
    sheet.row_name(each.instrument.name, below, y, _LEFT - 16)
    right = _LEFT + _ACROSS + 20
    said = f"8 in 10: {_notes(each.tenths)}"
    if each.beyond >= 0.005:
        said += f"; {100 * each.beyond:.0f} % beyond"
    sure = f", {_notes(each.interval)}" if each.interval else ""
    y -= 4
    say(sheet.figure, f"{note_name(round(each.middle))}{sure}", right, y, Wall.TEXT)
    say(sheet.figure, said, right, y + Wall.SMALL * 1.25, Wall.SMALL, "quiet")


def _notes(sides: tuple[float, float]) -> str:
    low, high = (note_name(round(side)) for side in sides)
    return f"{low} to {high}"
