"""Questions to a reference: a measure by group, and SQL."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from corpusreg.measures.definitions import BY_NAME
from corpusreg.norms.reference import unit_weights, weighted_quantile
from corpusreg.store import Reference, Result, sql
from corpusreg.system.errors import UsageError
from corpusreg.system.phrases import nearest

__all__ = ["COLUMNS", "GROUPS", "query", "table", "ungrouped"]

# What `table --by` groups by: the word for people, and the column.
GROUPS = {
    "period": "period",
    "ensemble": "ensemble",
    "composer": "composer",
    "corpus": "collection",
}

_SHARES = (10, 25, 50, 75, 90)
# Of a table: how many stand behind a group, then its percentiles.
COLUMNS = ("group", "works", "units", "collections", *(f"p{share}" for share in _SHARES))


def table(reference: Reference, measure: str, by: str) -> list[dict[str, Any]]:
    """Composer-weighted percentiles of a measure by group, one row a group.

    Columns: group, works, units (composers, or sources of anonymous works),
    collections, and the percentiles p10, p25, p50, p75, p90 in the measure's unit.

    Raises UsageError for an unknown measure or group.
    """
    column = _group_column(measure, by)
    found = reference.fetch_columns(
        sql.load("group_values").format(group=column, measure=measure)
    )
    rows = []
    for group in dict.fromkeys(found["group"].tolist()):
        chosen = found["group"] == group
        values, unit = found["value"][chosen], found["unit_number"][chosen]
        weights = unit_weights(unit, np.ones(len(unit)))
        rows.append(
            {
                "group": group,
                "works": len(unit),
                "units": len(np.unique(unit)),
                "collections": len(set(found["collection"][chosen].tolist())),
            }
            | {
                f"p{share}": round(weighted_quantile(values, weights, share / 100), 4)
                for share in _SHARES
            }
        )
    return rows


def ungrouped(reference: Reference, measure: str, by: str) -> tuple[int, int]:
    """Works that stand in no row of `table`: without the measure, and without a group.

    A work is without the measure where it is too short for it, or has none.
    """
    column = _group_column(measure, by)
    found = reference.fetch_columns(sql.load("ungrouped").format(group=column, measure=measure))
    return int(found["valueless"][0]), int(found["groupless"][0])


def _group_column(measure: str, by: str) -> str:
    if measure not in BY_NAME:
        raise UsageError(f"no measure '{measure}'{nearest(measure, BY_NAME)}")
    if by not in GROUPS:
        raise UsageError(f"cannot group by '{by}'{nearest(by, GROUPS)}")
    return GROUPS[by]


def query(
    reference: Reference, name: str, given: Mapping[str, object]
) -> tuple[Result, sql.Query]:
    """Rows of a stored query or of a user's SQL file, and the query itself.

    Raises UsageError where there are none because nothing has the value that is asked for.
    """
    wanted = sql.find(name)
    ask = reference.query_apart if wanted.own else reference.query
    result = ask(wanted.text, wanted.values(given))
    if not result.rows:
        _check_words(reference, given)
    return result, wanted


def _check_words(reference: Reference, given: Mapping[str, object]) -> None:
    """Raise UsageError for a value that nothing in the reference has, with the nearest."""
    for name, value in given.items():
        found = reference.fetch_columns(sql.load("known_values"), {"parameter": name})["name"]
        if len(found) and value not in found:
            raise UsageError(
                f"{name}: nothing has '{value}'{nearest(str(value), found.tolist())}"
            )
