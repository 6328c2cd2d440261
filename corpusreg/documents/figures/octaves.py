"""How the sound of each ensemble lies over the octaves, as a grid."""

from __future__ import annotations

from types import ModuleType

from corpusreg.documents.figures.sheet import Sheet, Wall, amount, counts
from corpusreg.documents.figures.style import new_axes, say
from corpusreg.documents.pictures.look import COLOURS, WEIGHTS
from corpusreg.norms.atlas.model import Octaves

__all__ = ["draw_octaves"]

_LEFT, _ACROSS = 300.0, 560.0
_ROW = 66.0
_STEPS = (0.5, 10, 25, 45)  # percent, from which the next darker tone is taken


def draw_octaves(seaborn: ModuleType, sheet: Sheet, found: Octaves) -> None:
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


def _in_use(sheet: Sheet, found: Octaves, row: int, y: float) -> None:
    cell, right = found.cells[row].in_use, _LEFT + _ACROSS + 24
    say(sheet.figure, amount(cell.middle), right, y + 1, Wall.LEAD)
    said = "too few composers"
    if cell.interval is not None:
        said = " to ".join(amount(side) for side in cell.interval)
    sheet.small(said, right, y + 17)
