"""The works that a result about periods stands on, as arrays out of the store."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corpusreg.corpus.dates import working_life
from corpusreg.corpus.tables import rows as data_rows
from corpusreg.measures.definitions import BY_NAME, MEASURES
from corpusreg.measures.rebar import BARS, REBARRED
from corpusreg.norms.cohorts import OpenSource
from corpusreg.store import sql
from corpusreg.system.errors import UsageError
from corpusreg.system.phrases import did_you_mean

__all__ = ["Works", "check_words", "fetch_works", "period_rows", "periods_of", "unit_names"]

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Works:
    """Works with a period; every array has shape (n,). Equal only to itself.

    unit: number of the composer or source; period: place in the table of periods.
    first, last: between which years each was written, a life's being its working life.
    stated: the year is stated or sourced. dynamics, pedal, repeats: written in the score.
    values: by measure, NaN where a work has none; rebarred: by kind of bars and measure.
    around: works without a period. titles: names of the collections.
    """

    unit: NDArray[np.int64]
    composer: NDArray[Any]
    period: NDArray[np.int64]
    year: Floats
    first: Floats
    last: Floats
    ensemble: NDArray[Any]
    collection: NDArray[Any]
    bars: Floats
    stated: Flags
    dynamics: Flags
    pedal: Flags
    repeats: Flags
    values: Mapping[str, Floats]
    rebarred: Mapping[str, Mapping[str, Floats]]
    around: int
    titles: Mapping[str, str]

    def __len__(self) -> int:
        return len(self.unit)

    @property
    def writing(self) -> NDArray[Any]:
        """What is written in each score besides notes, in words, shape (n,)."""
        flags = {"dynamics": self.dynamics, "pedal": self.pedal, "repeats": self.repeats}
        return np.array(
            [
                " and ".join(name for name, has in zip(flags, row, strict=True) if has)
                or "notes only"
                for row in zip(*flags.values(), strict=True)
            ]
        )


def fetch_works(source: OpenSource, ensemble: str | None = None) -> Works:
    """The works of the reference that have a period; of one ensemble where it is named.

    Raises UsageError for an ensemble that no work has, with the nearest words.
    """
    if ensemble is not None:
        found = source.fetch_columns(
            sql.load("distinct_values").format(column="ensemble", table="matrix")
        )
        known = [str(kind) for kind in found["name"]]
        if ensemble not in known:
            raise UsageError(f"--ensemble: no work is for '{ensemble}'{_near(ensemble, known)}")
    names = [measure.name for measure in MEASURES]
    repeated = {f"{bars}_{name}": (bars, name) for bars in BARS for name in REBARRED}
    pivot = ", ".join(
        f"max(value) FILTER (bars = '{bars}' AND name = '{name}') AS \"{column}\""
        for column, (bars, name) in repeated.items()
    )
    text = sql.load("periods").format(
        measures=", ".join(f'm."{name}"' for name in names), rebarred=pivot
    )
    rows = source.fetch_columns(text, {"ensemble": ensemble})
    around = source.fetch_columns(sql.load("periods_around"), {"ensemble": ensemble})
    titles = source.fetch_columns(sql.load("collection_titles"))
    order = [row["name"] for row in period_rows()]
    first, last = _between(rows)
    return Works(
        unit=rows["unit_number"].astype(np.int64),
        composer=rows["composer"],
        period=np.array([order.index(str(name)) for name in rows["period"]], np.int64),
        year=rows["year"].astype(np.float64),
        first=first,
        last=last,
        ensemble=rows["ensemble"],
        collection=rows["collection"],
        bars=rows["bars"].astype(np.float64),
        stated=rows["stated"].astype(bool),
        dynamics=rows["dynamics"].astype(bool),
        pedal=rows["pedal"].astype(bool),
        repeats=rows["repeats"].astype(bool),
        values={name: rows[name].astype(np.float64) for name in names},
        rebarred={
            bars: {name: rows[f"{bars}_{name}"].astype(np.float64) for name in REBARRED}
            for bars in BARS
        },
        around=int(around["works"][0]),
        titles=dict(zip(titles["collection"].tolist(), titles["title"].tolist(), strict=True)),
    )


def _between(rows: Mapping[str, NDArray[Any]]) -> tuple[Floats, Floats]:
    """The first and the last year in which each work can have been written, shape (n,)."""
    year = rows["year"].astype(np.float64)
    first, last = (rows[end].astype(np.float64) for end in ("year_from", "year_to"))
    for row in np.flatnonzero(rows["life"].astype(bool) & np.isfinite(first)).tolist():
        died = int(last[row]) if np.isfinite(last[row]) else None
        life = working_life(int(first[row]), died)
        first[row], last[row] = life.first, life.last
    known = np.isfinite(first) & np.isfinite(last)
    return np.where(known, first, year), np.where(known, last, year)


def periods_of(years: Floats) -> NDArray[np.int64]:
    """The place in the table of periods that each year belongs to, shape (n,)."""
    begins = [float(row["first"] or -np.inf) for row in period_rows()]
    return np.searchsorted(begins, years, side="right").astype(np.int64) - 1


def check_words(measures: Sequence[str]) -> None:
    """Raise UsageError for a word that is no measure, with the nearest words."""
    order = [row["name"] for row in period_rows()]
    for word in measures:
        if word in BY_NAME:
            continue
        if difflib.get_close_matches(word, order, n=1, cutoff=0.6):
            raise UsageError(
                f"'{word}' looks like a period, not a measure{_near(word, order)}; all periods "
                "are compared with their neighbours, so name measures only"
            )
        raise UsageError(f"no measure '{word}'{_near(word, list(BY_NAME))}")


def period_rows() -> tuple[dict[str, str], ...]:
    """The table of periods in order of time: name, first and last year."""
    return data_rows("periods.csv")


def _near(word: str, known: Sequence[str]) -> str:
    """The nearest valid words, or all of them."""
    return did_you_mean(word, known) or f"; there are {', '.join(known)}"


def unit_names(source: OpenSource) -> dict[int, str]:
    """What each composer or source is called, by its number in Works.unit."""
    found = source.fetch_columns(sql.load("composer_names"))
    names = [
        name.replace("anonymous:", "anonymous works of ").replace("tunes:", "tunes of ")
        for name in found["name"].tolist()
    ]
    return dict(zip(found["unit_number"].tolist(), names, strict=True))
