"""The reference that ships: measured, published, packed and described in one go."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from corpusreg.building.batch import Progress
from corpusreg.building.build import Built, build
from corpusreg.corpus.corpora import Added, entries
from corpusreg.store import Reference, packing, sql
from corpusreg.system import settings
from corpusreg.system.errors import StoreError, UsageError

__all__ = ["MOST_BYTES", "release"]

MOST_BYTES = 10_000_000  # what a wheel may hold of it


@dataclass(frozen=True)
class Released:
    """A packed reference: where it is, what it weighs, what it was made of."""

    folder: Path
    size: int
    built: Built
    absent: tuple[str, ...]


def release(
    folder: Path,
    *,
    into: Path | None = None,
    missing: Sequence[str] = (),
    workers: int | None = None,
    on_progress: Callable[[Progress], None] | None = None,
) -> Released:
    """Measure the open corpora of the catalogue and the bundled scores, publish and pack them.

    folder: holds the corpora, each in a folder of its name; those that are absent are named
    in the result. into: default `settings.packed_folder()`; it is replaced as a whole.
    missing: what is not there of a corpus, in words, for the data sheet.
    Raises UsageError where no corpus is there, StoreError where the result is larger than
    MOST_BYTES or cannot be written; what was there stays then.
    """
    into = into or settings.packed_folder()
    wanted = [entry for entry in entries() if entry.on]
    there = [Added(e.name, folder / e.name) for e in wanted if (folder / e.name).is_dir()]
    absent = (*(e.name for e in wanted if not (folder / e.name).is_dir()), *missing)
    if not there:
        names = ", ".join(entry.name for entry in wanted)
        raise UsageError(f"{folder} holds none of the corpora {names}; see 'corpora list'")
    built = build([None, *there], alone=True, workers=workers, on_progress=on_progress)
    aside = into.with_name(f"{into.name}.new")
    shutil.rmtree(aside, ignore_errors=True)
    with Reference(built.path) as reference:
        told = _about(reference, absent)
    packing.pack(built.path, aside, told)
    size = sum(file.stat().st_size for file in aside.iterdir())
    if size > MOST_BYTES:
        raise StoreError(
            f"{aside} has {size:,} bytes, more than the {MOST_BYTES:,} that may ship; keep "
            "fewer rows or decimals in corpusreg/store/packing.py"
        )
    shutil.rmtree(into, ignore_errors=True)
    aside.rename(into)
    return Released(into, size, built, absent)


def _about(reference: Reference, absent: tuple[str, ...]) -> dict[str, Any]:
    """What about.json says: the id, the versions, and each corpus with its source."""
    found = reference.fetch_columns(sql.load("corpora_told"))
    known = {entry.name: entry for entry in entries()}
    corpora: dict[str, Any] = {}
    for name, works, counted, composers, failed in zip(*found.values(), strict=True):
        entry = known.get(name)
        corpora[name] = {
            "works": int(works),
            "counted": int(counted),
            "composers": int(composers),
            "failed": int(failed),
            "title": entry.title if entry else "scores inside the package music21",
            "repository": entry.repository if entry else "",
            "revision": entry.revision if entry else reference.libraries.get("music21", ""),
            "licence": entry.statement
            if entry
            else "each score's own; see data/collections.csv",
        }
    return {
        "reference": reference.reference_id,
        "definitions": reference.definitions,
        "schema": reference.schema,
        "extraction": reference.settings.get("extraction"),
        "tool": reference.tool,
        "works": reference.works,
        "absent": list(absent),
        "corpora": corpora,
    }
