"""References as plain Parquet for R, pandas and DuckDB: written whole, read with checks.

One file a table under the names and types of queries/store/schema.sql, and SCHEMA.md, which
says what each column means. What is read is checked against the schema and put in force
like a build; nothing is ever mixed with what was made by other definitions.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corpusreg.store import door, packing, sql
from corpusreg.store.publish import free_name, remove_drafts, switch
from corpusreg.store.tables import ORDER, columns, names
from corpusreg.system import settings
from corpusreg.system.errors import UsageError
from corpusreg.system.plaintext import listed

if TYPE_CHECKING:
    import duckdb

__all__ = ["parquet", "read", "write"]

_COMMENT = re.compile(
    r"^COMMENT ON (TABLE|COLUMN) ([\w.\"]+) IS\s+'((?:[^']|'')*)';$", re.MULTILINE
)


def write(path: Path, packed: Path | None, title: str, folder: Path) -> None:
    """Write all tables of a reference into a new folder.

    path: the published file. packed: the folder of the packed reference that it was made on
    top of, or `path` itself where nothing was added. title: heads the page on the columns.
    """
    with door.storing(f"{folder}"):
        folder.mkdir(parents=True)
        connection = door.working(folder / "spill")
        try:
            if packed is None:
                connection.execute(f"ATTACH '{_quoted(path)}' AS source (READ_ONLY)")
                connection.execute("USE source")
            else:
                own = path if path != packed else None
                for statement in packing.statements(packed, own):
                    connection.execute(statement)
            for table in (*names(), "matrix"):
                order = f" ORDER BY {ORDER[table]}" if table in ORDER else ""
                connection.execute(
                    f"COPY (FROM {table}{order}) TO '{_quoted(folder / table)}.parquet' "
                    "(FORMAT parquet, COMPRESSION zstd)"
                )
        finally:
            connection.close()
            shutil.rmtree(folder / "spill", ignore_errors=True)
        (folder / "SCHEMA.md").write_text(_page(title), encoding="utf-8")


def parquet(names: Sequence[str], rows: Sequence[Sequence[Any]]) -> bytes:
    """A table of an answer as a Parquet file; numbers stay numbers, lists become text."""
    kinds = [_type([row[place] for row in rows]) for place in range(len(names))]
    columns = ", ".join(
        f'"{name.replace(chr(34), "")}" {kind}' for name, kind in zip(names, kinds, strict=True)
    )
    with tempfile.TemporaryDirectory() as folder, door.storing(folder):
        file = Path(folder) / "table.parquet"
        connection = door.working()
        try:
            connection.execute(f"CREATE TABLE found ({columns})")
            if rows:
                connection.executemany(
                    f"INSERT INTO found VALUES ({', '.join('?' * len(names))})",
                    [list(map(listed, row)) for row in rows],
                )
            connection.execute(f"COPY found TO '{_quoted(file)}' (FORMAT parquet)")
        finally:
            connection.close()
        return file.read_bytes()


def _type(values: Sequence[Any]) -> str:
    known = [value for value in values if value is not None]
    for kind, types in (("BOOLEAN", bool), ("BIGINT", int), ("DOUBLE", int | float)):
        if known and all(isinstance(value, types) for value in known):
            return kind
    return "VARCHAR"


def read(folder: Path, into: Path, version: str) -> Path:
    """Publish what lies in a folder; see `building.reference.import_reference`."""
    missing = [t for t in (*names(), "matrix") if not (folder / f"{t}.parquet").is_file()]
    if missing:
        raise UsageError(
            f"{folder} is not an exported reference: no {missing[0]}.parquet in it"
        )
    draft = into / f"building-import-{os.getpid()}.duckdb"
    try:
        with door.storing(f"{into}"):
            into.mkdir(parents=True, exist_ok=True)
            remove_drafts(into)
            connection = door.working(draft.with_suffix(".spill"))
        try:
            name = _filled(connection, draft, folder, version)
        finally:
            connection.close()
        with door.storing(f"{into}"):
            return switch(draft, into / f"{free_name(into, name)}.duckdb")
    finally:
        remove_drafts(into)


def _filled(
    connection: duckdb.DuckDBPyConnection, draft: Path, folder: Path, version: str
) -> str:
    """Fill a draft with the tables of a folder; returns the name of the reference."""
    with door.storing(f"{draft}"):
        connection.execute(
            f"ATTACH '{_quoted(draft)}' AS draft (STORAGE_VERSION '{settings.STORAGE_VERSION}')"
        )
        connection.execute("USE draft")
        connection.execute("BEGIN")
        connection.execute(sql.load("schema"))
    for table in names():
        _take(connection, table, folder / f"{table}.parquet")
    with door.storing(f"{draft}"):
        connection.execute("COMMIT")
    row = connection.execute(sql.load("build")).fetchone()
    made_by = (row[2], row[3]) if row else ("none", "none")
    if made_by != (version, settings.SCHEMA_VERSION) or row is None:
        raise UsageError(
            f"{folder} was made by definitions {made_by[0]} with tables {made_by[1]}, and "
            f"this corpusreg has {version} and {settings.SCHEMA_VERSION}; measure the scores "
            "again with this version"
        )
    with door.storing(f"{draft}"):
        matrix = _quoted(folder / "matrix.parquet")
        connection.execute(f"CREATE TABLE matrix AS FROM read_parquet('{matrix}')")
        connection.execute(sql.load("matrix_comment"))
        # All of it is in this file now, and it stands on nothing else.
        made_of = json.loads(row[6])
        made_of.pop("on_top_of", None)
        connection.execute("UPDATE builds SET settings = $1", [json.dumps(made_of)])
        connection.execute("CHECKPOINT draft")
        connection.execute("USE memory")
        connection.execute("DETACH draft")
    return f"reference-{row[4]}"


def _take(connection: duckdb.DuckDBPyConnection, table: str, path: Path) -> None:
    wanted = columns(table)
    with door.translated():
        found = connection.execute(
            f"DESCRIBE SELECT * FROM read_parquet('{_quoted(path)}')"
        ).fetchall()
    there = [row[0] for row in found]
    if there != list(wanted):
        other = next(
            (name for name in wanted if name not in there), "they are in another order"
        )
        raise UsageError(f"{path}: the columns are not those of '{table}' ({other})")
    with door.translated():
        cast = ", ".join(f'CAST("{name}" AS {kind})' for name, kind in wanted.items())
        connection.execute(
            f"INSERT INTO {table} SELECT {cast} FROM read_parquet('{_quoted(path)}')"
        )


def _quoted(path: Path) -> str:
    return str(path).replace("'", "''")


def _page(title: str) -> str:
    """What each table and column means, as Markdown."""
    lines = [
        f"# {title}",
        "",
        "One Parquet file a table; `matrix` has every work that counts with its measures side "
        "by side. Pitch is the MIDI note number (middle C = 60).",
    ]
    for what, name, words in _COMMENT.findall(sql.load("schema")):
        said = words.replace("''", "'")
        if what == "TABLE":
            lines += ["", f"## {name}", "", said, "", "| column | meaning |", "| --- | --- |"]
        else:
            column = name.partition(".")[2].strip('"')
            lines.append(f"| {column} | {said.replace('|', '/')} |")
    return "\n".join([*lines, ""])
