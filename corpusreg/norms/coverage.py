"""Where the reference is too thin to place a piece, and which open corpus would help."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from corpusreg.corpus.corpora import Entry, added
from corpusreg.corpus.entries import entries
from corpusreg.norms.reference import MINIMUM_UNITS, MINIMUM_WORKS
from corpusreg.store import Reference, sql

__all__ = ["Coverage", "CoverageCell", "coverage", "helpful"]

ALL_PERIODS = "all"


@dataclass(frozen=True)
class CoverageCell:
    """Works and composers of one ensemble in one period ('' where no year is known)."""

    works: int
    composers: int
    enough: bool


@dataclass(frozen=True)
class Help:
    """What a corpus of the catalogue would bring, as far as the catalogue knows.

    works: into groups that are too thin now. fills: the (ensemble, period) that would
    have enough then, composers being counted as if all were new.
    """

    name: str
    title: str
    works: int
    fills: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Coverage:
    """names, rows: of the query 'coverage'. cells: by (ensemble, period). works,
    composers: from how many a group can place a piece. helps: the most helpful first."""

    names: tuple[str, ...]
    rows: list[tuple[Any, ...]]
    cells: Mapping[tuple[str, str], CoverageCell]
    works: int
    composers: int
    helps: tuple[Help, ...]


def coverage(reference: Reference) -> Coverage:
    """Works and composers by ensemble and period in a reference, and what would add some."""
    given = {"works": str(MINIMUM_WORKS), "composers": str(MINIMUM_UNITS)}
    wanted = sql.find("coverage")
    found = reference.query(wanted.text, wanted.values(given))
    cells = {
        (ensemble or "", period or ""): CoverageCell(*rest)
        for ensemble, period, *rest in found.rows
    }
    there = {each.name for each in added()}
    others = [entry for entry in entries() if entry.on and entry.name not in there]
    helps = helpful(cells, others)
    return Coverage(found.names, found.rows, cells, MINIMUM_WORKS, MINIMUM_UNITS, helps)


def helpful(
    cells: Mapping[tuple[str, str], CoverageCell], entries: Sequence[Entry]
) -> tuple[Help, ...]:
    """The corpora that bring works into thin groups: by groups filled, then by works."""
    none = CoverageCell(0, 0, False)
    found = []
    for entry in entries:
        brought: dict[tuple[str, str], tuple[int, int]] = {}
        for row in entry.expected:
            for period in (row.period, ALL_PERIODS):
                before = brought.get((row.ensemble, period), (0, 0))
                brought[row.ensemble, period] = (
                    before[0] + row.works,
                    before[1] + row.composers,
                )
        thin = {key: new for key, new in brought.items() if not cells.get(key, none).enough}
        fills = [
            key
            for key, new in thin.items()
            if cells.get(key, none).works + new[0] >= MINIMUM_WORKS
            and cells.get(key, none).composers + new[1] >= MINIMUM_UNITS
        ]
        into = sum(new[0] for key, new in thin.items() if key[1] != ALL_PERIODS)
        if into:
            found.append(Help(entry.name, entry.title, into, tuple(fills)))
    return tuple(sorted(found, key=lambda help: (-len(help.fills), -help.works, help.name)))
