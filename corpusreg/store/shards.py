"""Shards: rows of finished files, from which a reference is built.

A shard holds the rows of a batch of files: a folder `<name>` with a Parquet
file for each table, and `<name>.json`, its label. The name is random. Whoever has the
rows writes the folder, a worker or the parent (`Batch`); the parent alone writes labels
(`Shards`). A shard counts from the moment its label is renamed into place, after
everything else has reached the disk; what a crash leaves without a label is
rubbish, and at most the open batches are lost.

The label says which files the shard holds, with the hash of their content and
the recipe by which they were measured, so that a later run measures only what
is new or changed. Where two shards hold one file, the one written last counts.

    shards/
      4be9…/works.parquet, measures.parquet, …
      4be9….json        checksum, then {recipe, sequence, tables, files}
      fresh.json        while a fresh build is unfinished: where it began
      damaged/          shards that did not pass their checksums

Only the holder of the build lock, and workers on its behalf, may write here.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import time
import uuid
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any

from corpusreg.store import door, sql
from corpusreg.store.tables import EXTRACTED, Rows, arrays, checked, columns, printable
from corpusreg.system.errors import DataError
from corpusreg.system.writing import flush, flush_folder, replace_text

__all__ = ["Batch", "BatchLimits", "Recipe", "Shards", "UnlabelledShard", "file_hash", "survey"]


@dataclass(frozen=True)
class Recipe:
    """What the rows of a file depend on besides the file: a change measures it again.

    definitions: version of the definitions. extraction: version of readers and
    measuring code. settings: options that change what is measured.
    """

    definitions: str
    extraction: str
    settings: Mapping[str, Any] = field(default_factory=dict)

    @property
    def key(self) -> str:
        """Hash of the recipe, 16 hexadecimal digits."""
        return _hash([self.definitions, self.extraction, dict(self.settings)])[:16]


@dataclass(frozen=True)
class ShardEntry:
    """One measured file: where its rows are. A file that is not `final` is tried again."""

    content: str
    final: bool
    shard: str
    sequence: int


@dataclass(frozen=True)
class _Label:
    name: str
    recipe: str
    sequence: int
    tables: Mapping[str, str]  # file hash by table
    files: tuple[tuple[str, str, str, bool], ...]  # corpus, path, content, final


@dataclass(frozen=True)
class UnlabelledShard:
    """A shard that is on the disk and has no label yet.

    tables: hash of each table's file. files: (corpus, path, content, final).
    """

    name: str
    tables: Mapping[str, str]
    files: tuple[tuple[str, str, str, bool], ...]


@dataclass(frozen=True)
class BatchLimits:
    """A batch is full when it holds so many rows, or has been open so many seconds."""

    rows: int = 100_000
    seconds: float = 20.0


class Batch:
    """Rows of files on their way into one shard of `folder`."""

    def __init__(self, folder: Path, limits: BatchLimits | None = None) -> None:
        self._folder = folder
        self._limits = limits or BatchLimits()
        self._files: list[tuple[str, str, str, bool]] = []
        self._rows: Rows = {}
        self._opened = 0.0

    def add(
        self,
        corpus: str,
        path: str,
        content: str,
        rows: Mapping[str, Any],
        *,
        final: bool = True,
    ) -> None:
        """Take the rows of one file.

        Raises DataError, and takes nothing, when rows do not fit their tables.
        """
        path = printable(path)
        taken = checked(rows)
        _check_ids(corpus, path, taken)
        if not self._files:
            self._opened = time.monotonic()
        self._files.append((corpus, path, content, final))
        for table, part in taken.items():
            self._rows.setdefault(table, []).extend(part)

    @property
    def full(self) -> bool:
        """Whether it is time to write."""
        return bool(self._files) and (
            sum(map(len, self._rows.values())) >= self._limits.rows
            or time.monotonic() - self._opened >= self._limits.seconds
        )

    def write(self) -> UnlabelledShard | None:
        """Write what was added and begin anew; None where nothing was.

        Raises StoreError when it cannot be written; the batch is still there then.
        """
        if not self._files:
            return None
        name = uuid.uuid4().hex
        with door.storing(f"{self._folder}"):
            tables = _write_tables(self._folder / name, self._rows)
        written = UnlabelledShard(name, tables, tuple(self._files))
        self._files, self._rows = [], {}
        return written


class Shards:
    """The shards in one folder, as seen by one recipe.

    `damaged` names the shards that were found damaged and set aside.
    """

    def __init__(
        self,
        folder: Path,
        recipe: Recipe,
        *,
        fresh: bool = False,
        batches: BatchLimits | None = None,
        on_written: Callable[[str], None] | None = None,
    ) -> None:
        """Read and check the labels; `fresh` ignores what was measured before.

        batches: when they are full; a crash loses at most one of each worker.
        on_written: called with the name of every shard when it is whole.
        Raises StoreError when the folder cannot be written.
        """
        self.folder = folder
        self.recipe = recipe
        self.damaged: list[str] = []
        self.entries: dict[tuple[str, str], ShardEntry] = {}
        self.batches = batches or BatchLimits()
        self._on_written = on_written
        self._batch = Batch(folder, self.batches)
        with door.storing(f"{folder}"):
            folder.mkdir(parents=True, exist_ok=True)
            self._labels = self._read_labels()
            self._next = 1 + max((label.sequence for label in self._labels), default=0)
            self._floor = self._fresh_from(fresh)
        for label in sorted(self._labels, key=lambda label: label.sequence):
            self._enter(label)

    def known(self, corpus: str, path: str) -> ShardEntry | None:
        """The entry of a file if it was measured for good, whatever its content then."""
        entry = self.entries.get((corpus, printable(path)))
        return entry if entry is not None and entry.final else None

    def add(
        self,
        corpus: str,
        path: str,
        content: str,
        rows: Mapping[str, Any],
        *,
        final: bool = True,
    ) -> None:
        """Take the rows of one file; they are safe from the next `flush` on.

        Raises DataError, and takes nothing, when rows do not fit their tables.
        Raises StoreError when a full batch cannot be written.
        """
        self._batch.add(corpus, path, content, rows, final=final)
        if self._batch.full:
            self.flush()

    def flush(self) -> None:
        """Write the open batch as a shard. Raises StoreError when that fails."""
        written = self._batch.write()
        if written is not None:
            self.take(written)

    def take(self, written: UnlabelledShard) -> None:
        """Label a shard that lies in the folder. Raises StoreError when that fails."""
        label = _Label(written.name, self.recipe.key, self._next, written.tables, written.files)
        with door.storing(f"{self.folder}"):
            self._write_label(label)
        self._next += 1
        self._labels.append(label)
        self._enter(label)
        if self._on_written is not None:
            self._on_written(written.name)

    def missing(self, files: Iterable[tuple[str, str, str]]) -> list[tuple[str, str, str]]:
        """The (corpus, path, content) among `files` that have no rows of that content."""
        return [
            (corpus, path, content)
            for corpus, path, content in files
            if (entry := self.entries.get((corpus, printable(path)))) is None
            or entry.content != content
        ]

    def table_files(self, table: str) -> list[str]:
        """Paths of the Parquet files of a table in the shards that hold an entry."""
        used = {entry.shard for entry in self.entries.values()}
        return [
            str(self.folder / label.name / f"{table}.parquet")
            for label in sorted(self._labels, key=lambda label: label.sequence)
            if label.name in used and table in label.tables
        ]

    def tidy(self) -> None:
        """Remove what a published build no longer needs.

        That is: shards of other recipes, shards of which every file was measured
        again since, damaged ones, and what a crash left without a label.
        """
        used = {entry.shard for entry in self.entries.values()}
        for label in self._labels:
            if label.name not in used:
                (self.folder / f"{label.name}.json").unlink(missing_ok=True)
        self._labels = [label for label in self._labels if label.name in used]
        (self.folder / "fresh.json").unlink(missing_ok=True)
        self._floor = 0
        for path in self.folder.iterdir():
            if path.is_dir() and path.name not in used:
                shutil.rmtree(path, ignore_errors=True)
            elif path.suffix == ".new":
                path.unlink(missing_ok=True)

    def _enter(self, label: _Label) -> None:
        if label.recipe != self.recipe.key or label.sequence < self._floor:
            return
        for corpus, path, content, final in label.files:
            self.entries[corpus, path] = ShardEntry(content, final, label.name, label.sequence)

    def _fresh_from(self, fresh: bool) -> int:
        """First sequence number that counts; kept in a file until a build is published."""
        mark = self.folder / "fresh.json"
        if fresh:
            replace_text(mark, json.dumps({"from": self._next}))
            return self._next
        try:
            return int(json.loads(mark.read_text(encoding="utf-8"))["from"])
        except FileNotFoundError:
            return 0
        except (ValueError, KeyError, TypeError):
            # Unreadable: measuring everything again is the safe meaning.
            return self._next

    def _read_labels(self) -> list[_Label]:
        labels = []
        for path in _label_files(self.folder):
            label = _read_label(path)
            if label is None or not _whole(self.folder, label):
                self._set_aside(path)
            else:
                labels.append(label)
        return labels

    def _set_aside(self, label: Path) -> None:
        aside = self.folder / "damaged"
        aside.mkdir(exist_ok=True)
        self.damaged.append(label.stem)
        label.replace(aside / label.name)
        rows = self.folder / label.stem
        if rows.is_dir():
            shutil.rmtree(aside / label.stem, ignore_errors=True)
            rows.replace(aside / label.stem)

    def _write_label(self, label: _Label) -> None:
        body = json.dumps(
            {
                "recipe": label.recipe,
                "sequence": label.sequence,
                "tables": dict(label.tables),
                "files": label.files,
            }
        )
        replace_text(self.folder / f"{label.name}.json", f"{_hash(body)}\n{body}\n")


def _write_tables(target: Path, rows: Rows) -> dict[str, str]:
    """Write and flush the Parquet files of a shard; returns their hashes by table."""
    target.mkdir()
    hashes = {}
    # Others are at work beside this process: one thread.
    connection = door.working(threads=1)
    try:
        for table, part in rows.items():
            path = target / f"{table}.parquet"
            connection.register("rows", arrays(table, part))
            connection.execute(
                sql.load("write_shard").format(
                    columns=", ".join(
                        f'"{column}"::{kind} AS "{column}"'
                        for column, kind in columns(table).items()
                    ),
                    shard=target.name,
                    path=str(path).replace("'", "''"),
                )
            )
            flush(path)
            hashes[table] = file_hash(path)
    finally:
        connection.close()
    flush_folder(target)
    return hashes


def survey(folder: Path) -> tuple[int, list[str]]:
    """How many shards there are, and the names of those that do not pass their checksums.

    Changes nothing, and may run beside a build.
    """
    files = _label_files(folder)
    damaged = [
        path.stem
        for path in files
        if ((label := _read_label(path)) is None or not _whole(folder, label))
        and path.exists()  # not tidied away meanwhile
    ]
    return len(files), damaged


def _label_files(folder: Path) -> list[Path]:
    return [path for path in sorted(folder.glob("*.json")) if path.name != "fresh.json"]


def _whole(folder: Path, label: _Label) -> bool:
    try:
        return all(
            file_hash(folder / label.name / f"{table}.parquet") == expected
            for table, expected in label.tables.items()
        )
    except OSError:
        return False


def _read_label(path: Path) -> _Label | None:
    """The label in a file, or None where it does not pass its checksum."""
    try:
        checksum, _, body = path.read_text(encoding="utf-8").partition("\n")
    except (OSError, UnicodeDecodeError):
        return None
    body = body.removesuffix("\n")
    if checksum != _hash(body):
        return None
    data = json.loads(body)
    return _Label(
        path.stem,
        data["recipe"],
        data["sequence"],
        data["tables"],
        tuple((corpus, name, content, final) for corpus, name, content, final in data["files"]),
    )


def _check_ids(corpus: str, path: str, rows: Rows) -> None:
    """Refuse rows whose works do not belong to their file, or appear twice."""
    own = f"{corpus}:{path}"
    works = [row[0] for row in rows.get("works", [])]
    for work in works:
        if work != own and not work.startswith(f"{own}#"):
            raise DataError(f"works.work: '{work}' does not belong to {own}")
    if len(set(works)) != len(works):
        raise DataError(f"works.work: {own} has two works of one id")
    for row in rows.get("failures", []):
        if tuple(row[:2]) != (corpus, path):
            raise DataError(f"failures.path: '{row[0]}:{row[1]}' is not {own}")
    known = set(works)
    for table in EXTRACTED:
        if table not in ("works", "failures"):
            for row in rows.get(table, []):
                if row[0] not in known:
                    raise DataError(f"{table}.work: '{row[0]}' is not a work of {own}")


def file_hash(path: Path) -> str:
    """BLAKE2b hash of a file's bytes, 32 hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, partial(hashlib.blake2b, digest_size=16)).hexdigest()


def _hash(value: Any) -> str:
    """BLAKE2b hash of a value as JSON, 32 hexadecimal digits."""
    text = json.dumps(value, sort_keys=True, ensure_ascii=True)
    return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()
