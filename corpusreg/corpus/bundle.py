"""What is known of the bundled collections and of single works in them, as data.

data/collections.csv has one row a collection: glob, id, name, what it is, tier with
statement and evidence, composer id, genre, ensemble hint, cluster, region, years.
data/works.csv has what is known of single works, and overrides their collection.
In both the first row whose glob matches the relative path counts; '*' also matches '/'.
"""

from __future__ import annotations

from fnmatch import fnmatchcase
from functools import lru_cache

from corpusreg.corpus.tables import rows
from corpusreg.system.errors import DataError

__all__ = ["collection_of", "work_row"]


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
