"""Corpora and their files, licences and composers: what is known before a note is read.

files      score files of the bundled corpus or of any folder
licences   the tier of a file, with the words that say so
authority  composers and the spellings of their names
dates      years as written, periods
facts      what is known of one work
summary    counts by collection and tier

Nothing here reads music or knows the database. The tables are in corpusreg/data.
"""

from __future__ import annotations

from corpusreg.corpus.authority import resolve, unresolved
from corpusreg.corpus.dates import Years, parse_life, parse_years, period_of, typical_year
from corpusreg.corpus.facts import WorkFacts, describe
from corpusreg.corpus.files import (
    BUNDLED,
    SourceFile,
    bundled,
    content_hash,
    excluded,
    folder,
    one_file,
)
from corpusreg.corpus.licences import TIERS, Licence, licence, licence_of
from corpusreg.corpus.summary import TierRow, tiers_summary

__all__ = [
    "BUNDLED", "TIERS", "Licence", "SourceFile", "TierRow", "WorkFacts", "Years", "bundled",
    "content_hash", "describe", "excluded", "folder", "licence", "licence_of", "one_file",
    "parse_life", "parse_years", "period_of", "resolve", "tiers_summary", "typical_year",
    "unresolved",
]  # fmt: skip
