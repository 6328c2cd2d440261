"""Corpora beyond the bundled one: got, added, shown, removed; where the reference is thin."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from corpusreg.building.batch import Progress
from corpusreg.building.build import (
    DEFAULT_TIERS,
    Built,
    build,
    chosen,
    made_of,
    shipped,
    state,
)
from corpusreg.corpus import catalogue
from corpusreg.corpus.catalogue import TierRow
from corpusreg.corpus.corpora import (
    Added,
    Entry,
    FetchProgress,
    Listing,
    added,
    allowed,
    chosen_name,
    entry,
    fetch_corpus,
    find_added,
    forget,
    listed,
    remember,
    write_template,
)
from corpusreg.corpus.entries import entries
from corpusreg.store import open_reference, sql
from corpusreg.system import settings
from corpusreg.system.errors import StoreError, UsageError

__all__ = [
    "CorpusChange", "ListedCorpus", "add_corpus", "corpora_list", "corpora_template",
    "get_corpus", "remove_corpus", "show_corpus",
]  # fmt: skip


@dataclass(frozen=True)
class CorpusChange:
    """What adding or removing did. built: None where there was nothing to do.

    works: of this corpus in the reference; left_out: its files that were not measured,
    by reason.
    """

    name: str
    built: Built | None
    works: int = 0
    left_out: tuple[tuple[str, int], ...] = ()
    deleted: Path | None = None


@dataclass(frozen=True)
class ListedCorpus:
    """One corpus. added: where, None where it was not; works, composers, failed: in the
    present reference."""

    name: str
    entry: Entry | None
    added: Added | None
    files: int
    left_out: tuple[tuple[str, int], ...]
    problems: tuple[str, ...]
    works: int
    composers: int
    failed: int


def corpora_list() -> tuple[list[TierRow], list[tuple[Entry | None, Added | None]]]:
    """The bundled corpus by collection and licence tier; then catalogue and added corpora."""
    there = {each.name: each for each in added()}
    rows: list[tuple[Entry | None, Added | None]] = [
        (entry, there.pop(entry.name, None)) for entry in entries()
    ]
    rows += [(None, each) for each in there.values()]
    return catalogue.tiers_summary(catalogue.bundled()), rows


def get_corpus(
    name: str,
    *,
    workers: int | None = None,
    on_fetch: Callable[[FetchProgress], None] | None = None,
    on_progress: Callable[[Progress], None] | None = None,
) -> CorpusChange:
    """Fetch a corpus of the catalogue, then add it; see `corpora.fetch_corpus`."""
    wanted = entry(name)
    chosen_name(settings.corpora_folder() / name, name)
    path = fetch_corpus(wanted, on_fetch)
    return _add(Added(name, path, fetched=True), workers, on_progress)


def add_corpus(
    path: Path,
    name: str | None = None,
    *,
    workers: int | None = None,
    on_progress: Callable[[Progress], None] | None = None,
) -> CorpusChange:
    """Add a folder of scores, or bring it up to date: measure what is new, publish.

    name: by default the folder's; the name of a corpus of the catalogue says that this
    is that corpus. Nothing is measured or published where nothing has changed.

    Raises UsageError for a folder that is not there, a name that is taken, or a folder
    without scores; the list of added corpora and the reference stay then.
    """
    folder = path.expanduser().absolute()
    if not folder.is_dir():
        raise UsageError(f"{path} is not a folder; name the folder that holds the scores")
    folder = folder.resolve()
    return _add(Added(chosen_name(folder, name), folder), workers, on_progress)


def _add(
    new: Added, workers: int | None, on_progress: Callable[[Progress], None] | None
) -> CorpusChange:
    listing = listed(new)
    if not listing.files:
        raise UsageError(f"no scores in {new.path}; name a folder that holds scores")
    before = next((each for each in added() if each.name == new.name), None)
    made = made_of()
    present: dict[str, str] = made.get("corpora", {})
    others = {each.name for each in added() if _enters(each, made)} - {new.name}
    same = present.get(new.name) == state(listing.files) and others <= set(present)
    if before is not None and same:
        return replace(_change(new.name, None), left_out=tuple(listing.left_out.items()))
    sheet = shipped()
    if sheet is not None and new.entry is not None and new.name in sheet["corpora"]:
        # It is in the reference already; its scores are now at hand for quoting.
        remember(new)
        return replace(_change(new.name, None), left_out=tuple(listing.left_out.items()))
    fetched = new.fetched or (before is not None and before.fetched)
    new = replace(new, fetched=fetched)
    corpora = [each for each in chosen() if each is None or each.name != new.name]
    built = build(
        [*corpora, new],
        workers=workers,
        tiers=made.get("tiers", DEFAULT_TIERS),
        on_progress=on_progress,
    )
    remember(new)
    return _change(new.name, built)


def _enters(corpus: Added, made: dict[str, Sequence[str]]) -> bool:
    entry = corpus.entry
    return entry is None or entry.on or entry.tier in made.get("tiers", DEFAULT_TIERS)


def _change(name: str, built: Built | None) -> CorpusChange:
    left_out = built.left_out if built else ()
    return CorpusChange(
        name,
        built,
        _counts(name)[0],
        tuple((why, n) for own, why, n in left_out if own == name),
    )


def remove_corpus(
    name: str,
    *,
    workers: int | None = None,
    on_progress: Callable[[Progress], None] | None = None,
) -> CorpusChange:
    """Take a corpus off the list and its works out of the reference.

    A folder that corpusreg fetched is deleted; a folder of the user's own is not touched.
    """
    gone = find_added(name)
    made = made_of()
    built = None
    if not made or name in made["corpora"]:
        left = [each for each in chosen() if each is None or each.name != name]
        tiers = made.get("tiers", DEFAULT_TIERS)
        built = build(left, workers=workers, tiers=tiers, on_progress=on_progress)
    forget(gone)
    deleted = None
    if gone.fetched and gone.path.parent == settings.corpora_folder():
        shutil.rmtree(gone.path, ignore_errors=True)
        deleted = gone.path
    return CorpusChange(name, built, deleted=deleted)


def show_corpus(name: str) -> ListedCorpus:
    """What is known of a corpus, added or of the catalogue, and what it gives."""
    there = next((each for each in added() if each.name == name), None)
    known = there.entry if there else entry(name)
    listing = listed(there) if there else Listing()
    files, refused = allowed(known, listing.files)
    works, composers, failed = _counts(name)
    left_out: Counter[str] = listing.left_out + refused
    problems = tuple(listing.problems)
    counts = (works, composers, failed)
    return ListedCorpus(
        name, known, there, len(files), tuple(left_out.items()), problems, *counts
    )


def corpora_template(path: Path) -> Path:
    """Write a metadata table to fill in, with a row for each score of a folder."""
    folder = path.expanduser().absolute()
    if not folder.is_dir():
        raise UsageError(f"{path} is not a folder; name the folder that holds the scores")
    listing = listed(Added("template", folder))
    if not listing.files:
        raise UsageError(f"no scores in {folder}; name a folder that holds scores")
    return write_template(folder, listing.files)


def _counts(name: str) -> tuple[int, int, int]:
    """Works, composers and failures of a corpus in the present reference."""
    try:
        with open_reference() as reference:
            found = reference.fetch_columns(sql.load("corpus_counts"), {"name": name})
    except StoreError:
        return 0, 0, 0
    works, composers, failed = (int(values[0]) for values in found.values())
    return works, composers, failed
