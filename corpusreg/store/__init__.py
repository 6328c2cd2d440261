"""The only door to DuckDB and Parquet: shards in, a reference out, and reading it.

door        connections and their errors
tables      columns, types and order of the tables, checked loading
shards      rows of finished files on disk
publish     a new reference from shards, switched in as a whole
reading     the reference in force
packing     the form in which a reference ships
lock        one build at a time

DuckDB itself is imported when the first connection is made.
"""

from __future__ import annotations

from corpusreg.store.publish import Draft, inputs, publish, withdraw
from corpusreg.store.reading import (
    Reference,
    Result,
    kept_reference,
    open_reference,
    pointed,
    pointer,
    ships,
)
from corpusreg.store.shards import (
    Batch,
    BatchLimits,
    Recipe,
    Shards,
    UnlabelledShard,
    survey,
)
from corpusreg.store.tables import EXTRACTED, Rows, columns

__all__ = [
    "EXTRACTED", "Batch", "BatchLimits", "Draft", "Recipe", "Reference", "Result", "Rows",
    "Shards", "UnlabelledShard", "columns", "inputs", "kept_reference", "open_reference",
    "pointed", "pointer", "publish", "ships", "survey", "withdraw",
]  # fmt: skip
