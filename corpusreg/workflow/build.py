"""Measuring corpora and publishing a reference; what state it is in.

Modules that are heavy to import, or that only some commands need, are imported
inside the functions.
"""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corpusreg import settings
from corpusreg.definitions import VERSION
from corpusreg.errors import ReadError, StoreError, UsageError
from corpusreg.store import open_reference

if TYPE_CHECKING:
    from corpusreg.building.batch import Progress
    from corpusreg.catalogue import SourceFile, TierRow
    from corpusreg.store import Draft

__all__ = ["DEFAULT_TIERS", "Built", "check", "corpora_list", "extract"]

DEFAULT_TIERS = ("open", "permitted")


@dataclass(frozen=True)
class Built:
    """A published build: where it is and what it holds."""

    path: Path
    reference_id: str
    works: int
    measured: int
    kept: int
    failed: int
    problems: tuple[str, ...]


def corpora_list() -> list[TierRow]:
    """Files and works of the bundled corpus by collection and licence tier, and why."""
    from corpusreg import catalogue

    return catalogue.tiers_summary(catalogue.bundled())


def extract(
    corpora: Sequence[str] = (),
    *,
    workers: int | None = None,
    fresh: bool = False,
    tiers: Sequence[str] = DEFAULT_TIERS,
    on_progress: Callable[[Progress], None] | None = None,
) -> Built:
    """Measure corpora and publish the reference made of them.

    corpora: 'bundled' (the default) or folders of scores. workers: processes,
    by default one for each processor. fresh: measure everything again. tiers:
    licence tiers of the bundled corpus that may enter. What was measured before
    and has not changed is kept, so that an interrupted run goes on where it was.

    Raises UsageError for an unknown corpus, ReadError when not one work could be
    read, StoreError when nothing can be written; the reference in force stays then.
    """
    from corpusreg.building import batch
    from corpusreg.building.extract import EXTRACTION_VERSION, extract_file
    from corpusreg.store import Recipe, Shards, build_lock, publish

    started = datetime.datetime.now(datetime.UTC)
    problems: list[str] = []
    files = [
        file for name in corpora or ("bundled",) for file in _corpus(name, tiers, problems)
    ]
    if not files:
        raise UsageError(f"no scores in {', '.join(corpora)}; name a folder that holds scores")
    recipe = Recipe(definitions=VERSION, extraction=EXTRACTION_VERSION)
    with build_lock(settings.lock_file()):
        shards = Shards(settings.shards_folder(), recipe, fresh=fresh)
        tally = batch.run(
            files,
            extract_file,
            shards,
            workers=workers or _processors(),
            on_progress=on_progress,
        )
        path = publish(
            shards,
            tally.files,
            tables={"corpora": _corpora_rows(files)},
            finish=_finishing(tiers, problems),
            started=started,
        )
        shards.tidy()
    with open_reference() as reference:
        return Built(
            path=path,
            reference_id=reference.reference_id,
            works=reference.works,
            measured=tally.measured,
            kept=tally.kept,
            failed=tally.failed,
            problems=tuple(problems),
        )


def _finishing(tiers: Sequence[str], problems: list[str]) -> Callable[[Draft], None]:
    """The last step of a build, which is no build when there is no work in it."""
    from corpusreg.building.finish import finishing

    finish = finishing(tiers, problems)

    def finish_some(draft: Draft) -> None:
        finish(draft)
        if draft.fetch_columns("SELECT count(*) AS works FROM works")["works"][0]:
            return
        failed = draft.fetch_columns("SELECT path, reason FROM failures ORDER BY path LIMIT 1")
        first = [f" (first {p}: {r})" for p, r in zip(*failed.values(), strict=True)]
        raise ReadError(
            f"no work could be read{''.join(first)}; the reference in force stays; "
            "name a folder that holds scores"
        )

    return finish_some


def _processors() -> int:
    return os.cpu_count() or 1


def _corpus(name: str, tiers: Sequence[str], problems: list[str]) -> list[SourceFile]:
    from corpusreg import catalogue

    if name == catalogue.BUNDLED:
        return [f for f in catalogue.bundled() if catalogue.licence(f).tier in tiers]
    path = Path(name)
    if not path.is_dir():
        raise UsageError(
            f"'{name}' is neither 'bundled' nor a folder; see 'corpusreg corpora list'"
        )
    return catalogue.folder(path, path.resolve().name, problems)


def _corpora_rows(files: Iterable[SourceFile]) -> list[tuple[Any, ...]]:
    from corpusreg import catalogue

    merged: dict[str, list[Any]] = {}
    for row in catalogue.tiers_summary(files):
        known = merged.setdefault(
            row.collection, [row.collection, row.name, row.tier, row.reason, row.corpus, 0, 0]
        )
        known[5] += row.files
        known[6] += row.works
    return [tuple(row) for row in merged.values()]


def check() -> dict[str, Any]:
    """The state of the present reference: where it is, what made it, whether all is well."""
    found: dict[str, Any] = {
        "home": str(settings.home()),
        "definitions": VERSION,
        "schema": settings.SCHEMA_VERSION,
        "ok": False,
    }
    try:
        with open_reference() as reference:
            counts = reference.fetch_columns(
                "SELECT (SELECT count(*) FROM works) AS works, "
                "(SELECT count(*) FROM matrix) AS counted, "
                "(SELECT count(*) FROM failures) AS failures, "
                "(SELECT count(*) FROM stays) AS stays, "
                "(SELECT count(*) FROM shifts) AS shifts"
            )
            found |= {
                "path": str(reference.path),
                "reference_id": reference.reference_id,
                "tool": reference.tool,
                "counts": {name: int(values[0]) for name, values in counts.items()},
                "ok": True,
            }
    except StoreError as error:
        found["problem"] = str(error)
    return found
