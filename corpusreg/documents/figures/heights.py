"""Pictures: numbers -> axes. The only module that draws, with matplotlib.

Conventions
-----------
pitch     across, sounding, MIDI numbers; a note is one semitone wide, so that a span
          of notes (low, high) reaches from low - 0.5 to high + 0.5.
rows      down, one an instrument, the first at 0 and the next at 1.
signs     told apart by shape, thickness and hatching; what colour there is adds
          nothing, so that a grey print and a colour-blind reader lose nothing.
names     the shape of every span has a gid, 'whole-flute' or 'tiring-flute-1', by which
          it is found in an SVG file.
fixed     sizes, style and metadata do not depend on settings, window or date: the same
          input and the same libraries give the same file.
"""

from __future__ import annotations

import io
import textwrap
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

from corpusreg.comparison.heights import OnInstrument, Passage
from corpusreg.documents.figures.style import rules
from corpusreg.documents.pictures.look import COLOURS
from corpusreg.instruments import Instrument
from corpusreg.score.pitch import note_name
from corpusreg.system.errors import UsageError
from corpusreg.system.isolate import made_of
from corpusreg.system.writing import write_files
from corpusreg.text.heights import moved_words, passage_heading
from corpusreg.text.players import TIRING

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["ENDINGS", "check_picture", "heights_figure", "write_heights"]

_Look = dict[str, Any]

# No date: the same input gives the same file.
ENDINGS: dict[str, _Look] = {
    ".png": {},
    ".svg": {"Date": None},
    ".pdf": {"CreationDate": None},
}

# Inches.
_ACROSS = 6.4
_ROW = 0.88
_LEFT, _RIGHT, _ABOVE, _BELOW = 1.75, 2.05, 1.0, 1.4
_DPI = 150

_DARK, _GREY, _PALE, _LINE = (COLOURS[name] for name in ("ink", "quiet", "pale", "faint"))
_MARK = COLOURS["mark"]
# Half heights in rows, and where names stand above and below the bars.
_THIN, _THICK, _TICK, _BOX, _NAMES = 0.035, 0.11, 0.17, 0.22, 0.27
_LIFT = 0.12  # of triangles, which would hide the mean
_SMALL, _MIDDLE, _LARGE = 7, 8.5, 13
_LETTER = 0.058  # inches, about, of a small letter
_MARGIN = 2  # semitones beyond all that is drawn

_WHOLE: _Look = {"facecolor": _GREY, "edgecolor": "none"}
_COMFORTABLE: _Look = {"facecolor": _PALE, "edgecolor": _GREY, "linewidth": 0.8}
_TIRING: _Look = {
    "facecolor": COLOURS["paper"],
    "edgecolor": _DARK,
    "hatch": "/////",
    "linewidth": 0.8,
}
_BREAK: _Look = {"color": _DARK, "linewidth": 1.0}
_PASSAGE: _Look = {"facecolor": "none", "edgecolor": _MARK, "linewidth": 2.2}
_MEAN: _Look = {
    "marker": "D", "markersize": 6, "color": _MARK, "markeredgecolor": "white",
    "linestyle": "none",
}  # fmt: skip
_BEYOND: _Look = {
    "marker": ">", "markersize": 5.5, "markerfacecolor": "white", "markeredgecolor": _DARK,
    "markeredgewidth": 1.2, "linestyle": "none",
}  # fmt: skip

_CAUTION = f"Pitches as they sound. Ranges differ from player to player. {TIRING}"


@dataclass(frozen=True)
class _Row:
    """An instrument with its levels: `widest` is the last of those that were asked for."""

    instrument: Instrument
    levels: tuple[OnInstrument, ...]

    @property
    def widest(self) -> OnInstrument:
        return self.levels[-1]

    @property
    def student(self) -> bool:
        return any(each.level == "student" for each in self.levels)


def heights_figure(found: Passage, ax: Axes | None = None) -> Axes:
    """The passage over the range of each instrument; returns the axes drawn on.

    ax: axes to draw on, which need room on all sides; left out, those of a new figure
    of the right size (`ax.figure`), which opens no window. The bar is the range of
    professional players, triangles are notes beyond that of the highest level asked
    for.
    """
    import matplotlib
    import matplotlib.figure

    rows = _rows(found)
    if ax is None:
        ax = _new_axes(matplotlib, len(rows))
    low, high = _limits(found, rows)
    ax.set_xlim(low, high)
    ax.set_ylim(len(rows) - 0.5, -0.5)
    _frame(ax, rows, low, high)
    semitone = _ACROSS / (high - low)
    for y, row in enumerate(rows):
        _draw_range(ax, row, y)
        _draw_registers(ax, row.instrument, y, semitone)
        _draw_passage(ax, found, row, y)
    if len(rows) > 1:
        _wishes(ax, found, rows)
    _words(ax, found, rows)
    return ax


def check_picture(path: Path) -> None:
    """Raise UsageError where no picture has such an ending."""
    if path.suffix.lower() not in ENDINGS:
        raise UsageError(
            f"{path.name}: a picture is written as one of {', '.join(ENDINGS)}; "
            "end the name with one of these"
        )


def write_heights(found: Passage, path: Path) -> None:
    """Write `heights_figure`, drawn in a bounded child, to a file with one of ENDINGS.

    A file of that name is replaced, and only by a whole one. Raises UsageError for
    another ending, StoppedError where it cannot be drawn, CorpusregError where the file
    cannot be written.
    """
    check_picture(path)
    write_files({path: made_of([Path(found.path)], _picture, found, path.suffix.lower())})


def _picture(found: Passage, ending: str) -> bytes:
    import matplotlib
    import matplotlib.figure

    # Letters as shapes: the face that matplotlib brings along may not be where it is read.
    # The sign for the range of students is set as a formula; all text from scores is not.
    style = rules(matplotlib) | {"svg.fonttype": "path", "text.parse_math": True}
    content = io.BytesIO()
    with matplotlib.rc_context(style), warnings.catch_warnings():
        # A sign that the font lacks, in the name of a part, is drawn as a box.
        warnings.filterwarnings("ignore", "Glyph .* missing from font")
        _whole_figure(heights_figure(found)).savefig(
            content,
            format=ending[1:],
            metadata={"Title": passage_heading(found), **ENDINGS[ending]},
        )
    return content.getvalue()


def _new_axes(matplotlib: ModuleType, rows: int) -> Axes:
    width, height = _LEFT + _ACROSS + _RIGHT, _ABOVE + _ROW * rows + _BELOW
    figure = matplotlib.figure.Figure(figsize=(width, height), dpi=_DPI)
    place = (_LEFT / width, _BELOW / height, _ACROSS / width, _ROW * rows / height)
    axes: Axes = figure.add_axes(place)
    return axes


def _whole_figure(ax: Axes) -> Figure:
    figure = ax.get_figure(root=True)
    if figure is None:
        raise UsageError("these axes belong to no figure any more; make new ones")
    return figure


def _rows(found: Passage) -> list[_Row]:
    ids = dict.fromkeys(each.instrument.id for each in found.rows)
    levels = [tuple(each for each in found.rows if each.instrument.id == i) for i in ids]
    return [_Row(each[0].instrument, each) for each in levels]


def _limits(found: Passage, rows: Sequence[_Row]) -> tuple[int, int]:
    spans = [row.instrument.professional for row in rows]
    spans += [row.instrument.student for row in rows if row.student]
    low = min(found.lowest, *(span[0] for span in spans))
    high = max(found.highest, *(span[1] for span in spans))
    return low - _MARGIN, high + _MARGIN


def _frame(ax: Axes, rows: Sequence[_Row], low: int, high: int) -> None:
    """Note names at the Cs, names of instruments, and lines between the rows."""
    octaves = [pitch for pitch in range(low, high + 1) if pitch % 12 == 0]
    ax.set_xticks(octaves, [note_name(pitch) for pitch in octaves], fontsize=_MIDDLE)
    names = ["\n".join(textwrap.wrap(row.instrument.name, 20)) for row in rows]
    ax.set_yticks(range(len(rows)), names, fontsize=_MIDDLE + 1)
    for label in ax.get_yticklabels():
        label.set_parse_math(False)
    ax.tick_params(axis="y", length=0, pad=8)
    ax.tick_params(axis="x", top=True, labeltop=True, color=_GREY)
    ax.grid(axis="x", color=_LINE, linewidth=0.8)
    ax.set_axisbelow(True)
    for edge in range(1, len(rows)):
        ax.axhline(edge - 0.5, color=_LINE, linewidth=0.8, zorder=0.5)
    for side in ax.spines.values():
        side.set_color(_GREY)


def _box(ax: Axes, span: tuple[int, int], y: float, half: float, gid: str, **look: Any) -> None:
    from matplotlib.patches import Rectangle

    low, high = span
    ax.add_patch(Rectangle((low - 0.5, y - half), high - low + 1, 2 * half, gid=gid, **look))


def _draw_range(ax: Axes, row: _Row, y: int) -> None:
    one = row.instrument
    _box(ax, one.professional, y, _THIN, f"whole-{one.id}", **_WHOLE, zorder=2)
    _box(ax, one.comfortable, y, _THICK, f"comfortable-{one.id}", **_COMFORTABLE, zorder=3)
    for number, zone in enumerate(one.tiring, 1):
        _box(ax, zone, y, _THICK, f"tiring-{one.id}-{number}", **_TIRING, zorder=4)
    for pitch, align in zip(one.professional, ("left", "right"), strict=True):
        x = pitch - 0.5 if align == "left" else pitch + 0.5
        name = note_name(pitch)
        ax.text(x, y + _NAMES, name, ha=align, va="top", fontsize=_SMALL, color=_DARK)
    if row.student:
        low, high = one.student
        _bracket(ax, low - 0.5, y, 1, f"student-low-{one.id}")
        _bracket(ax, high + 0.5, y, -1, f"student-high-{one.id}")


def _bracket(ax: Axes, x: float, y: float, inward: int, gid: str) -> None:
    across = [x + 0.7 * inward, x, x, x + 0.7 * inward]
    down = [y - _TICK, y - _TICK, y + _TICK, y + _TICK]
    ax.plot(across, down, color=_DARK, linewidth=1.3, zorder=6, gid=gid)


def _draw_registers(ax: Axes, one: Instrument, y: int, semitone: float) -> None:
    """Names over the registers, and a tick where one ends and the next begins."""
    for number, (before, after) in enumerate(pairwise(one.registers), 1):
        x = (before.high + after.low) / 2
        gid = f"break-{one.id}-{number}"
        ax.plot([x, x], [y - _NAMES, y + _TICK], **_BREAK, zorder=5, gid=gid)
    for register in one.registers:
        width = (register.high - register.low + 1) * semitone
        name = textwrap.fill(
            register.name, max(int(width / _LETTER), 4), break_long_words=False
        )
        ax.text(
            (register.low + register.high) / 2,
            y - _NAMES,
            name,
            ha="center",
            va="bottom",
            fontsize=_SMALL,
            linespacing=0.95,
            color=_DARK,
            parse_math=False,
        )


def _draw_passage(ax: Axes, found: Passage, row: _Row, y: int) -> None:
    one = row.instrument
    span = (found.lowest, found.highest)
    _box(ax, span, y, _BOX, f"passage-{one.id}", **_PASSAGE, zorder=7)
    low, high = row.widest.instrument.limits(row.widest.level)
    mean = low + row.widest.height.mean * (high - low)
    ax.plot([mean], [y], **_MEAN, zorder=8, gid=f"mean-{one.id}")
    for side, marker in (("below", "<"), ("above", ">")):
        pitches = [each.pitch for each in row.widest.out_of_range if each.side == side]
        if pitches:
            look: _Look = {**_BEYOND, "marker": marker}
            ax.plot(
                pitches, [y - _LIFT] * len(pitches), **look, zorder=9, gid=f"{side}-{one.id}"
            )


def _wishes(ax: Axes, found: Passage, rows: Sequence[_Row]) -> None:
    """At the right, the transposition to the same mean height at the widest level."""
    level = rows[0].widest.level
    head = textwrap.fill(f"To lie as high as for {found.home.name} ({level}):", 26)
    _beside(ax, head, (1, 1), (10, 22), va="bottom", fontweight="bold")
    for y, row in enumerate(rows):
        own = row.instrument.id == found.home.id
        words = "compared with this" if own else moved_words(row.widest)
        place = (1, 1 - (y + 0.5) / len(rows))
        _beside(ax, textwrap.fill(words, 26), place, (10, 0), va="center")


def _words(ax: Axes, found: Passage, rows: Sequence[_Row]) -> None:
    """Title and heading above; what the signs mean and the caution below."""
    from matplotlib.transforms import ScaledTranslation

    left = -_LEFT * 72 + 14  # points from the axes, where a new figure begins
    heading = textwrap.fill(passage_heading(found), 90, max_lines=1, placeholder=" ...")
    _beside(ax, "How high a passage lies", (0, 1), (left, 50), fontsize=_LARGE)
    _beside(ax, heading, (0, 1), (left, 33))
    down = ax.transAxes + ScaledTranslation(left / 72, -0.35, _whole_figure(ax).dpi_scale_trans)
    ax.legend(
        handles=_signs(rows),
        ncols=4,
        loc="upper left",
        bbox_to_anchor=(0, 0),
        bbox_transform=down,
        borderaxespad=0,
        borderpad=0,
        handlelength=2.4,
        columnspacing=2,
        labelspacing=0.7,
        frameon=False,
        fontsize=_MIDDLE,
    )
    caution = textwrap.fill(_CAUTION, 128)
    _beside(ax, caution, (0, 0), (left, -70), va="top", color=_DARK, style="italic")


def _beside(
    ax: Axes, text: str, place: tuple[float, float], points: tuple[float, float], **look: Any
) -> None:
    """Text at a fixed distance from a place of the axes (fractions)."""
    ax.annotate(
        text,
        place,
        points,
        xycoords="axes fraction",
        textcoords="offset points",
        annotation_clip=False,
        parse_math=False,
        **{"fontsize": _MIDDLE, **look},
    )


def _signs(rows: Sequence[_Row]) -> list[Artist]:
    """What the legend holds: the signs that occur."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    level = rows[0].widest.level
    signs: list[Artist] = [
        Line2D(
            [],
            [],
            color=_GREY,
            linewidth=4,
            solid_capstyle="butt",
            label="whole range (professional)",
        ),
        Patch(**_COMFORTABLE, label="comfortable"),
    ]
    if any(row.instrument.tiring for row in rows):
        signs.append(Patch(**_TIRING, label="tiring"))
    if any(len(row.instrument.registers) > 1 for row in rows):
        tick: _Look = {"marker": "|", "markersize": 11, "linestyle": "none"}
        signs.append(Line2D([], [], **tick, color=_DARK, label="border of registers"))
    if any(row.student for row in rows):
        ends: _Look = {"marker": "$[\\,\\,]$", "markersize": 13, "linestyle": "none"}
        signs.append(Line2D([], [], **ends, color=_DARK, label="student range"))
    signs += [
        Patch(**_PASSAGE, label="the passage"),
        Line2D([], [], **_MEAN, label="its mean height"),
    ]
    if any(row.widest.out_of_range for row in rows):
        signs.append(Line2D([], [], **_BEYOND, label=f"notes beyond the {level} range"))
    return signs
