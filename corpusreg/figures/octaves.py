"""How the sound of each ensemble lies over the octaves, as a grid."""

from __future__ import annotations

from types import ModuleType

from corpusreg.atlas.model import Octaves
from corpusreg.figures.sheet import Sheet, Wall, amount, counts
from corpusreg.figures.style import new_axes, say
from corpusreg.pictures.look import COLOURS, WEIGHTS

__all__ = ["draw_octaves"]

_LEFT, _ACROSS = 300.0, 560.0
_ROW = 66.0
_DARK = 0.18  # luminance below which paper reads better on a tone than ink (WCAG 2)


def draw_octaves(seaborn: ModuleType, sheet: Sheet, found: Octaves) -> None:
    """Draw the grid: rows are ensembles, columns octaves from low to high."""
    from matplotlib.colors import LinearSegmentedColormap

    row = min(_ROW, (sheet.bottom - sheet.top - 52) / max(len(found.cells), 1))
    top = sheet.top + 52
    ax = new_axes(sheet.figure, _LEFT, top, _ACROSS, row * len(found.cells))
    tones = LinearSegmentedColormap.from_list(
        "weights", [COLOURS[name] for name in ("paper", *WEIGHTS)], N=64
    )
    shares = [[100 * share for share in cell.shares] for cell in found.cells]
    most = max(max(own) for own in shares)
    seaborn.heatmap(
        shares, ax=ax, cbar=False, vmin=0, vmax=most, linewidths=2, linecolor=COLOURS["paper"],
        cmap=tones, xticklabels=False, yticklabels=False,
    )  # fmt: skip
    for y, (cell, own) in enumerate(zip(found.cells, shares, strict=True)):
        for x, share in enumerate(own):
            said = "" if share < 0.5 else f"{share:.0f} %"
            colour = COLOURS["paper" if _luminance(tones(share / most)) < _DARK else "ink"]
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
    say(sheet.figure, "share of the sound in each octave; C4 is middle C", _LEFT, top - 32,
        Wall.TEXT, "quiet")  # fmt: skip
    say(sheet.figure, "octaves in use", _LEFT + _ACROSS + 24, top - 10, Wall.TEXT, "quiet")


def _luminance(tone: tuple[float, float, float, float]) -> float:
    """Relative luminance of an sRGB colour, 0 to 1 (WCAG 2)."""
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
        for part in tone[:3]
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _in_use(sheet: Sheet, found: Octaves, row: int, y: float) -> None:
    cell, right = found.cells[row].in_use, _LEFT + _ACROSS + 24
    say(sheet.figure, amount(cell.middle), right, y + 1, Wall.LEAD)
    said = "too few composers"
    if cell.interval is not None:
        said = " to ".join(amount(side) for side in cell.interval)
    sheet.small(said, right, y + 17)
