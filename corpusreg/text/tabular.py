"""Rows and lines as text, and the screen that they are for.

Text is made for `screen()`: 88 columns and plain signs, for a pipe, a file or a notebook,
unless a terminal has said otherwise by `shown_on`.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

from corpusreg.system.plaintext import plain

__all__ = [
    "Screen", "column_cells", "item", "items", "paragraph", "screen", "shown_on", "text_table",
    "wrap",
]  # fmt: skip


@dataclass(frozen=True)
class Screen:
    """width: columns. blocks: whether half-block characters in colour can be shown."""

    width: int = 88
    blocks: bool = False


_PLAIN = Screen()
_SCREEN: ContextVar[Screen] = ContextVar("screen", default=_PLAIN)


def screen() -> Screen:
    """What text is made for."""
    return _SCREEN.get()


@contextmanager
def shown_on(found: Screen) -> Iterator[None]:
    """Text is made for this screen inside a with block."""
    token = _SCREEN.set(found)
    try:
        yield
    finally:
        _SCREEN.reset(token)


def wrap(text: str, indent: str = "", first: str | None = None) -> list[str]:
    """Lines as wide as the screen; `first` indents the first line otherwise."""
    return textwrap.wrap(
        text,
        width=screen().width,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )


def paragraph(text: str) -> str:
    """Text as wide as the screen."""
    return "\n".join(wrap(text))


def item(text: str) -> list[str]:
    """A line of a list, with a dash."""
    return wrap(plain(text), "    ", "  - ")


def items(texts: Sequence[str]) -> list[str]:
    """A list with dashes."""
    return [line for text in texts for line in item(text)]


_BLOCKS = 2  # times the screen, from where a table is no longer read in columns
NARROWEST = 12  # letters of a column of text that is wrapped
_SMALLEST = 0.005  # what would be printed as nothing, and is not


def text_table(names: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    """Rows in columns as wide as the screen: numbers to the right, all else to the left.

    Where there is no room, the widest columns of text are wrapped, down to NARROWEST letters
    and never inside a word: an id, a path stays whole, that it can be pasted. Where even so
    it is twice as wide as the screen, each row is a block of lines, a column a line.
    """
    if not rows:
        return "no rows"
    names = [plain(name) for name in names]
    columns = [column_cells([row[i] for row in rows]) for i in range(len(names))]
    widths = [
        max(len(name), *map(len, cells))
        for name, (cells, _) in zip(names, columns, strict=True)
    ]
    longest = [
        max((len(word) for cell in (name, *cells) for word in cell.split()), default=0)
        for name, (cells, _) in zip(names, columns, strict=True)
    ]
    room = screen().width - 2 * (len(widths) - 1)
    while sum(widths) > room:
        texts = [
            i
            for i, (_, numbers) in enumerate(columns)
            if not numbers and widths[i] > max(NARROWEST, longest[i])
        ]
        widest = max(texts, key=lambda i: widths[i], default=None)
        if widest is None:
            break
        others = max((widths[i] for i in texts if i != widest), default=0)
        least = max(room - sum(widths) + widths[widest], min(others, widths[widest] - 1))
        widths[widest] = max(least, NARROWEST, longest[widest])
    if sum(widths) > _BLOCKS * room:
        return "\n\n".join(
            "\n".join(
                f"{name:{max(map(len, names))}}  {cell}".rstrip()
                for name, cell in zip(names, row, strict=True)
            )
            for row in zip(*(cells for cells, _ in columns), strict=True)
        )
    right = [numbers for _, numbers in columns]
    lines = [
        *_row(names, widths, right),
        _line(["-" * width for width in widths], widths, right),
    ]
    for cells in zip(*(cells for cells, _ in columns), strict=True):
        lines += _row(cells, widths, right)
    return "\n".join(lines)


def _row(cells: Sequence[str], widths: Sequence[int], right: Sequence[bool]) -> list[str]:
    """The lines of one row: as many as its longest cell takes."""
    wrapped = [
        textwrap.wrap(cell, width, break_long_words=False, break_on_hyphens=False) or [""]
        for cell, width in zip(cells, widths, strict=True)
    ]
    many = max(map(len, wrapped))
    padded = [lines + [""] * (many - len(lines)) for lines in wrapped]
    return [_line(line, widths, right) for line in zip(*padded, strict=True)]


def _line(cells: Sequence[str], widths: Sequence[int], right: Sequence[bool]) -> str:
    placed = [
        cell.rjust(width) if flag else cell.ljust(width)
        for cell, width, flag in zip(cells, widths, right, strict=True)
    ]
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
