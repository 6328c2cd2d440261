"""Open corpora beyond the bundled one: the catalogue, fetching, adding, what files are whose.

entries    the catalogue: one file in data/corpora for each corpus
table      a metadata table (CSV or TSV) beside a user's own scores
layouts    how each corpus says composer, dates, titles and movements
here       the scores of an added corpus, what is known of them, what is left out
registry   which corpora were added, and where they are
fetch      `corpora get`: the pinned revision, by git

Nothing here reads music or knows the database.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from corpusreg.corpus.catalogue import SourceFile, folder, licence
from corpusreg.corpus.entries import Entry, entries, entry
from corpusreg.corpus.fetch import FetchProgress, fetch_corpus
from corpusreg.corpus.layouts import LAYOUTS
from corpusreg.corpus.registry import Added, added, chosen_name, find_added, forget, remember
from corpusreg.corpus.table import write_template
from corpusreg.system.errors import ReadError

__all__ = [
    "Added", "Entry", "FetchProgress", "Listing", "added", "allowed", "chosen_name", "entries",
    "entry", "fetch_corpus", "find_added", "forget", "listed", "remember", "write_template",
]  # fmt: skip


@dataclass
class Listing:
    """files: those to measure, sorted. left_out: how many for each reason."""

    files: list[SourceFile] = field(default_factory=list)
    left_out: Counter[str] = field(default_factory=Counter)
    problems: list[str] = field(default_factory=list)


def listed(corpus: Added) -> Listing:
    """The scores of an added corpus with what its tables say of them.

    Which of them their licences allow is asked by `allowed`, since it takes longer.
    Raises ReadError when its folder is gone, DataError for a malformed metadata table.
    """
    entry = corpus.entry
    if not corpus.path.is_dir():
        raise ReadError(
            f"corpus '{corpus.name}': {corpus.path} is gone; bring it back, or "
            f"'corpusreg corpora remove {corpus.name}'"
        )
    listing = Listing()
    files = []
    for file in folder(corpus.path, corpus.name, listing.problems):
        reason = entry.excluded(file.relative) if entry else ""
        if reason:
            listing.left_out[reason] += 1
        else:
            files.append(file)
    told = LAYOUTS[entry.layout if entry else "folder"](corpus.path, files)
    listing.problems += told.problems
    listing.left_out.update(told.left_out.values())
    shared = _shared(entry) if entry else {}
    for file in files:
        if file.relative not in told.left_out:
            known = shared | {k: v for k, v in told.facts.get(file.relative, {}).items() if v}
            listing.files.append(replace(file, known=tuple(sorted(known.items()))))
    return listing


def allowed(
    entry: Entry | None, files: Sequence[SourceFile]
) -> tuple[list[SourceFile], Counter[str]]:
    """The files whose licence the corpus's rule allows, and how many others by reason.

    A folder of the user's own has no rule: what is in it is the user's choice.
    """
    if entry is None:
        return list(files), Counter()
    kept: list[SourceFile] = []
    others: Counter[str] = Counter()
    for file in files:
        said = licence(file)
        if said.tier in entry.allowed:
            kept.append(file)
        else:
            others[f"licence: {said.reason}"] += 1
    return kept, others


def _shared(entry: Entry) -> dict[str, str]:
    """What the catalogue knows of every work of a corpus."""
    return {
        name: value
        for name, value in {
            "composer": entry.composer,
            "ensemble": entry.ensemble,
            "genre": entry.genre,
            "collection_name": entry.title,
            "tier": entry.tier,
            "statement": entry.statement,
            "evidence": entry.evidence,
            "reason": "what its corpus states",
        }.items()
        if value
    }
