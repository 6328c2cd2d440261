"""Publishing: a new reference from shards, switched in as a whole.

A reference is one DuckDB file that is never changed once it is there. It is
built under another name, closed without a log beside it, flushed, renamed, and
then the pointer file `current` is replaced; a reader sees the old one or the
new one. Whatever goes wrong before the pointer is replaced leaves the old
reference in force.
"""

from __future__ import annotations

import contextlib
import dataclasses
import datetime
import hashlib
import importlib.metadata
import json
import os
import shutil
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corpusreg.measures import definitions
from corpusreg.store import door, sql
from corpusreg.store.reading import columns_of
from corpusreg.store.shards import Shards
from corpusreg.store.tables import EXTRACTED, ORDER, checked, columns, insert, printable
from corpusreg.system import settings
from corpusreg.system.errors import StoreError
from corpusreg.system.writing import flush, flush_folder, replace_text

if TYPE_CHECKING:
    import duckdb
    from numpy.typing import NDArray

__all__ = ["Draft", "free_name", "inputs", "publish", "remove_drafts", "switch", "withdraw"]

_LIBRARIES = ("duckdb", "lxml", "lytk", "mido", "music21", "numpy")


class Draft:
    """A reference being built, as the step before closing sees it."""

    def __init__(self, connection: duckdb.DuckDBPyConnection) -> None:
        self._connection = connection

    def fetch_columns(
        self, text: str, params: Mapping[str, object] | Sequence[object] | None = None
    ) -> dict[str, NDArray[Any]]:
        """Result columns as arrays, shape (rows,); see `reading.Reference.fetch_columns`."""
        return columns_of(self._connection.execute(text, params))

    def execute(self, text: str, params: object = None) -> None:
        """Run one statement that changes the draft, such as an UPDATE."""
        self._connection.execute(text, params)

    def insert(self, table: str, rows: Sequence[tuple[Any, ...]]) -> None:
        """Append rows in the order of the table's columns.

        Raises DataError when they do not fit the table.
        """
        insert(self._connection, table, checked({table: rows}).get(table, []))


def publish(
    shards: Shards,
    files: Iterable[tuple[str, str, str]],
    *,
    folder: Path | None = None,
    tables: Mapping[str, Sequence[tuple[Any, ...]]] | None = None,
    finish: Callable[[Draft], None] | None = None,
    started: datetime.datetime | None = None,
    made_of: Mapping[str, Any] | None = None,
) -> Path:
    """Build a reference of `files` from shards and put it in force; returns its path.

    files: (corpus, path, content hash) of every file it is to hold; each must
    have been measured. folder: default `settings.reference_folder()`. tables:
    further rows by table, such as corpora. finish: called with the Draft when
    all works are in, to add what depends on all of them. started: when the
    build began, UTC, for the builds table. made_of: added to builds.settings, which
    says what went into the reference. The caller holds the build lock.

    Raises StoreError when files lack rows or something cannot be written, and
    lets errors of `finish` through; the reference in force stays in both cases.
    """
    folder = folder or settings.reference_folder()
    began = time.monotonic()
    started = started or datetime.datetime.now(datetime.UTC)
    wanted = list(files)
    if missing := shards.missing(wanted):
        raise StoreError(
            f"{len(missing)} files have not been measured, first {':'.join(missing[0][:2])}; "
            "run 'corpusreg extract'"
        )
    draft = folder / f"building-{os.getpid()}.duckdb"
    spill = draft.with_suffix(".spill")
    with door.storing(f"{folder}"):
        folder.mkdir(parents=True, exist_ok=True)
        remove_drafts(folder)
    try:
        with door.storing(f"{draft}"):
            connection = door.working(spill)
        try:
            with door.storing(f"{draft}"):
                _fill(connection, draft, shards, wanted, tables or {})
            if finish is not None:
                with door.storing(f"{draft}"):
                    finish(Draft(connection))
            with door.storing(f"{draft}"):
                name = _close(connection, folder, shards, made_of or {}, started, began)
        finally:
            connection.close()
        with door.storing(f"{folder}"):
            return switch(draft, folder / f"{name}.duckdb")
    finally:
        remove_drafts(folder)


def inputs(
    shards: Shards, files: Iterable[tuple[str, str, str]], made_of: Mapping[str, Any]
) -> str:
    """Hash of all that a reference depends on, 32 hexadecimal digits.

    files: as for `publish`. made_of: whatever else goes into it, as JSON takes it.
    """
    found = sorted(
        (corpus, printable(path), content, shards.entries[corpus, printable(path)].shard)
        for corpus, path, content in files
    )
    libraries = [_version(name) for name in ("corpusreg", "scikit-learn", *_LIBRARIES)]
    said = [settings.SCHEMA_VERSION, shards.recipe.key, libraries, dict(made_of), found]
    text = json.dumps(said, sort_keys=True)
    return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()


def _fill(
    connection: duckdb.DuckDBPyConnection,
    draft: Path,
    shards: Shards,
    wanted: Sequence[tuple[str, str, str]],
    tables: Mapping[str, Sequence[tuple[Any, ...]]],
) -> None:
    """All tables that come from shards and from the caller, in a new database file."""
    place = str(draft).replace("'", "''")
    connection.execute(
        f"ATTACH '{place}' AS draft (STORAGE_VERSION '{settings.STORAGE_VERSION}')"
    )
    connection.execute("USE draft")
    # In one transaction: each statement alone would wait for the disk.
    connection.execute("BEGIN")
    connection.execute(sql.load("schema"))
    files = [(corpus, printable(path)) for corpus, path, _ in wanted]
    connection.execute(
        sql.load("wanted"),
        {
            "corpora": [corpus for corpus, _ in files],
            "paths": [path for _, path in files],
            "shards": [shards.entries[file].shard for file in files],
        },
    )
    _take_shards(connection, shards)
    measures = [dataclasses.astuple(measure) for measure in definitions.MEASURES]
    for table, part in {"definitions": measures, **tables}.items():
        insert(connection, table, checked({table: part}).get(table, []))
    connection.execute("COMMIT")


def _take_shards(connection: duckdb.DuckDBPyConnection, shards: Shards) -> None:
    works = shards.table_files("works")
    if works:
        connection.execute(sql.load("chosen"), {"files": works})
    for table in EXTRACTED:
        files = shards.table_files(table)
        if not files or (table != "failures" and not works):
            continue
        by_file = table in ("works", "failures")
        statement = sql.load("take").format(
            table=table,
            columns=", ".join(f'"{column}"' for column in columns(table)),
            wanted="wanted" if by_file else "chosen",
            by="corpus, path" if by_file else "work",
            order=ORDER[table],
        )
        connection.execute(statement, {"files": files})


def _close(
    connection: duckdb.DuckDBPyConnection,
    folder: Path,
    shards: Shards,
    made_of: Mapping[str, Any],
    started: datetime.datetime,
    began: float,
) -> str:
    """Write the builds row and close the file; returns the name of the build."""
    reference_id = _reference_id(connection, shards)
    name = free_name(folder, f"reference-{reference_id}")
    works = connection.execute("SELECT count(*) FROM works").fetchall()[0][0]
    recipe = shards.recipe
    build = (
        name,
        started.replace(tzinfo=None),
        datetime.datetime.now(datetime.UTC).replace(tzinfo=None),
        _version("corpusreg") or "unknown",
        recipe.definitions,
        settings.SCHEMA_VERSION,
        json.dumps({**recipe.settings, **made_of}, sort_keys=True),
        json.dumps({name: _version(name) for name in _LIBRARIES}),
        reference_id,
        works,
        time.monotonic() - began,
    )
    insert(connection, "builds", [build])
    connection.execute("CHECKPOINT draft")
    connection.execute("USE memory")
    connection.execute("DETACH draft")
    return name


def _reference_id(connection: duckdb.DuckDBPyConnection, shards: Shards) -> str:
    """Hash of works, definitions and settings, 16 hexadecimal digits."""
    digest = hashlib.blake2b(f"{shards.recipe.key}\n".encode(), digest_size=8)
    found = connection.execute(sql.load("identity"))
    while part := found.fetchmany(10_000):
        digest.update(json.dumps(part).encode())
    return digest.hexdigest()


def free_name(folder: Path, stem: str) -> str:
    """The stem, or with a number: the same works may have been published before."""
    name, number = stem, 1
    while (folder / f"{name}.duckdb").exists():
        number += 1
        name = f"{stem}-{number}"
    return name


def switch(draft: Path, final: Path) -> Path:
    """Rename the closed draft and point to it; then old versions go where they can."""
    log = draft.with_name(f"{draft.name}.wal")
    if log.exists():
        raise StoreError(f"{log} is left over from the build; run 'corpusreg extract' again")
    flush(draft)
    draft.replace(final)
    flush_folder(final.parent)
    replace_text(final.parent / "current", f"{final.name}\n")
    for old in final.parent.glob("reference-*.duckdb"):
        if old != final:
            # On Windows an open file cannot go; it goes with a later build.
            with contextlib.suppress(OSError):
                old.unlink()
    return final


def withdraw(folder: Path) -> None:
    """Take what was published out of force, so that the reference that ships is in force.

    Raises StoreError where the folder cannot be written.
    """
    with door.storing(f"{folder}"):
        (folder / "current").unlink(missing_ok=True)
    for old in folder.glob("reference-*.duckdb"):
        with contextlib.suppress(OSError):
            old.unlink()


def remove_drafts(folder: Path) -> None:
    """Remove what builds that were broken off have left."""
    for path in folder.glob("building-*"):
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            with contextlib.suppress(OSError):
                path.unlink()


def _version(library: str) -> str | None:
    try:
        return importlib.metadata.version(library)
    except importlib.metadata.PackageNotFoundError:
        return None
