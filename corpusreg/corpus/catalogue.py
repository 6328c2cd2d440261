"""Corpora and their files, licences and composers: what is known before a note is read.

files      score files of the bundled corpus or of any folder
licences   the tier of a file, with the words that say so
authority  composers and the spellings of their names
dates      years as written, periods
facts      what is known of one work
here       counts by collection and tier

Nothing here reads music or knows the database. The tables are in corpusreg/data.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from corpusreg.corpus.authority import resolve
from corpusreg.corpus.dates import Years, parse_life, parse_years, period_of, typical_year
from corpusreg.corpus.facts import WorkFacts, describe
from corpusreg.corpus.files import (
    BUNDLED,
    SourceFile,
    bundled,
    content_hash,
    excluded,
    folder,
)
from corpusreg.corpus.licences import TIERS, Licence, licence
from corpusreg.corpus.tables import collection_of

__all__ = [
    "BUNDLED", "TIERS", "Licence", "SourceFile", "TierRow", "WorkFacts", "Years", "bundled",
    "content_hash", "count_works", "describe", "excluded", "folder", "licence", "parse_life",
    "parse_years", "period_of", "resolve", "tiers_summary", "typical_year",
]  # fmt: skip


@dataclass(frozen=True)
class TierRow:
    """Files and works of a collection that share a tier for the same reason."""

    corpus: str
    collection: str
    name: str
    tier: str
    files: int
    works: int
    reason: str


def tiers_summary(files: Iterable[SourceFile]) -> list[TierRow]:
    """One row per collection, tier and reason, in file order and then from open to reserved.

    A work is a tune of an ABC file, otherwise a file; only heads of files are read,
    and whole ABC files for their count of tunes.
    """
    counted: Counter[tuple[str, str, str, str, str]] = Counter()
    works: Counter[tuple[str, str, str, str, str]] = Counter()
    for file in files:
        said = licence(file)
        known = file.corpus == BUNDLED
        row = collection_of(file.relative) if known else _of_corpus(file)
        key = (file.corpus, row["id"], row["name"], said.tier, said.reason)
        counted[key] += 1
        works[key] += count_works(file)
    place = {key[:2]: number for number, key in reversed(list(enumerate(counted)))}
    ordered = sorted(counted, key=lambda key: (place[key[:2]], TIERS.index(key[3]), key[4]))
    return [TierRow(*key[:4], counted[key], works[key], key[4]) for key in ordered]


def _of_corpus(file: SourceFile) -> dict[str, str]:
    known = dict(file.known)
    part = known.get("collection", "")
    return {
        "id": part or file.corpus,
        "name": known.get("collection_name", file.corpus) if part else file.corpus,
    }


def count_works(file: SourceFile) -> int:
    """Works in a file: the 'X:' fields of an ABC file, one of any other format."""
    if file.format != "abc":
        return 1
    try:
        data = file.path.read_bytes()
    except OSError:
        return 0
    return data.startswith(b"X:") + data.count(b"\nX:") + data.count(b"\rX:")
