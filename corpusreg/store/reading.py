"""Reading the reference in force: arrays for the program, rows for people's queries."""

from __future__ import annotations

import json
import re
import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

import numpy as np

from corpusreg.measures import definitions
from corpusreg.store import door, packing, sql
from corpusreg.system import isolate, settings
from corpusreg.system.errors import StoreError, UsageError

if TYPE_CHECKING:
    import duckdb
    from numpy.typing import NDArray

__all__ = [
    "Reference", "Result", "columns_of", "kept_reference", "open_reference", "pointed", "ships",
]  # fmt: skip

_READING_STATEMENTS = ("SELECT", "EXPLAIN")
# The limit of memory holds for the database; rows in Python take many times their room there.
_MOST_VALUES = 10_000_000
_MOST_BYTES = 100_000_000  # of text and the like in all values
_APART = isolate.Limits(cpu_seconds=300, wall_seconds=600, memory=1_000_000_000, room=10**9)
_PIECE = 10_000  # rows fetched at once: between pieces an interrupt is heard
_KEPT, _KEPT_BYTES = 100, 4_000_000  # answers kept for the next piece, and bytes of each


@dataclass(frozen=True)
class Result:
    """Rows of a query: column names, DuckDB types, and tuples of Python values."""

    names: tuple[str, ...]
    types: tuple[str, ...]
    rows: list[tuple[Any, ...]]


class Reference:
    """An open reference, read-only. Close it, or use it in a with block.

    It is a published file, or the packed reference that ships with what the user has added.
    build, tool, definitions, schema, reference_id, works: as in the builds
    table; settings, libraries: decoded from there.
    """

    def __init__(self, path: Path, packed: Path | None = None) -> None:
        """Open a file, or a packed reference and the file that was made on top of it.

        path: the file; the packed folder itself where nothing was added. Raises StoreError
        when one of them is missing, held, damaged or no reference.
        """
        self.path, self._packed = path, packed
        self._pending: dict[str, tuple[str, ...]] = {}
        self._kept: OrderedDict[str, dict[str, NDArray[Any]]] = OrderedDict()
        if packed is None:
            self._connection = door.reading(path)
        else:
            self._pending = packing.views(packed, path if path != packed else None)
            self._connection = door.packed(self._pending.pop(packing.FIRST), packed)
        try:
            self._show("builds")
            with door.storing(f"{path}", damaged=True):
                row = self._connection.execute(sql.load("build")).fetchone()
            if row is None:
                raise StoreError(f"{path} says nothing about its build; {door.REBUILD}")
        except StoreError:
            self.close()
            raise
        self.build: str = row[0]
        self.tool: str = row[1]
        self.definitions: str = row[2]
        self.schema: str = row[3]
        self.reference_id: str = row[4]
        self.works: int = row[5]
        if packed is not None and path != packed:
            self.works += int(packing.about(packed).get("works", 0))
        self.settings: dict[str, Any] = json.loads(row[6])
        self.libraries: dict[str, str | None] = json.loads(row[7])

    def __reduce__(self) -> tuple[type[Reference], tuple[Path, Path | None]]:
        """In another process it is opened again."""
        return Reference, (self.path, self._packed)

    def fetch_columns(
        self, text: str, params: Mapping[str, object] | Sequence[object] | None = None
    ) -> dict[str, NDArray[Any]]:
        """Result columns of a statement of corpusreg's own as arrays, shape (rows,).

        Numbers with NULL become float64 with NaN; text and booleans with NULL
        become object arrays with None. The arrays are read-only: the pieces of a class ask
        the same, and are given the same. Raises StoreError when the file is damaged.
        """
        asked = f"{text}\0{params}"
        found = self._kept.pop(asked, None)
        if found is None:
            self._show(text)
            with door.storing(f"{self.path}", damaged=True):
                found = columns_of(self._connection.execute(text, params))
            for values in found.values():
                values.setflags(write=False)
        if sum(values.nbytes for values in found.values()) <= _KEPT_BYTES:
            self._kept[asked] = found
        while len(self._kept) > _KEPT:
            self._kept.popitem(last=False)
        return found

    def thinned(self, text: str) -> tuple[str, ...]:
        """What is only in part there of the tables in a statement: one phrase each."""
        if self._packed is None:
            return ()
        statement = re.sub(r"--.*", "", text)
        made = set(re.findall(r"(?i)\b(\w+) AS (?:NOT )?(?:MATERIALIZED )?\(", statement))
        named = set(re.findall(r"(?i)\b(?:from|join)\s+(\w+)", statement)) - made
        return tuple(words for table, words in packing.THINNED.items() if table in named)

    def query(self, text: str, params: Mapping[str, object] | None = None) -> Result:
        """Rows of one reading statement written by a user.

        params: a value for every `$name` in it. A keyboard interrupt stops the
        statement at once. Raises UsageError, in one line, for a statement that
        is wrong, is not alone, does more than read, or needs too much memory.
        """
        self._show(text)
        if self._packed is not None:
            for table in sorted(packing.LEFT_AT_HOME & set(re.findall(r"\w+", text))):
                raise UsageError(
                    f"query: '{table}' does not come with corpusreg, since it is too large; "
                    "'corpusreg extract bundled', or 'corpusreg extract FOLDER', makes a "
                    "reference that has it"
                )
        with door.translated():
            _check_statement(text)
            return _interruptible(self._connection, text, dict(params or {}))

    def query_apart(self, text: str, params: Mapping[str, object] | None = None) -> Result:
        """`query` in a bounded child, for a statement that may want any time and memory.

        The database's own limit holds only for part of what a statement needs. Raises as
        `query` does, UsageError also where the child was ended.
        """
        try:
            result: Result = isolate.call(_answered, (self, text, dict(params or {})), _APART)
        except isolate.StoppedError as error:
            raise UsageError(
                f"query: {error}; take fewer rows, or open the reference with a DuckDB client"
            ) from error
        return result

    def _show(self, text: str) -> None:
        """Make the tables that a statement names, or all where it asks which there are."""
        if not self._pending:
            return
        words = set(re.findall(r"\w+", text.casefold()))
        every = any("duckdb_" in word or "_schema" in word for word in words) or (
            {"show", "describe", "summarize"} & words
        )
        with door.storing(f"{self.path}", damaged=True):
            for table in list(self._pending):
                if every or table in words:
                    self._make(table)

    def _make(self, table: str) -> None:
        for other in packing.NEEDS.get(table, ()):
            self._make(other)
        for statement in self._pending.pop(table, ()):
            self._connection.execute(statement)

    def close(self) -> None:
        """Close the file; closing twice is no error."""
        self._connection.close()

    def __enter__(self) -> Reference:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def _answered(asked: tuple[Reference, str, dict[str, object]]) -> Result:
    reference, text, params = asked
    with reference:
        return reference.query(text, params)


def pointer(folder: Path) -> Path:
    """The file in a folder of references that names the one in force; it need not exist.

    Raises StoreError where a folder is in its place, or the folder may not be entered.
    """
    path = folder / "current"
    try:
        taken = path.is_dir()
    except OSError as error:
        raise StoreError(f"{path} cannot be read ({error.strerror})") from error
    if taken:
        raise StoreError(
            f"{path} is a folder, where the name of the reference in force should be; "
            "move it away, then run 'corpusreg extract'"
        )
    return path


def pointed(folder: Path) -> Path | None:
    """The file that the pointer names, or None where nothing was published.

    Raises StoreError when the pointer cannot be read or names no reference.
    """
    path = pointer(folder)
    try:
        name = path.read_text(encoding="utf-8").strip()
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise StoreError(f"{path} cannot be read ({error}); {door.REBUILD}") from error
    if not name.startswith("reference-") or Path(name).name != name:
        raise StoreError(f"{path} names no reference; {door.REBUILD}")
    return folder / name


def open_reference(folder: Path | None = None) -> Reference:
    """Open the reference in force: what was published last, else the one that ships.

    folder: default `settings.reference_folder()`. Raises StoreError when there
    is none, when it is held for writing or damaged, and when it was made by
    other definitions or has other tables.
    """
    folder = folder or settings.reference_folder()
    path = pointed(folder)
    if path is None:
        if not ships():
            raise StoreError(f"no reference in {folder}; run 'corpusreg extract' to make one")
        path = settings.packed_folder()
        reference = Reference(path, path)
    else:
        try:
            reference = _published(path)
        except StoreError:
            # A build may have put another in force, and removed this one, just now.
            newer = pointed(folder)
            if newer is None or newer == path:
                raise
            reference = _published(newer)
    for what, found, expected in (
        ("tables of version", reference.schema, settings.SCHEMA_VERSION),
        ("definitions of version", reference.definitions, definitions.VERSION),
    ):
        if found != expected:
            reference.close()
            raise StoreError(
                f"{reference.path} has {what} {found}, expected {expected}; {door.REBUILD}"
            )
    return reference


def kept_reference() -> Reference:
    """The reference in force, which a worker opens once and keeps until another is in force."""
    return _kept(settings.reference_folder(), pointed(settings.reference_folder()))


@lru_cache(maxsize=1)
def _kept(folder: Path, _: Path | None) -> Reference:
    return open_reference(folder)


def ships() -> bool:
    """Whether a reference came with this installation."""
    return (settings.packed_folder() / packing.ABOUT).is_file()


def _published(path: Path) -> Reference:
    """A published reference, with the packed one under it where it was made on top of that."""
    reference = Reference(path)
    below = reference.settings.get("on_top_of")
    if below is None:
        return reference
    reference.close()
    packed = settings.packed_folder()
    here = packing.about(packed).get("reference") if ships() else None
    if here != below:
        raise StoreError(
            f"{path} was made on top of the reference {below}, and this installation has "
            f"{here or 'none'}; run 'corpusreg extract' to make it again"
        )
    return Reference(path, packed)


def columns_of(connection: duckdb.DuckDBPyConnection) -> dict[str, NDArray[Any]]:
    """The columns of an executed statement; see `Reference.fetch_columns`."""
    return {name: _unmasked(values) for name, values in connection.fetchnumpy().items()}


def _unmasked(values: Any) -> NDArray[Any]:
    if not isinstance(values, np.ma.MaskedArray):
        return np.asarray(values)
    if not np.ma.is_masked(values):
        return np.asarray(values.data)
    numeric = values.dtype.kind in "iuf"
    filled: NDArray[Any] = np.asarray(values.data).astype(np.float64 if numeric else object)
    filler: Any = np.nan if numeric else None
    filled[np.ma.getmaskarray(values)] = filler
    return filled


def _rows(connection: duckdb.DuckDBPyConnection, width: int) -> list[tuple[Any, ...]]:
    rows: list[tuple[Any, ...]] = []
    size = 0
    while piece := connection.fetchmany(_PIECE):
        rows += piece
        size += sum(_size(value) for row in piece for value in row)
        if size > _MOST_BYTES:
            raise UsageError(
                f"query: gives more than {_MOST_BYTES >> 20} MB of text; take fewer rows or "
                "columns, or open the reference with a DuckDB client"
            )
        if len(rows) * width > _MOST_VALUES:
            raise UsageError(
                f"query: gives more than {_MOST_VALUES:,} values; take fewer rows or columns, "
                "or open the reference with a DuckDB client"
            )
    return rows


def _size(value: Any) -> int:
    """Bytes of a value, about; numbers are counted one by one elsewhere."""
    if isinstance(value, str | bytes):
        return len(value)
    if isinstance(value, dict):
        return sum(map(_size, value.keys())) + sum(map(_size, value.values()))
    if isinstance(value, list | tuple):
        return 8 * len(value) + sum(map(_size, value))
    return 0


def _check_statement(text: str) -> None:
    import duckdb

    statements = duckdb.extract_statements(text)
    if len(statements) != 1:
        raise UsageError(f"query: one statement is expected, {len(statements)} were found")
    kind = statements[0].type.name
    if kind not in _READING_STATEMENTS:
        raise UsageError(f"query: {kind} is not allowed, only SELECT and what reads like it")


def _interruptible(
    connection: duckdb.DuckDBPyConnection, text: str, params: dict[str, object]
) -> Result:
    """Run a statement in a thread, so that an interrupt reaches it while it runs."""
    results: list[Result] = []
    errors: list[BaseException] = []
    # An event and not Thread.join, which an interrupt can leave believing that
    # a running thread has ended.
    done = threading.Event()

    def run() -> None:
        try:
            found = connection.execute(text, params)
            columns = found.description or []
            names = tuple(column[0] for column in columns)
            types = tuple(str(column[1]) for column in columns)
            results.append(Result(names, types, _rows(found, len(names))))
        except BaseException as error:  # noqa: BLE001 - raised again by the caller
            errors.append(error)
        finally:
            done.set()

    threading.Thread(target=run, daemon=True).start()
    try:
        while not done.wait(0.1):
            pass
    except KeyboardInterrupt:
        # Again and again: the statement may not have begun yet.
        connection.interrupt()
        while not done.wait(0.1):
            connection.interrupt()
        raise
    if errors:
        raise errors[0]
    return results[0]
