"""Passages of one kind from the reference, filtered and spread.

Strength orders the passages of a kind: that of events is theirs, a shift has 100 x the share
of its way made at once x size / (size + 12 semitones), a stay 100 x the square root of
bars / (bars + 12) x what its fullest octave leaves empty. Each work gives its strongest.
Passages are chosen one after the other: the strongest of the composer, then of the period,
that were chosen least so far, among those of half the greatest strength or more; no event
or shift is taken that is fainter than FLOOR.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from corpusreg.comparison.examples.kinds import KINDS
from corpusreg.norms.cohorts import Source
from corpusreg.store import sql
from corpusreg.system.errors import UsageError
from corpusreg.system.phrases import did_you_mean
from corpusreg.system.plaintext import plain

__all__ = ["Example", "Filters", "at", "find", "rows_of", "spread"]

LONGEST = 4  # bars of a passage, about a line of music
LEAST_STAY = 8  # bars
UPBEAT = 2  # written bars at the beginning in which nothing changes yet
FLOOR = 20.0  # strength from which an event or a shift is clear enough to show
FAINTEST = 0.5  # of the strongest
# Ranks of range and density among works for the same ensemble.
DIFFICULTIES: Mapping[str, tuple[float | None, float | None]] = {
    "easy": (None, 1 / 3),
    "middle": (1 / 3, 2 / 3),
    "hard": (2 / 3, None),
}
_BUNDLED = "bundled"
# What is said of works without a composer, by the kind of their source.
_ANONYMOUS = {"anonymous": "anonymous", "tunes": "traditional"}


@dataclass(frozen=True)
class Filters:
    """Which works; None for all. difficulty: of DIFFICULTIES, by the range of the widest part
    and the notes a bar and player among works for the same ensemble."""

    ensemble: str | None = None
    period: str | None = None
    difficulty: str | None = None
    licence: str | None = None


@dataclass(frozen=True)
class Example:
    """A passage. first, last: written bars. bars: the same for people. part: its name, None
    for the whole texture. number: position in a file of many, else ''. private: from a
    corpus of the user's own, which is shown on this computer only."""

    kind: str
    work: str
    composer: str
    title: str
    period: str | None
    ensemble: str | None
    licence: str
    corpus: str
    path: str
    number: str
    first: int
    last: int
    position: int
    bars: str
    part: str | None
    strength: float
    private: bool
    facts: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @property
    def name(self) -> str:
        """What names the passage, as `at` finds it again: its kind, work and first bar."""
        return f"{self.kind} as in {self.work} bar {plain(str(self.facts['start_bar']))}"


def find(
    source: Source,
    kind: str,
    filters: Filters | None = None,
    count: int = 5,
    public: Sequence[str] = (),
) -> list[Example]:
    """The strongest passages of a kind, spread over composers and periods, strongest first.

    public: names of corpora that are not the user's own, beside the bundled one. Raises
    UsageError for a kind, ensemble, period, difficulty or licence that does not exist.
    """
    filters = filters or Filters()
    if kind not in KINDS:
        raise UsageError(f"no kind of example '{kind}'{_nearest(kind, KINDS)}")
    _check(source, filters)
    low, high = DIFFICULTIES.get(filters.difficulty or "", (None, None))
    rows = rows_of(
        source, kind, ensemble=filters.ensemble, period=filters.period, tier=filters.licence,
        from_demand=low, to_demand=high, each=count,
    )  # fmt: skip
    return [example(kind, row, public) for row in spread(rows, count)]


def at(source: Source, work: str, bar: str, kinds: Sequence[str]) -> Example:
    """The passage of one of these kinds that begins in a printed bar of a work.

    Raises UsageError where there is none that is clear enough to be an example, and where
    there are several.
    """
    rows = [(kind, rows_of(source, kind, 1, work=work, bar=bar)) for kind in kinds]
    found = [example(kind, several[0]) for kind, several in rows if several]
    if not found:
        raise UsageError(
            f"bar {bar} of '{work}': no such passage in the reference ({', '.join(kinds)}); "
            "copy the line of one from 'corpusreg examples'"
        )
    if len(found) > 1:
        raise UsageError(
            f"bar {bar} of '{work}' is several things; write one of these: "
            f"{'; '.join(each.name for each in found)}"
        )
    return found[0]


def rows_of(source: Source, kind: str, each: int, **given: object) -> list[dict[str, Any]]:
    """Rows of `queries/store/examples.sql`, strongest first; what is not given is no filter.

    each: how many of a composer at most. The demand is there where it is a filter.
    """
    names = (
        "ensemble", "family", "texture", "period", "tier", "from_demand", "to_demand",
        "measure", "least", "most", "work", "bar", "most_bars",
    )  # fmt: skip
    asked = {name: given.get(name) for name in names}
    asked |= {"kind": kind, "longest": LONGEST, "least_stay": LEAST_STAY, "upbeat": UPBEAT}
    asked |= {"each": each, "faintest": FAINTEST, "floor": FLOOR}
    by_demand = asked["from_demand"] is not None or asked["to_demand"] is not None
    demand = sql.load("examples_demand") if by_demand else "NULL::DOUBLE"
    text = sql.load("examples").format(demand=demand)
    columns = source.fetch_columns(text, asked)
    rows = zip(*(values.tolist() for values in columns.values()), strict=True)
    return [
        {name: _known(value) for name, value in zip(columns, row, strict=True)} for row in rows
    ]


def spread(rows: Sequence[Mapping[str, Any]], count: int) -> list[Mapping[str, Any]]:
    """Some of the rows (strongest first), composers and periods in turn, strongest first."""
    if not rows:
        return []
    floor = FAINTEST * rows[0]["strength"]  # again, since some rows may have been left out
    left = [row for row in rows if row["strength"] >= floor]
    chosen: list[Mapping[str, Any]] = []
    units: Counter[str] = Counter()
    periods: Counter[str | None] = Counter()
    while left and len(chosen) < count:
        best = min(left, key=lambda r: (units[r["unit"]], periods[r["period"]]))
        left.remove(best)
        chosen.append(best)
        units[best["unit"]] += 1
        periods[best["period"]] += 1
    return sorted(chosen, key=lambda row: (-row["strength"], row["work"]))


def example(kind: str, row: Mapping[str, Any], public: Sequence[str] = ()) -> Example:
    """One row as an example."""
    part = row["part_name"] if row["part"] is not None else None
    return Example(
        kind=kind,
        work=row["work"],
        composer=plain(row["composer"] or _ANONYMOUS.get(row["unit"].partition(":")[0], "")),
        title=plain(_title(row)),
        period=row["period"],
        ensemble=row["ensemble"],
        licence=row["tier"] or "",
        corpus=row["corpus"],
        path=row["path"],
        number=row["file_number"] or "",
        first=int(row["first"]),
        last=int(row["last"]),
        position=int(row["position"]),
        bars=_bars(row),
        part=plain(part) if part else None,
        strength=round(float(row["strength"]), 1),
        private=row["corpus"] != _BUNDLED and row["corpus"] not in public,
        facts=row,
    )


def _title(row: Mapping[str, Any]) -> str:
    title = str(row["title"] or row["path"]).rstrip(" ,.")
    movement = row["movement"] or ""
    return f"{title}: {movement}" if movement and movement not in title else title


def _bars(row: Mapping[str, Any]) -> str:
    start, end = plain(str(row["start_bar"])), plain(str(row["end_bar"]))
    return f"bar {start}" if start == end else f"bars {start} to {end}"


def _known(value: Any) -> Any:
    """NULL comes as NaN where a column holds numbers."""
    return None if isinstance(value, float) and math.isnan(value) else value


def _check(source: Source, filters: Filters) -> None:
    asked = {
        "ensemble": filters.ensemble, "period": filters.period, "tier": filters.licence,
    }  # fmt: skip
    for column, value in asked.items():
        if value is not None:
            found = source.fetch_columns(
                sql.load("distinct_values").format(column=column, table="works")
            )
            known = [str(name) for name in found["name"]]
            if value not in known:
                word = "licence" if column == "tier" else column
                raise UsageError(f"--{word}: no work has '{value}'{_nearest(value, known)}")
    if filters.difficulty is not None and filters.difficulty not in DIFFICULTIES:
        raise UsageError(
            f"--difficulty: '{filters.difficulty}' is not known; "
            f"choose among {', '.join(DIFFICULTIES)}"
        )


def _nearest(word: str, known: Iterator[str] | Sequence[str] | Mapping[str, Any]) -> str:
    names = list(known)
    return did_you_mean(word, names) or f"; there are {', '.join(names)}"
