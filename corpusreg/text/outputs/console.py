"""A comparison as text for a terminal: five lines and the map, and all else on request."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.findings import Rank, Reading, reading
from corpusreg.measures.definitions import VERSION
from corpusreg.system.phrases import plural
from corpusreg.system.plaintext import plain
from corpusreg.text.alike import alike_lines
from corpusreg.text.players import player_lines, player_remarks
from corpusreg.text.reading import (
    CLASS_COLUMNS,
    MEASURE_COLUMNS,
    certainty,
    class_row,
    details,
    first_screen,
    heading,
    measure_rows,
    unranked,
)
from corpusreg.text.tabular import text_table
from corpusreg.text.wording import (
    note,
)

__all__ = ["WIDTH", "class_text", "comparison_text", "items", "register_map", "strip", "wrap"]

WIDTH = 88
MAP_ROWS = 20  # at most, so that map and ruler stay under 24 lines
_SHADES = " .:+#"
_MAP_COLUMNS = 64
_STRIP = 17


def comparison_text(c: Comparison, reference_id: str, *, full: bool = False) -> str:
    """The answer for one work, without a trailing newline; full: with all its details."""
    r = reading(c)
    lines = [heading(r), *(line for text in first_screen(r) for line in wrap(text, "  "))]
    lines += ["", *register_map(c)]
    if not full:
        if r.piece.unread:
            lines.append(f"{_unread(r)}; --full says why.")
        return "\n".join([*lines, "More: --full, --report FILE."])
    for section in details(r):
        lines += ["", section.heading]
        lines += items(section.lines)
    lines += ["", *_measures(r)]
    players = player_lines(c)
    if players:
        lines += ["", "Each player", *(f"  {line}" for line in players)]
        lines += items(player_remarks(c))
    near = alike_lines(c.alike)
    if near:
        lines += ["", "Music whose register has the same shape over time"]
        lines += items(near)
    lines += ["", f"(reference {reference_id}, definitions {VERSION})"]
    return "\n".join(lines)


def _unread(r: Reading) -> str:
    return f"{plural(r.piece.unread, 'place')} in this file could not be read"


def class_text(comparisons: Sequence[Comparison]) -> str:
    """Several works in one table, and how to see one of them."""
    readings = [reading(c) for c in comparisons]
    table = text_table(CLASS_COLUMNS, [class_row(r) for r in readings])
    path = readings[0].piece.path
    quoted = f"'{path}'" if " " in path else path
    unread = [f"{plain(r.piece.path)}: {_unread(r)}." for r in readings if r.piece.unread]
    return "\n".join([table, "", *unread, f"One of them: corpusreg compare {quoted}"])


def wrap(text: str, indent: str = "", first: str | None = None) -> list[str]:
    """Lines of at most WIDTH columns; `first` indents the first line otherwise."""
    return textwrap.wrap(
        text,
        width=WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _measures(r: Reading) -> list[str]:
    """All measures with their values, ranks as strips and in numbers."""
    by_collection = any(row[-1] for row in measure_rows(r))
    if not r.company.placed:
        rows = [row[:2] for row in measure_rows(r)]
        return [*text_table(MEASURE_COLUMNS[:2], rows).splitlines(), *unranked(r)]
    columns = (*MEASURE_COLUMNS[:2], "less         more", *MEASURE_COLUMNS[2:])
    rows = [
        (*row[:2], strip(found.rank), *row[2:])
        for row, found in zip(measure_rows(r), r.measures, strict=True)
    ]
    last = None if by_collection else -1
    table = text_table(columns[:last], [row[:last] for row in rows]).splitlines()
    key = "In each strip: o this piece, --- the 95 % interval, | the middle of the works."
    return [*table, key, *unranked(r), *items(certainty(r))]


def items(texts: Sequence[str]) -> list[str]:
    """A list with dashes."""
    return [line for text in texts for line in wrap(plain(text), "    ", "  - ")]


def strip(rank: Rank | None) -> str:
    """Ranks 0 to 100 as a line of 17 signs: the piece, its interval, the middle."""
    if rank is None:
        return ""
    signs = ["."] * _STRIP
    signs[_STRIP // 2] = "|"

    def at(percentile: float) -> int:
        return min(int(percentile / 100 * _STRIP), _STRIP - 1)

    low, high = rank.interval
    for index in range(at(low), at(high) + 1):
        signs[index] = "-"
    signs[at(rank.percentile)] = "o"
    return "".join(signs)


def register_map(c: Comparison, notes: tuple[int, int] | None = None) -> list[str]:
    """Time across, pitch upwards, darker where more sounds; stays marked below.

    notes: the lowest and the highest on the axis, MIDI numbers, None for those of the piece.
    """
    weight = c.whole.texture.bars
    per = -(-len(weight) // _MAP_COLUMNS)
    starts = np.arange(0, len(weight), per)
    columns = np.add.reduceat(weight, starts, axis=0)
    lowest, highest = notes or (c.whole.lowest, c.whole.highest)
    row = next(r for r in (3, 4, 6, 12) if highest // r - lowest // r < MAP_ROWS or r == 12)
    low, high = lowest // row, highest // row
    rows = [columns[:, row * k : row * (k + 1)].sum(axis=1) for k in range(low, high + 1)]
    top = max(float(np.max(each)) for each in rows)
    lines = []
    for number, each in zip(range(high, low - 1, -1), reversed(rows), strict=True):
        cells = "".join(_shade(float(value) / top) for value in each)
        lines.append(f"  {note(number * row):>4} |{cells}|")
    marks = ["-"] * len(starts)
    for stay in c.whole.stays[1:]:
        marks[stay.first // per] = "+"
    scale = "a bar" if per == 1 else f"{per} bars"
    key = f"A column is {scale}; + marks a new register."
    return [*lines, f"       +{''.join(marks)}+", f"        {_ruler(c, starts)}".rstrip(),
            f"        {key}"]  # fmt: skip


def _shade(share: float) -> str:
    if share <= 0:
        return _SHADES[0]
    return _SHADES[min(1 + int(4 * share**0.6), 4)]


def _ruler(c: Comparison, starts: NDArray[np.int64]) -> str:
    line = ""
    for column in range(0, len(starts), 8):
        label = c.bars.labels[int(starts[column])].replace(" (", " ").replace(" time)", "")
        if len(line) < column or not line:
            line = line.ljust(column) + label
    return line
