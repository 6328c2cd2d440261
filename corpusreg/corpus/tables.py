"""The catalogue's own tables: CSV files in corpusreg/data, read once.

Every table is UTF-8, comma-separated, with a header row; an empty cell is ''.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources

from corpusreg.system.errors import DataError

__all__ = ["cell_year", "rows"]


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """The rows of a table in corpusreg/data as dicts by column, in file order.

    Raises DataError when a row has more or fewer cells than the header.
    """
    text = (resources.files("corpusreg") / "data" / name).read_text(encoding="utf-8")
    lines = list(csv.reader(text.splitlines()))
    if not lines:
        raise DataError(f"corpusreg/data/{name} is empty; reinstall corpusreg")
    header, *body = lines
    for number, line in enumerate(body, start=2):
        if len(line) != len(header):
            raise DataError(
                f"corpusreg/data/{name} line {number}: expected {len(header)} cells, "
                f"got {len(line)}; quote cells that hold a comma"
            )
    return tuple(dict(zip(header, line, strict=True)) for line in body)


def cell_year(cell: str) -> int | None:
    """A year column's cell: a number, or None when empty."""
    return int(cell) if cell else None
