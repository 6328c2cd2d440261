"""Measuring corpora and publishing a reference; what state it is in.

Modules that are heavy to import, or that only some commands need, are imported
inside the functions.
"""

from __future__ import annotations

import datetime
import hashlib
import os
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from corpusreg.building import batch
from corpusreg.building.batch import Measuring, Progress, state_of
from corpusreg.building.cluster import cluster
from corpusreg.building.extract import EXTRACTION_VERSION, extract_file
from corpusreg.building.finish import finishing
from corpusreg.corpus import catalogue
from corpusreg.corpus.catalogue import SourceFile
from corpusreg.corpus.corpora import Added, added, allowed, listed
from corpusreg.measures.definitions import VERSION
from corpusreg.store import (
    Draft,
    Recipe,
    Reference,
    Shards,
    inputs,
    open_reference,
    packing,
    pointed,
    pointer,
    publish,
    ships,
    sql,
    survey,
    withdraw,
)
from corpusreg.store.mirror import Mirror
from corpusreg.system import settings
from corpusreg.system.errors import ReadError, StoreError, UsageError
from corpusreg.system.lock import build_lock

__all__ = [
    "DEFAULT_TIERS", "Built", "build", "check", "chosen", "extract", "made_of", "shipped",
]  # fmt: skip

DEFAULT_TIERS = ("open", "permitted")


@dataclass(frozen=True)
class Built:
    """A published build: where it is and what it holds.

    left_out: files that were not measured, by corpus and reason.
    """

    path: Path
    reference_id: str
    works: int
    measured: int
    kept: int
    failed: int
    problems: tuple[str, ...]
    left_out: tuple[tuple[str, str, int], ...] = ()


def extract(
    corpora: Sequence[str] = (),
    *,
    workers: int | None = None,
    fresh: bool = False,
    tiers: Sequence[str] = DEFAULT_TIERS,
    on_progress: Callable[[Progress], None] | None = None,
    cluster: str | None = None,
    shards: str | None = None,
) -> Built:
    """Measure corpora and publish the reference made of them.

    corpora: 'bundled', names of added corpora, or folders of scores, of which alone the
    reference is made; without any all that were added, on top of the reference that ships.
    workers: processes, by default one for each
    processor. fresh: measure everything again. tiers: licence tiers of the bundled corpus
    that may enter, and of added corpora that are off by default. What was measured before
    and has not changed is kept, so that an interrupted run goes on where it was. cluster:
    address of a Dask scheduler whose workers measure instead of processes here. shards: a
    second place for what is measured, any location that fsspec knows; what is there
    already is taken from it.

    Raises UsageError for an unknown corpus or two of one name, ReadError when not one
    work could be read, StoreError when nothing can be written; the reference in force
    stays then.
    """
    return build(
        chosen(corpora),
        alone=bool(corpora),
        workers=workers,
        fresh=fresh,
        tiers=tiers,
        on_progress=on_progress,
        cluster=cluster,
        shards=shards,
    )


def chosen(names: Sequence[str] = ()) -> list[Added | None]:
    """The corpora that names stand for, None for the bundled one; see `extract`.

    Raises UsageError for a name that is neither a corpus nor a folder, and where two
    corpora have one name.
    """
    known = {each.name: each for each in added()}
    if not names:
        return [None, *known.values()]
    found: dict[str, Added | None] = {}
    for name in names:
        path = Path(name)
        corpus = None if name == catalogue.BUNDLED else known.get(name)
        if corpus is None and name != catalogue.BUNDLED:
            if not path.is_dir():
                raise UsageError(
                    f"'{name}' is neither 'bundled', nor an added corpus, nor a folder; "
                    "see 'corpusreg corpora list'"
                )
            corpus = Added(path.resolve().name, path.absolute(), plain=True)
        own = corpus.name if corpus else catalogue.BUNDLED
        if (own in found and found[own] != corpus) or (corpus and own == catalogue.BUNDLED):
            raise UsageError(
                f"two corpora are called '{own}'; give one of them another name with "
                "'corpusreg corpora add FOLDER --name NAME'"
            )
        found[own] = corpus
    return list(found.values())


def build(
    corpora: Sequence[Added | None],
    *,
    alone: bool = False,
    workers: int | None = None,
    fresh: bool = False,
    tiers: Sequence[str] = DEFAULT_TIERS,
    on_progress: Callable[[Progress], None] | None = None,
    cluster: str | None = None,
    shards: str | None = None,
) -> Built:
    """`extract` for corpora that were found already.

    alone: not on top of the reference that ships. What ships is not measured again; where
    nothing else is left, it is in force.

    Raises UsageError where they hold no scores, and what `extract` raises besides.
    """
    started = datetime.datetime.now(datetime.UTC)
    below = None if alone or not set(tiers) <= set(DEFAULT_TIERS) else shipped()
    if below is not None:
        corpora = [corpus for corpus in corpora if not _is_in(below, corpus)]
        if not corpora:
            with build_lock(settings.lock_file()):
                withdraw(settings.reference_folder())
            with open_reference() as reference:
                found = (reference.path, reference.reference_id, reference.works)
                return Built(*found, measured=0, kept=0, failed=0, problems=())
    sources = _Sources(tiers)
    for corpus in corpora:
        sources.take(corpus)
    if not sources.files:
        raise UsageError(sources.nothing(corpora))
    pointer(settings.reference_folder())  # hours of measuring would be lost for it
    versions = {"definitions": VERSION, "extraction": EXTRACTION_VERSION}
    with build_lock(settings.lock_file()), _far(cluster) as measuring:
        kept = _shards(versions, fresh, shards)
        with ThreadPoolExecutor(1) as meanwhile:  # while workers start and measure
            rows = meanwhile.submit(_corpora_rows, sources.files)
            tally = batch.run(
                sources.files,
                extract_file,
                kept,
                workers=workers or _processors(),
                on_progress=on_progress,
                measuring=measuring,
            )
        made_of: dict[str, Any] = {
            "tiers": sorted(tiers),
            "corpora": sources.states(tally.files),
            "extraction": EXTRACTION_VERSION,
        }
        if below is not None:
            made_of["on_top_of"] = below["reference"]
        tables = {"corpora": rows.result()}
        made_of["inputs"] = inputs(kept, tally.files, {**made_of, **tables})
        before = _built_before()
        packed = settings.packed_folder()
        under = Reference(packed, packed) if below is not None else None
        with before or nullcontext(), under or nullcontext():
            if before is None or before.settings.get("inputs") != made_of["inputs"]:
                publish(
                    kept,
                    tally.files,
                    tables=tables,
                    finish=_finishing(tiers, before, under),
                    started=started,
                    made_of=made_of,
                )
        kept.tidy()
    with open_reference() as reference:
        return Built(
            path=reference.path,
            reference_id=reference.reference_id,
            works=reference.works,
            measured=tally.measured,
            kept=tally.kept,
            failed=tally.failed,
            problems=tuple(sources.problems),
            left_out=tuple((*which, count) for which, count in sources.left_out.items()),
        )


def shipped() -> dict[str, Any] | None:
    """What the reference that ships says of itself; None without one of this version."""
    if not ships():
        return None
    found = packing.about(settings.packed_folder())
    versions = (found.get("definitions"), found.get("schema"))
    return found if versions == (VERSION, settings.SCHEMA_VERSION) else None


def _is_in(sheet: Mapping[str, Any], corpus: Added | None) -> bool:
    """Whether a corpus, None for the bundled one, is in the reference that ships."""
    if corpus is None:
        return "bundled" in sheet["corpora"]
    return corpus.entry is not None and corpus.name in sheet["corpora"]


def made_of() -> dict[str, Any]:
    """What the present reference was made of: tiers, and the state of each added corpus.

    Empty where there is no usable reference, or readers have changed since.
    """
    try:
        with open_reference() as reference:
            found = reference.settings
    except StoreError:
        return {}
    return found if found.get("extraction") == EXTRACTION_VERSION else {}


def _built_before() -> Reference | None:
    """The reference that was built here before, where it can be used and is whole."""
    try:
        if pointed(settings.reference_folder()) is None:
            return None
        reference = open_reference()
    except StoreError:
        return None
    if "on_top_of" not in reference.settings:
        return reference
    reference.close()
    return None


class _Sources:
    """The files of several corpora, with what was left out of them."""

    def __init__(self, tiers: Sequence[str]) -> None:
        self.files: list[SourceFile] = []
        self.left_out: Counter[tuple[str, str]] = Counter()
        self.problems: list[str] = []
        self._listed: dict[str, list[SourceFile]] = {}
        self._tiers = tiers

    def take(self, corpus: Added | None) -> None:
        """Add the files of one corpus, None for the bundled one."""
        if corpus is None:
            self.files += [
                f for f in catalogue.bundled() if catalogue.licence(f).tier in self._tiers
            ]
            return
        entry = corpus.entry
        if entry is not None and not entry.on and entry.tier not in self._tiers:
            self.problems.append(
                f"corpus '{corpus.name}' is {entry.tier} and was left out; "
                f"'extract --licence {entry.tier}' takes it in"
            )
            return
        listing = listed(corpus)
        files, refused = allowed(entry, listing.files)
        self.files += files
        self.problems += listing.problems
        for reason, count in (listing.left_out + refused).items():
            self.left_out[corpus.name, reason] += count
        self._listed[corpus.name] = list(listing.files)

    def states(self, measured: Iterable[tuple[str, str, str]]) -> dict[str, str]:
        """The state of each added corpus; measured: (corpus, path, content hash) of files."""
        known = {(corpus, path): content for corpus, path, content in measured}
        return {name: state(files, known) for name, files in self._listed.items()}

    def nothing(self, corpora: Sequence[Added | None]) -> str:
        """Why there is no file at all, in one line."""
        names = ", ".join(str(corpus.path) if corpus else "bundled" for corpus in corpora)
        reasons = [reason for _, reason in self.left_out]
        why = f" ({reasons[0]})" if reasons else ""
        return f"no scores in {names}{why}; name a folder that holds scores"


def state(
    files: Iterable[SourceFile], known: Mapping[tuple[str, str], str] | None = None
) -> str:
    """Hash of the files of a corpus and of what is known of them, 32 hexadecimal digits.

    known: content hashes of files that have just been read, by corpus and path.
    """
    digest = hashlib.blake2b(digest_size=16)
    for file in files:
        content = (known or {}).get((file.corpus, file.relative)) or state_of(file)
        digest.update(f"{file.relative}\0{content}\n".encode("utf-8", "replace"))
    return digest.hexdigest()


def _far(address: str | None) -> AbstractContextManager[Measuring | None]:
    """Where files are measured: on a cluster, or None for processes here."""
    if address is None:
        return nullcontext()

    return cluster(address)


def _shards(versions: dict[str, str], fresh: bool, elsewhere: str | None) -> Shards:
    """The shards of this home, kept a second time at a location where one is given."""
    folder = settings.shards_folder()
    recipe = Recipe(versions["definitions"], versions["extraction"])
    if elsewhere is None:
        return Shards(folder, recipe, fresh=fresh)

    mirror = Mirror(elsewhere)
    mirror.fetch(folder)
    mirror.send_missing(folder)
    return Shards(
        folder, recipe, fresh=fresh, on_written=lambda name: mirror.send(folder, name)
    )


def _finishing(
    tiers: Sequence[str], before: Reference | None, below: Reference | None
) -> Callable[[Draft], None]:
    """The last step of a build, which is no build when there is no work in it."""
    finish = finishing(tiers, before, below)

    def finish_some(draft: Draft) -> None:
        finish(draft)
        if draft.fetch_columns(sql.load("counts"))["works"][0]:
            return
        failed = draft.fetch_columns(sql.load("first_failure"))
        first = [f" (first {p}: {r})" for p, r in zip(*failed.values(), strict=True)]
        raise ReadError(
            f"no work could be read{''.join(first)}; the reference in force stays; "
            "name a folder that holds scores"
        )

    return finish_some


def _processors() -> int:
    return os.cpu_count() or 1


def _corpora_rows(files: Iterable[SourceFile]) -> list[tuple[Any, ...]]:
    merged: dict[str, list[Any]] = {}
    for row in catalogue.tiers_summary(files):
        known = merged.setdefault(
            row.collection, [row.collection, row.name, row.tier, row.reason, row.corpus, 0, 0]
        )
        known[5] += row.files
        known[6] += row.works
    return [tuple(row) for row in merged.values()]


def check() -> dict[str, Any]:
    """`reference_state` with all shards read and held against their checksums.

    damaged_shards: their names. 'ok' is true where there is none and a reference too.
    """
    found = reference_state()
    shards, damaged = survey(settings.shards_folder())
    found |= {"shards": shards, "damaged_shards": damaged}
    if damaged and found["ok"]:
        found |= {
            "ok": False,
            "problem": "the reference is whole, but not all shards are, from which the next is "
            "made; run 'corpusreg extract', which measures their files again",
        }
    return found


def reference_state() -> dict[str, Any]:
    """The state of the present reference: where it is, what made it, whether it is whole."""
    found: dict[str, Any] = {
        "home": str(settings.home()),
        "definitions": VERSION,
        "schema": settings.SCHEMA_VERSION,
        "ok": False,
    }
    try:
        with open_reference() as reference:
            counts = reference.fetch_columns(sql.load("counts"))
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
