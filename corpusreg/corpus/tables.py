"""The catalogue's own tables: CSV files in corpusreg/data, read once.

Every table is UTF-8, comma-separated, with a header row; an empty cell is ''.

data/collections.csv has one row a collection: glob, id, name, what it is, tier with
statement and evidence, composer id, genre, ensemble hint, cluster, region, years.
data/works.csv has what is known of single works, and overrides their collection.
In both the first row whose glob matches the relative path counts; '*' also matches '/'.
"""

from __future__ import annotations

import csv
from fnmatch import fnmatchcase
from functools import cache, lru_cache
from importlib import resources

from corpusreg.system.errors import DataError

__all__ = ["cell_year", "collection_of", "rows", "work_row"]


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


@lru_cache(maxsize=16_384)
def collection_of(relative: str) -> dict[str, str]:
    """The collections row of a bundled file.

    Raises DataError when the installed music21 has a folder the table does not know.
    """
    for row in rows("collections.csv"):
        if fnmatchcase(relative, row["glob"]):
            return row
    raise DataError(
        f"{relative}: no row of corpusreg/data/collections.csv covers it; "
        "install the music21 version that corpusreg asks for"
    )


@lru_cache(maxsize=16_384)
def work_row(relative: str) -> dict[str, str]:
    """What is known of a single bundled work; every cell '' when nothing is."""
    table = rows("works.csv")
    for row in table:
        if fnmatchcase(relative, row["glob"]):
            return row
    return dict.fromkeys(table[0], "")
