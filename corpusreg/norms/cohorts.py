"""Cohorts out of the store: the SQL side of `corpusreg.norms.reference`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from corpusreg.instruments.ensembles import kinds
from corpusreg.measures.definitions import MEASURES
from corpusreg.norms.reference import Cohort, Rung, unusualness_of_works
from corpusreg.score.duplicates import FEWEST_SHARED, SAME_SHARE
from corpusreg.store import sql
from corpusreg.system.errors import UsageError
from corpusreg.system.phrases import did_you_mean

__all__ = [
    "Copies", "RowSource", "fetch_cohort", "fetch_names", "fetch_octaves", "misfit",
    "own_copies", "parse_cohort", "with_unusualness",
]  # fmt: skip

# Works of a user's own cohort whose oddness is found while the user waits.
_SAMPLE = 40
_OCTAVES = 11

# What a user may choose a cohort by, with the words used on screen.
COLUMNS = (
    "ensemble",
    "family",
    "texture",
    "genre",
    "period",
    "composer",
    "collection",
    "corpus",
)


class RowSource(Protocol):
    """A reference, open or being built."""

    def fetch_columns(
        self, text: str, params: Mapping[str, object] | Sequence[object] | None = None
    ) -> dict[str, NDArray[Any]]:
        """Result columns as arrays."""


class OpenSource(RowSource, Protocol):
    """An open reference."""

    reference_id: str


@dataclass(frozen=True)
class Copies:
    """Works of the reference that are the same music as a piece, whole or in part.

    counted: the works that count in their place, which a comparison leaves out.
    """

    titles: tuple[str, ...] = ()
    counted: tuple[str, ...] = ()


def own_copies(source: RowSource, fingerprint: str | None, marks: NDArray[np.uint64]) -> Copies:
    """Copies of a piece, by its fingerprint and shingles (see `corpusreg.score.duplicates`)."""
    found = source.fetch_columns(
        sql.load("own_copies"),
        {
            "fingerprint": fingerprint,
            "marks": marks.tolist(),
            "fewest": FEWEST_SHARED,
            "share": SAME_SHARE,
        },
    )
    return Copies(
        tuple(map(str, found["title"])), tuple(sorted(set(map(str, found["counted"]))))
    )


def fetch_cohort(source: RowSource, rung: Rung, leave_out: Sequence[str] = ()) -> Cohort:
    """The works of a rung without some that are named by their ids."""
    conditions = " AND ".join(f'"{column}" = ${column}' for column in rung.where)
    params = {**rung.where, "leave_out": list(leave_out)}
    names = ", ".join(f'"{measure.name}"' for measure in MEASURES)
    rows = source.fetch_columns(
        sql.load("cohort").format(measures=names, conditions=conditions), params
    )
    unit, named = rows["unit_number"].astype(np.int64), rows["named"].astype(bool)
    return Cohort(
        rung=rung,
        unit=unit,
        values={m.name: rows[m.name].astype(np.float64) for m in MEASURES},
        bars=rows["bars"].astype(np.float64),
        voices=rows["voices"].astype(np.float64),
        composers=len(np.unique(unit[named])),
        sources=len(np.unique(unit[~named])),
        collections=len(set(rows["collection"].tolist())),
        collection=rows["collection"].astype(object),
        period=rows["period"].astype(object),
    )


def fetch_octaves(
    source: RowSource, cohort: Cohort, leave_out: Sequence[str] = ()
) -> NDArray[np.float64]:
    """How much of each work of a fetched cohort sounds in each octave, shape (works, 11).

    leave_out: as the cohort was fetched. Column 0 is octave -1; a row adds up to 1.
    """
    found = _of_works(source, "cohort_octaves", cohort, leave_out)
    shares = np.zeros((cohort.works, _OCTAVES))
    shares[found["place"].astype(np.int64), found["band"].astype(np.int64) + 1] = found["share"]
    return shares


def fetch_names(
    source: RowSource, cohort: Cohort, leave_out: Sequence[str] = ()
) -> NDArray[np.object_]:
    """Composer and title of each work of a fetched cohort, shape (works,)."""
    return _of_works(source, "cohort_names", cohort, leave_out)["name"].astype(object)


def _of_works(
    source: RowSource, query: str, cohort: Cohort, leave_out: Sequence[str]
) -> dict[str, NDArray[Any]]:
    where = cohort.rung.where
    conditions = " AND ".join(f'"{column}" = ${column}' for column in where)
    return source.fetch_columns(
        sql.load(query).format(conditions=conditions),
        {**where, "leave_out": list(leave_out)},
    )


def with_unusualness(source: RowSource, cohort: Cohort) -> Cohort:
    """The cohort with the oddness of its own works: as stored, or from a small sample."""
    stored = source.fetch_columns(sql.load("rung_oddness"), {"rung": cohort.rung.name})["value"]
    if not len(stored):
        stored = unusualness_of_works(cohort, _SAMPLE)
    return replace(cohort, odd=stored)


def parse_cohort(source: RowSource, text: str) -> Rung:
    """A rung from a user's 'ensemble=piano,period=romantic'.

    Raises UsageError that names the nearest valid words.
    """
    where: dict[str, str] = {}
    for pair in text.split(","):
        column, sign, value = (piece.strip() for piece in pair.partition("="))
        if not sign or column not in COLUMNS:
            raise UsageError(
                f"--cohort: '{pair.strip()}' is not understood; write NAME=VALUE with a name "
                f"among {', '.join(COLUMNS)}{did_you_mean(column, COLUMNS)}"
            )
        known = _known_values(source, column)
        if value not in known:
            hint = did_you_mean(value, known) or f"; there are {', '.join(known[:12])}"
            raise UsageError(f"--cohort: no work has {column} '{value}'{hint}")
        where[column] = value
    return Rung(where, _title(source, where))


def misfit(kind: str, *, single_line: bool, rung: Rung, placed: bool) -> str:
    """Why a group of works does not fit a piece, '' where it does.

    kind: of the piece's ensemble. placed: whether it has a place among them by any measure.
    'medium': they are for other players; 'mixed': for all kinds of players; 'texture': single
    lines, or several voices; 'few': too few of about its length; 'broad': of its wider family,
    since the reference has few of its own.
    """
    where, own = rung.where, kinds()[kind]
    ensemble, family = where.get("ensemble", kind), where.get("family", own.family)
    texture = "single line" if single_line else "several voices"
    if ensemble != kind or family != own.family:
        return "medium"
    if not {"ensemble", "family"} & set(where):
        return "mixed"
    if where.get("texture", texture) != texture:
        return "texture"
    if not placed:
        return "few"
    return "broad" if rung.broad else ""


def _title(source: RowSource, where: Mapping[str, str]) -> str:
    """What the works are called: 'romantic piano works by Frédéric Chopin'."""
    ensemble, family = where.get("ensemble"), where.get("family", "works")
    works = kinds()[ensemble].works if ensemble else family
    words = [where["period"]] if "period" in where else []
    words.append(works)
    if "texture" in where:
        single = where["texture"] == "single line"
        words.append("of a single line" if single else "in several voices")
    if "composer" in where:
        found = source.fetch_columns(sql.load("composer_name"), [where["composer"]])
        words.append(f"by {found['name'][0]}")
    if "genre" in where:
        words.append(f"of the genre '{where['genre']}'")
    words += [
        f"from the {column} '{where[column]}'"
        for column in ("collection", "corpus")
        if column in where
    ]
    return " ".join(words)


def _known_values(source: RowSource, column: str) -> list[str]:
    found = source.fetch_columns(
        sql.load("distinct_values").format(column=column, table="matrix")
    )
    return [str(value) for value in found["name"]]
