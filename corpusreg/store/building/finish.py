"""The last step of a build: what depends on all works together.

Works outside the chosen licence tiers go, copies of the same music are marked,
the matrix that comparisons read is made, and every rung of the ladder gets its
table of quantiles before any piece is seen.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from corpusreg.instruments.ensembles import kinds
from corpusreg.measures.definitions import MEASURES
from corpusreg.norms.cohorts import fetch_cohort
from corpusreg.norms.profiles.stored import profile_rows
from corpusreg.norms.reference import (
    Cohort,
    Rung,
    ladder,
    oddness_of_works,
    unit_weights,
    weighted_quantile,
)
from corpusreg.score.duplicates import FEWEST_SHARED, SAME_SHARE, groups
from corpusreg.store import Draft, sql
from corpusreg.store.building.doubts import doubtful
from corpusreg.store.tables import EXTRACTED

__all__ = ["finishing"]

_SHARES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
# How odd the works of a rung are among each other: from so many works, kept at
# so many shares.
_ODD_WORKS = 100
_ODD_SHARES = tuple(round(step / 50, 2) for step in range(51))
# Works of which the matrix is made at once; a million need more memory than a build has.
_SLICE = 100_000
_TABLES = (*(table for table in EXTRACTED if table not in ("works", "failures")), "works")


def finishing(tiers: Sequence[str]) -> Callable[[Draft], None]:
    """The step that `publish` calls with the draft; tiers: those the user asked for."""

    def finish(draft: Draft) -> None:
        for table in _TABLES:
            draft.execute(sql.load("outside").format(table=table), {"tiers": list(tiers)})
        _mark_copies(draft)
        draft.insert("left_out", doubtful(draft))
        _make_matrix(draft)
        _store_rungs(draft)

    return finish


def _mark_copies(draft: Draft) -> None:
    """Let works that are the same music count once."""
    limits = {"fewest": FEWEST_SHARED, "share": SAME_SHARE}
    found = draft.fetch_columns(sql.load("same_pairs"), limits)
    alike = groups(zip(found["one"].tolist(), found["other"].tolist(), strict=True))
    numbered = [(work, number) for number, works in enumerate(alike) for work in works]
    draft.execute(
        sql.load("copies"),
        {"works": [work for work, _ in numbered], "numbers": [n for _, n in numbered]},
    )


def _make_matrix(draft: Draft) -> None:
    """The table that comparisons read, slice after slice."""
    columns = ", ".join(
        f"max(m.value) FILTER (m.name = '{m.name}') AS \"{m.name}\"" for m in MEASURES
    )
    rows = sql.load("matrix").format(measures=columns)
    draft.execute(sql.load("unit_numbers"))
    slices = draft.fetch_columns(sql.load("matrix_slices"), {"size": _SLICE})
    # Without works the table is there too, and empty.
    pairs = list(zip(slices["first"].tolist(), slices["last"].tolist(), strict=True)) or [
        ("", "")
    ]
    for number, (first, last) in enumerate(pairs):
        what = "INSERT INTO matrix" if number else "CREATE TABLE matrix AS"
        draft.execute(f"{what}\n{rows}", {"first": first, "last": last})
    draft.execute(sql.load("matrix_comment"))
    draft.execute("DROP TABLE temp.unit_numbers")


def _store_rungs(draft: Draft) -> None:
    found = draft.fetch_columns(sql.load("rung_values"))
    rungs: dict[str, Rung] = {}
    for name in found["ensemble"]:
        kind = kinds()[str(name)]
        for rung in ladder(kind.kind, kind.works, kind.family, medium=kind.placed):
            rungs[rung.name] = rung
    rows: list[tuple[object, ...]] = []
    quantiles: list[tuple[object, ...]] = []
    for name in sorted(rungs):
        cohort = fetch_cohort(draft, rungs[name])
        rows.append(_rung_row(cohort))
        quantiles += _quantile_rows(cohort)
    draft.insert("rungs", rows)
    draft.insert("rung_quantiles", quantiles)
    profiles = profile_rows(draft, rungs.values())
    for table, each in profiles.items():
        draft.insert(table, each)


def _rung_row(cohort: Cohort) -> tuple[object, ...]:
    rung = cohort.rung
    counts = (cohort.works, cohort.composers, cohort.sources, cohort.collections)
    return (rung.name, rung.title, rung.broad, *counts, cohort.effective)


def _quantile_rows(cohort: Cohort) -> list[tuple[object, ...]]:
    rows: list[tuple[object, ...]] = []
    for name, values in cohort.values.items():
        has = np.isfinite(values)
        weights = unit_weights(cohort.unit, has.astype(float))
        rows += _quantiles(cohort.rung.name, name, values[has], weights[has], _SHARES)
    odd = oddness_of_works(cohort, _ODD_WORKS)
    return rows + _quantiles(cohort.rung.name, "oddness", odd, np.ones(len(odd)), _ODD_SHARES)


def _quantiles(
    rung: str,
    measure: str,
    values: NDArray[np.float64],
    weights: NDArray[np.float64],
    shares: Sequence[float],
) -> list[tuple[object, ...]]:
    if not len(values):
        return []
    # Rounded, since sums may differ in their last bits from machine to machine.
    return [
        (rung, measure, share, round(weighted_quantile(values, weights, share), 9))
        for share in shares
    ]
