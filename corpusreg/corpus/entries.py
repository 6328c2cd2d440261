"""The catalogue of open corpora: one TOML file for each in data/corpora.

The file's stem is the corpus's name. What each line of a file is for:

title, holds   for people
repository     where it comes from; '' where corpusreg does not fetch it
revision       the commit that is fetched, and no other: 40 hexadecimal digits
megabytes      about as much is fetched
layout         which of `layouts.LAYOUTS` tells composers, dates and titles
genre          where all its works share one; composer and ensemble in the same way
dates          where the years come from, for people
licence        tier, statement and evidence of the whole, for files that say nothing
               themselves; allowed: the tiers of works that may be taken
exclude        glob of paths below the root, and why they are left out
expected       files at this revision; works: [ensemble, period, works, composers], how
               many to expect of each kind; evidence: how that was counted
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import cache
from importlib import resources
from typing import Any

from corpusreg.system.errors import DataError, UsageError
from corpusreg.system.phrases import did_you_mean

__all__ = ["Entry", "Expected", "entries", "entry"]

DEFAULT_TIERS = ("open", "permitted")


@dataclass(frozen=True)
class Expected:
    """How many works of one ensemble and period a corpus is expected to bring."""

    ensemble: str
    period: str
    works: int
    composers: int


@dataclass(frozen=True)
class Entry:
    """One corpus of the catalogue; see the module for its parts."""

    name: str
    title: str
    holds: str
    repository: str
    revision: str
    megabytes: int
    layout: str
    dates: str
    tier: str
    statement: str
    evidence: str
    allowed: tuple[str, ...]
    exclude: tuple[tuple[str, str], ...]
    files: int
    counted: str
    expected: tuple[Expected, ...]
    genre: str = ""
    composer: str = ""
    ensemble: str = ""

    @property
    def on(self) -> bool:
        """Whether its works may enter a reference without being asked for by tier."""
        return set(self.allowed) <= set(DEFAULT_TIERS)

    @property
    def instructions(self) -> str:
        """How to get the corpus by hand."""
        then = f"then: corpusreg corpora add FOLDER --name {self.name}"
        if not self.repository:
            return f"corpusreg does not fetch it; get it yourself, {then}"
        return (
            f"by hand: git clone {self.repository} FOLDER, in FOLDER git checkout "
            f"{self.revision}, {then}"
        )

    def excluded(self, relative: str) -> str:
        """Why a file of the corpus is left out, '' where it is not."""
        return next((why for glob, why in self.exclude if fnmatchcase(relative, glob)), "")


@cache
def entries() -> tuple[Entry, ...]:
    """Every corpus of the catalogue, sorted by name, those that are off by default last.

    Raises DataError, with the file's name, where one of them is malformed.
    """
    folder = resources.files("corpusreg") / "data" / "corpora"
    found = []
    for file in folder.iterdir():
        if file.name.endswith(".toml"):
            found.append(parsed(file.name.removesuffix(".toml"), file.read_text("utf-8")))
    return tuple(sorted(found, key=lambda each: (not each.on, each.name)))


def entry(name: str) -> Entry:
    """The corpus of that name; raises UsageError, with the nearest names, for none."""
    known = {each.name: each for each in entries()}
    if name in known:
        return known[name]
    hint = did_you_mean(name, known, most=2) or f"; there are {', '.join(known)}"
    raise UsageError(f"no corpus '{name}' in the catalogue{hint}")


def parsed(name: str, text: str) -> Entry:
    """An entry from the text of its file; raises DataError where that is malformed."""
    try:
        raw = tomllib.loads(text)
        return _entry(name, raw)
    except (tomllib.TOMLDecodeError, KeyError, TypeError, ValueError) as error:
        raise DataError(f"corpusreg/data/corpora/{name}.toml: {error!s} is wrong") from error


def _entry(name: str, raw: dict[str, Any]) -> Entry:
    licence, expected = raw.pop("licence"), raw.pop("expected")
    exclude = tuple((rule["glob"], rule["reason"]) for rule in raw.pop("exclude", ()))
    return Entry(
        name=name,
        tier=licence["tier"],
        statement=licence["statement"],
        evidence=licence["evidence"],
        allowed=tuple(licence["allowed"]),
        exclude=exclude,
        files=expected["files"],
        counted=expected["evidence"],
        expected=tuple(Expected(*row) for row in expected["works"]),
        **raw,
    )
