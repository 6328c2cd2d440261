"""Open corpora beyond the bundled one: the catalogue, fetching, adding, what files are whose.

entries    the catalogue: one file in data/corpora for each corpus
table      a metadata table (CSV or TSV) beside a user's own scores
layouts    how each corpus says composer, dates, titles and movements
listing    the scores of an added corpus, what is known of them, what is left out
registry   which corpora were added, and where they are
fetch      `corpora get`: the pinned revision, by git

Nothing here reads music or knows the database.
"""

from __future__ import annotations

from corpusreg.corpus.entries import Entry, entries, entry
from corpusreg.corpus.fetch import FetchProgress, fetch_corpus
from corpusreg.corpus.listing import Listing, allowed, listed
from corpusreg.corpus.registry import Added, added, chosen_name, find_added, forget, remember
from corpusreg.corpus.table import write_template

__all__ = [
    "Added",
    "Entry",
    "FetchProgress",
    "Listing",
    "added",
    "allowed",
    "chosen_name",
    "entries",
    "entry",
    "fetch_corpus",
    "find_added",
    "forget",
    "listed",
    "remember",
    "write_template",
]
