"""Rows as text, CSV or JSON."""

from __future__ import annotations

import csv
import json
import sys
from collections.abc import Sequence
from typing import Any, Protocol

__all__ = ["print_rows", "text_table"]

_WIDEST = 60


class _Form(Protocol):
    csv: bool
    json: bool


def print_rows(names: Sequence[str], rows: Sequence[Sequence[Any]], form: _Form) -> None:
    """Print rows in the form that was asked for."""
    if form.json:
        records = [dict(zip(names, row, strict=True)) for row in rows]
        print(json.dumps(records, indent=1, default=str))
    elif form.csv:
        writer = csv.writer(sys.stdout, lineterminator="\n")
        writer.writerow(names)
        writer.writerows(rows)
    else:
        print(text_table(names, rows))


def text_table(names: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    """Rows in columns: numbers to the right, everything else to the left."""
    cells = [[_cell(value) for value in row] for row in rows]
    widths = [
        min(max([len(name), *(len(row[i]) for row in cells)]), _WIDEST)
        for i, name in enumerate(names)
    ]
    right = [
        all(isinstance(row[i], int | float) or row[i] is None for row in rows) and bool(rows)
        for i in range(len(names))
    ]
    lines = [list(names), ["-" * width for width in widths], *cells]
    return "\n".join(
        "  ".join(
            (_cut(cell, width).rjust(width) if flag else _cut(cell, width).ljust(width))
            for cell, width, flag in zip(line, widths, right, strict=True)
        ).rstrip()
        for line in lines
    )


def _cell(value: Any) -> str:
    if value is None:
        return "-"
    if isinstance(value, float):
        return f"{value:.2f}"
    if isinstance(value, list | tuple):
        return ", ".join(str(item) for item in value)
    return " ".join(str(value).split())


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 3] + "..."
