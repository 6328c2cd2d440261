"""The tables as Python sees them: columns, types, order of rows, and checked loading."""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from corpusreg.store import sql
from corpusreg.system.errors import DataError

if TYPE_CHECKING:
    import duckdb
    from numpy.typing import NDArray

__all__ = [
    "EXTRACTED", "ORDER", "Rows", "arrays", "checked", "columns", "insert", "names",
    "printable",
]  # fmt: skip

# Rows of one file by table, each in the order of the table's columns.
Rows = dict[str, list[tuple[Any, ...]]]

# Order of rows in a published table; unique, so that equal input gives equal files.
ORDER: Mapping[str, str] = {
    "works": "work",
    "parts": "work, part",
    "measures": "work, name",
    "measures_rebarred": "work, bars, name",
    "stays": "work, part NULLS FIRST, stay",
    "shifts": "work, shift",
    "events": "work, part NULLS FIRST, event",
    "bar_edges": "work",
    "saturation": "work, stay NULLS FIRST, band",
    "band_weights": "work, band",
    "pitch_weights": "work, pitch",
    "curves": "work, part",
    "shingles": "work, shingle",
    "work_columns": "work, name",
    "part_pitches": "work, part, pitch",
    "steps": "work, part, step",
    "skips": "work, part, place",
    "part_gaps": "work, upper",
    "bass_gaps": "work, bass, gap",
    "phrases": "work, phrase",
    "failures": "corpus, path, number, stage, reason",
}
# The tables that extraction fills.
EXTRACTED = tuple(ORDER)

_PYTHON_TYPES: Mapping[str, frozenset[type]] = {
    "VARCHAR": frozenset({str}),
    "INTEGER": frozenset({int}),
    "BIGINT": frozenset({int}),
    "UBIGINT": frozenset({int}),
    "DOUBLE": frozenset({float, int}),
    "BOOLEAN": frozenset({bool}),
}
_NUMPY_TYPES: Mapping[str, str] = {
    "INTEGER": "int32",
    "BIGINT": "int64",
    "UBIGINT": "uint64",
    "DOUBLE": "float64",
    "BOOLEAN": "bool",
}
_WHOLE: Mapping[str, tuple[int, int]] = {
    "INTEGER": (-(2**31), 2**31 - 1),
    "BIGINT": (-(2**63), 2**63 - 1),
    "UBIGINT": (0, 2**64 - 1),
}
_TABLE = re.compile(r"^CREATE TABLE (\w+) \((.*?)^\);", re.MULTILINE | re.DOTALL)


def columns(table: str) -> Mapping[str, str]:
    """Column names and DuckDB types of a table, in order.

    Raises DataError for a table that is not in the schema.
    """
    if table not in _schema():
        raise DataError(f"there is no table '{table}' in the schema")
    return _schema()[table]


def names() -> tuple[str, ...]:
    """The tables of the schema, in its order."""
    return tuple(_schema())


@functools.cache
def _schema() -> dict[str, dict[str, str]]:
    """Column names and types by table."""
    return {
        name: {
            words[0].strip('"'): words[1].rstrip(",")
            for words in (line.split() for line in body.strip().splitlines())
        }
        for name, body in _TABLE.findall(sql.load("schema"))
    }


def checked(rows: Mapping[str, Sequence[tuple[Any, ...]]]) -> Rows:
    """Rows with plain Python values of the types of their columns.

    Scalars of numpy become Python's; text that is not valid Unicode is escaped.
    Raises DataError for an unknown table, a row of another length, a value of
    another type, NaN or infinity.
    """
    return {table: _checked_table(table, list(part)) for table, part in rows.items() if part}


def arrays(table: str, rows: Sequence[tuple[Any, ...]]) -> dict[str, NDArray[Any]]:
    """Checked rows as one array a column, shape (rows,); what is NULL is masked.

    Columns of text and lists are arrays of objects.
    """
    return {
        name: _array(kind, column)
        for (name, kind), column in zip(
            columns(table).items(), zip(*rows, strict=True), strict=True
        )
    }


def _array(kind: str, column: Sequence[Any]) -> NDArray[Any]:
    plain = _NUMPY_TYPES.get(kind)
    if plain is None:
        found = np.empty(len(column), object)
        found[:] = column
        return found
    if None not in column:
        return np.array(column, plain)
    absent = [value is None for value in column]
    filled = [0 if value is None else value for value in column]
    return np.ma.array(np.array(filled, plain), mask=absent)


def insert(
    connection: duckdb.DuckDBPyConnection, table: str, rows: Sequence[tuple[Any, ...]]
) -> None:
    """Append checked rows to a table of the present database."""
    if not rows:
        return
    values = ", ".join(
        f"unnest(${number}::{kind}[])"
        for number, kind in enumerate(columns(table).values(), start=1)
    )
    connection.execute(
        f"INSERT INTO {table} SELECT {values}",
        [list(column) for column in zip(*rows, strict=True)],
    )


def printable(text: str) -> str:
    """Text that every database and terminal takes: lone surrogates escaped."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _checked_table(table: str, rows: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    kinds = columns(table)
    for row in rows:
        if len(row) != len(kinds):
            raise DataError(
                f"{table}: {len(row)} values for {len(kinds)} columns, in the row of {row[0]}"
            )
    return list(
        zip(
            *(
                _checked_column(f"{table}.{name}", kind, column)
                for (name, kind), column in zip(
                    kinds.items(), zip(*rows, strict=True), strict=True
                )
            ),
            strict=True,
        )
    )


def _checked_column(name: str, kind: str, column: Sequence[Any]) -> Sequence[Any]:
    if kind.endswith("[]"):
        return [
            None if value is None else list(_checked_column(name, kind[:-2], list(value)))
            for value in column
        ]
    allowed = _PYTHON_TYPES[kind] | {type(None)}
    if not allowed.issuperset(map(type, column)):
        column = [value.item() if hasattr(value, "item") else value for value in column]
        for value in column:
            if type(value) not in allowed:
                raise DataError(f"{name}: {value!r} is no {kind}")
    if kind in _WHOLE:
        low, high = _WHOLE[kind]
        for value in column:
            if value is not None and not low <= value <= high:
                raise DataError(f"{name}: {value} is too large for {kind}")
    if kind == "DOUBLE" and not _finite(column):
        raise DataError(f"{name}: not a finite number; store None with a reason")
    if kind == "VARCHAR" and not _encodable(column):
        return [None if text is None else printable(text) for text in column]
    return column


def _finite(column: Sequence[float | None]) -> bool:
    # A difference with itself is 0 for every finite number and NaN for the others.
    return all(value is None or value - value == 0 for value in column)


def _encodable(column: Sequence[str | None]) -> bool:
    try:
        "".join(text for text in column if text is not None).encode()
    except UnicodeEncodeError:
        return False
    return True
