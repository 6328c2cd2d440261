"""Rows as text."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from typing import Any

from corpusreg.system.plaintext import plain

__all__ = ["column_cells", "text_table"]

_LINE = 88
_WIDEST = 60
_NARROWEST = 30
_SMALLEST = 0.005  # what would be printed as nothing, and is not


def text_table(names: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    """Rows in columns: numbers to the right, all else to the left, the last column wrapped.

    The last column takes what is left of 88 letters, 30 at least; others are cut at 60.
    """
    if not rows:
        return "no rows"
    names = [plain(name) for name in names]
    columns = [column_cells([row[i] for row in rows]) for i in range(len(names))]
    widths = [
        min(max(len(name), *map(len, cells)), _WIDEST)
        for name, (cells, _) in zip(names, columns, strict=True)
    ]
    left = _LINE - sum(widths[:-1]) - 2 * (len(widths) - 1)
    widths[-1] = min(max(len(names[-1]), *map(len, columns[-1][0])), max(left, _NARROWEST))
    lines = [names, ["-" * width for width in widths]]
    for cells in zip(*(cells for cells, _ in columns), strict=True):
        last = textwrap.wrap(
            cells[-1], widths[-1], break_long_words=False, break_on_hyphens=False
        ) or [""]
        lines.append([*cells[:-1], last[0]])
        lines += [[""] * (len(names) - 1) + [more] for more in last[1:]]
    right = [numbers for _, numbers in columns]
    return "\n".join(_line(line, widths, right) for line in lines)


def _line(cells: Sequence[str], widths: Sequence[int], right: Sequence[bool]) -> str:
    placed = [
        _cut(cell, width).rjust(width) if flag else _cut(cell, width).ljust(width)
        for cell, width, flag in zip(cells[:-1], widths, right, strict=False)
    ]
    placed.append(cells[-1].rjust(widths[-1]) if right[-1] else cells[-1])
    return "  ".join(placed).rstrip()


def column_cells(values: Sequence[Any]) -> tuple[list[str], bool]:
    """Cells of a column, and whether it is one of numbers: then with equal decimals."""
    known = [value for value in values if value is not None]
    numbers = all(isinstance(v, int | float) and not isinstance(v, bool) for v in known)
    whole = numbers and all(v == int(v) for v in known if math.isfinite(v))
    return [_cell(value, 0 if whole else 2) for value in values], numbers and bool(known)


def _cell(value: Any, digits: int) -> str:
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        if value and abs(value) < _SMALLEST:
            return f"<{2 * _SMALLEST}" if value > 0 else f">-{2 * _SMALLEST}"
        return f"{value:.{digits}f}"
    if isinstance(value, list | tuple):
        return plain(", ".join(str(item) for item in value))
    return plain(str(value))


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 3] + "..."
