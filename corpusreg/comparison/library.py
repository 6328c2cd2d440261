"""A library of model passages: chosen by rule from the reference, kept in a teacher's table.

The kinds of `examples` come in turn. Each gives its strongest passage of the medium that it
has given least of so far, then of the difficulty, then of the period; none from a work that
has given one already, nor from a composer who has given MOST_OF_ONE. Only composers, media
and bar numbers that are known count, and no score that is hardly right (`left_out`). Of
LONE media there are none: what is encoded as one part is often one of several.

The table is any that `examples` writes, edited or extended: of a row with `work` and `bar`
everything but `note` is told anew from the reference in force; any other row is shown as it
stands, as a teacher's own.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice
from pathlib import Path
from typing import Any

from corpusreg.comparison.examples import (
    ALL,
    KINDS,
    Example,
    Examples,
    Filters,
    asked_of,
    example,
    in_turn,
    place_of,
    rows_of,
)
from corpusreg.corpus.registry import own_and_others
from corpusreg.corpus.table import read_rows
from corpusreg.instruments.ensembles import kinds
from corpusreg.store import Reference, sql
from corpusreg.system.errors import DataError, UsageError

__all__ = ["COUNT", "library", "read_library"]

COUNT = 200
MOST = 1000
MOST_OF_ONE = 2  # passages of a composer
LONE = ("solo melody", "solo instrument")
_OPEN = ("violone",)  # whose octave, 8' or 16', scores leave open: at no edge
_LONGEST = 64  # bars of a stay
_EACH = 8  # passages of a composer and kind that are looked at
_COLUMNS = (
    "kind", "work", "bar", "composer", "title", "bars", "part", "ensemble", "period",
    "difficulty", "words", "note",
)  # fmt: skip


def library(reference: Reference, filters: Filters, count: int = COUNT) -> Examples:
    """At most so many passages by the rule above, kind by kind, strongest first.

    count: 1 to MOST. Raises UsageError for what does not exist.
    """
    if not 1 <= count <= MOST:
        raise UsageError(f"--count: {count} is not between 1 and {MOST}")
    asked = asked_of(reference, filters)
    public = own_and_others()[1]
    doubtful = set(reference.fetch_columns(sql.load("doubtful_works"))["work"].tolist())
    known = {name for name, kind in kinds().items() if kind.placed}.difference(LONE)
    works: set[str] = set()
    composers: Counter[str] = Counter()

    def fits(row: Mapping[str, Any]) -> bool:
        return row["work"] not in works and composers[row["composer"]] < MOST_OF_ONE

    def passages(kind: str) -> Iterator[Example]:
        rows = [
            row
            for row in rows_of(reference, kind, _EACH, most_bars=_LONGEST, **asked)
            if row["composer"] and row["ensemble"] in known and row["work"] not in doubtful
            if str(row["start_bar"])[:1].isdecimal()
            if kind != "edge" or row["instrument"] not in _OPEN
        ]
        for row in in_turn(rows, ("ensemble", "level", "period"), fits):
            works.add(row["work"])
            composers[row["composer"]] += 1
            yield example(kind, row, public)

    chosen = list(islice(_by_turns([passages(kind) for kind in KINDS]), count))
    order = list(KINDS)
    chosen.sort(key=lambda each: (order.index(each.kind), -each.strength, each.work))
    return Examples(ALL, tuple(chosen), reference.reference_id)


def _by_turns(several: Sequence[Iterator[Example]]) -> Iterator[Example]:
    """One of each in turn, for as long as there are any."""
    left = list(several)
    while left:
        for each in list(left):
            found = next(each, None)
            if found is None:
                left.remove(each)
            else:
                yield found


def read_library(reference: Reference, path: Path) -> tuple[Examples, list[str]]:
    """The passages of a table in its order, and what is doubtful in it, one line each.

    Raises DataError for a table without the columns kind and title, or that cannot be read.
    """
    problems: list[str] = []
    rows = read_rows(path, problems, _COLUMNS, ("kind", "title"))
    public = own_and_others()[1]
    there: dict[tuple[str, str], Example] = {}
    for kind in KINDS:
        places = [
            place_of(row["work"], row["bar"])
            for _, row in rows
            if row["kind"] == kind and row.get("work") and row.get("bar")
        ]
        for found in rows_of(reference, kind, MOST, places=places) if places else ():
            there[kind, place_of(found["work"], found["start_bar"])] = example(
                kind, found, public
            )
    passages = []
    for number, row in rows:
        at, kind = f"{path} line {number}", row["kind"]
        if kind not in KINDS:
            problems.append(
                f"{at}: no kind '{kind}'; the row is left out; there are {', '.join(KINDS)}"
            )
            continue
        work, bar = row.get("work", ""), row.get("bar", "")
        known = there.get((kind, place_of(work, bar)))
        if known is None and work:
            problems.append(
                f"{at}: the reference in force has no {kind} in bar {bar or '(none)'} of "
                f"'{work}'; shown as the table has it"
            )
        passages.append(
            replace(known, note=row.get("note", "")) if known else _as_written(kind, row)
        )
    if not passages:
        raise DataError(f"{path}: no passage in it; write one with 'examples all --to FILE'")
    return Examples(ALL, tuple(passages), reference.reference_id), problems


def _as_written(kind: str, row: Mapping[str, str]) -> Example:
    """A passage that nothing is known of but what someone wrote."""
    bar, bars = row.get("bar", ""), row.get("bars", "")
    return Example(
        kind=kind,
        work=row.get("work", ""),
        composer=row.get("composer", ""),
        title=row["title"],
        period=row.get("period") or None,
        ensemble=row.get("ensemble") or None,
        licence="",
        corpus="",
        path="",
        number="",
        first=0,
        last=0,
        position=0,
        bar=bar,
        bars=bars or (f"bar {bar}" if bar else ""),
        part=row.get("part") or None,
        difficulty=row.get("difficulty", ""),
        strength=0.0,
        private=False,
        note=" ".join(filter(None, (row.get("words", ""), row.get("note", "")))),
    )
