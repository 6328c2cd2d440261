"""The figures of the atlas as pictures: a sheet each, with its words.

How the sound of each ensemble lies over the octaves, as a grid; a measure by groups of works,
a row each with spread, middle and interval; what is written for each instrument and voice,
over its range.
"""

from __future__ import annotations

from collections.abc import Sequence
from types import ModuleType
from typing import TYPE_CHECKING

from corpusreg.documents.figures.style import (
    Wall,
    WallSheet,
    amount,
    as_picture,
    counts,
    new_axes,
    new_sheet,
    say,
    styled,
)
from corpusreg.documents.pictures.look import COLOURS, STROKES, WEIGHTS
from corpusreg.documents.pictures.svg import Picture
from corpusreg.norms.atlas import (
    Atlas,
    GroupedMeasure,
    Heights,
    InstrumentHeights,
    MeasureCell,
    Octaves,
)
from corpusreg.score.pitch import note_name
from corpusreg.text.atlas import alt_text, made_words, meaning_words, notes_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["atlas_pictures"]

_LEFT, _ACROSS = 300.0, 560.0
_ROW = 66.0
_STEPS = (0.5, 10, 25, 45)  # percent, from which the next darker tone is taken


def draw_octaves(seaborn: ModuleType, sheet: WallSheet, found: Octaves) -> None:
    """Draw the grid: rows are ensembles, columns octaves from low to high."""
    from matplotlib.colors import BoundaryNorm, ListedColormap

    row = min(_ROW, (sheet.bottom - sheet.top - 52) / max(len(found.cells), 1))
    top = sheet.top + 52
    ax = new_axes(sheet.figure, _LEFT, top, _ACROSS, row * len(found.cells))
    tones = [COLOURS[name] for name in ("paper", *WEIGHTS)]
    shares = [[100 * share for share in cell.shares] for cell in found.cells]
    seaborn.heatmap(
        shares, ax=ax, cbar=False, cmap=ListedColormap(tones),
        norm=BoundaryNorm((0, *_STEPS, 100.01), len(tones)), linewidths=2,
        linecolor=COLOURS["paper"], xticklabels=False, yticklabels=False,
    )  # fmt: skip
    for y, (cell, own) in enumerate(zip(found.cells, shares, strict=True)):
        for x, share in enumerate(own):
            said = "" if share < 0.5 else f"{share:.0f} %"
            colour = COLOURS["paper" if share >= _STEPS[2] else "ink"]
            sure = cell.intervals is not None and said
            ax.text(x + 0.5, y + (0.42 if sure else 0.5), said, ha="center", va="center",
                    fontsize=Wall.TEXT, color=colour)  # fmt: skip
            if sure and cell.intervals is not None:
                low, high = (100 * side for side in cell.intervals[x])
                ax.text(x + 0.5, y + 0.72, f"{low:.0f} to {high:.0f}", ha="center", va="center",
                        fontsize=Wall.SMALL - 1, color=colour)  # fmt: skip
        centre = top + row * (y + 0.5)
        sheet.row_name(cell.name, counts(cell.works, cell.units), centre, _LEFT - 16)
        _in_use(sheet, found, y, centre)
    for x, band in enumerate(found.bands):
        at = _LEFT + _ACROSS * (x + 0.5) / len(found.bands)
        say(sheet.figure, f"C{band} to B{band}", at, top - 10, Wall.TEXT, ha="center")
    head = "share of the sound in each octave, stronger from 10, 25, 45 % on; C4 is middle C"
    say(sheet.figure, head, _LEFT, top - 32, Wall.TEXT, "quiet")
    say(sheet.figure, "octaves in use", _LEFT + _ACROSS + 24, top - 10, Wall.TEXT, "quiet")


def _in_use(sheet: WallSheet, found: Octaves, row: int, y: float) -> None:
    cell, right = found.cells[row].in_use, _LEFT + _ACROSS + 24
    say(sheet.figure, amount(cell.middle), right, y + 1, Wall.LEAD)
    said = "too few composers"
    if cell.interval is not None:
        said = " to ".join(amount(side) for side in cell.interval)
    sheet.small(said, right, y + 17)


_CELLS_LEFT, _CELLS_ACROSS = 300.0, 520.0
_CELLS_ROW = 74.0
_BOX, _TICK = 0.14, 0.24  # half heights in rows
_BRACKET = 0.34  # rows below the middle line at which the interval is drawn
_DOTS = -0.3


def draw_groups(seaborn: ModuleType, sheet: WallSheet, found: GroupedMeasure) -> None:
    """Draw the rows of a measure on a sheet. Shares are shown in percent."""
    cells = found.cells
    factor = 100.0 if found.measure.unit.startswith("share") else 1.0
    row = min(_CELLS_ROW, (sheet.bottom - sheet.top - 30) / max(len(cells), 1))
    ax = new_axes(sheet.figure, _CELLS_LEFT, sheet.top + 30, _CELLS_ACROSS, row * len(cells))
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


def _names(sheet: WallSheet, cell: MeasureCell, y: float, factor: float) -> None:
    """Name and counts at the left of a row, its middle at the right."""
    below = counts(cell.works, cell.units)
    if cell.mostly:
        below += f", mostly {cell.mostly}"
    sheet.row_name(cell.name, below, y, _CELLS_LEFT - 16)
    right = _CELLS_LEFT + _CELLS_ACROSS + 24
    say(sheet.figure, amount(factor * cell.middle), right, y + 1, Wall.LEAD)
    said = "too few composers"
    if cell.interval is not None:
        low, high = (amount(factor * side) for side in cell.interval)
        said = f"{low} to {high}"
    sheet.small(said, right, y + 17)


def _heads(sheet: WallSheet, found: GroupedMeasure, factor: float) -> None:
    unit = "% of bars" if factor != 1 else found.measure.unit
    y = sheet.top + 16
    say(sheet.figure, f"{found.measure.title} [{unit}]", _CELLS_LEFT, y, Wall.TEXT, "quiet")
    right = _CELLS_LEFT + _CELLS_ACROSS + 24
    say(sheet.figure, "middle, 95 % interval", right, y, Wall.TEXT, "quiet")


_INSTRUMENTS_LEFT, _INSTRUMENTS_ACROSS = 278.0, 570.0
_FLOOR, _HILL = 0.12, 0.5  # of the hill, and how high it is, in rows
_RANGE, _COMFORT = 0.03, 0.075  # half heights of the bars
_AT = 0.24  # rows below the middle of a row at which they lie
_MARGIN = 2


def draw_heights(seaborn: ModuleType, sheet: WallSheet, found: Heights) -> None:
    """Draw a row an instrument: hill of written notes above, range and comfort below."""
    rows = found.rows
    row = min(_ROW, (sheet.bottom - sheet.top - 28) / max(len(rows), 1))
    top = sheet.top + 26
    ax = new_axes(sheet.figure, _INSTRUMENTS_LEFT, top, _INSTRUMENTS_ACROSS, row * len(rows))
    low = min(min(each.instrument.professional[0], each.pitches[0]) for each in rows)
    high = max(max(each.instrument.professional[1], each.pitches[-1]) for each in rows)
    ax.set(xlim=(low - _MARGIN, high + _MARGIN), ylim=(len(rows) - 0.5, -0.5))
    for y, each in enumerate(rows):
        _hill(seaborn, ax, each, y)
        _range(ax, each, y)
        _instruments_names(sheet, each, top + row * (y + 0.5))
    names = [pitch for pitch in range(low, high + 1) if pitch % 12 == 0]
    ax.set_xticks(names, [note_name(pitch) for pitch in names], fontsize=Wall.TEXT)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    ax.grid(axis="x")
    ax.set(xlabel="", ylabel="")
    right = _INSTRUMENTS_LEFT + _INSTRUMENTS_ACROSS + 20
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


def _instruments_names(sheet: WallSheet, each: InstrumentHeights, y: float) -> None:
    below = f"{each.notes:,} notes, {each.works:,} works by {each.units}"
    sheet.row_name(each.instrument.name, below, y, _INSTRUMENTS_LEFT - 16)
    right = _INSTRUMENTS_LEFT + _INSTRUMENTS_ACROSS + 20
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


def atlas_pictures(found: Atlas) -> dict[str, Picture]:
    """Every figure by its name. Raises CorpusregError where seaborn is missing."""
    with styled() as seaborn:
        made = {}
        for each in found.figures:
            sheet = new_sheet(
                each.title, meaning_words(each), notes_words(each), made_words(found)
            )
            if isinstance(each, GroupedMeasure):
                draw_groups(seaborn, sheet, each)
            elif isinstance(each, Octaves):
                draw_octaves(seaborn, sheet, each)
            elif isinstance(each, Heights):
                draw_heights(seaborn, sheet, each)
            made[each.name] = as_picture(sheet.figure, each.name, each.title, alt_text(each))
    return made
