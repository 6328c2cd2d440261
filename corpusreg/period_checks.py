"""A difference between periods, or a trend, measured again in other ways.

ensembles     between works for the same ensembles only
length        on places among works of about the same length
collections   without each collection in turn; the weakest result counts
dates         on works with a stated or sourced year only
half, double  with half and with double bars, for measures that depend on barlines
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg import effects
from corpusreg.effects import ALPHA, Groups
from corpusreg.period_results import CHECKS, Check
from corpusreg.period_works import Works
from corpusreg.rebar import REBARRED

__all__ = ["TREND_UNITS", "Again", "Pair", "checked", "groups_of", "points_of", "result"]

TREND_UNITS = 3  # fewer have no slope worth the name

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
# Places of two neighbouring periods; None stands for the trend over all years.
Pair = tuple[int, int]


@dataclass(frozen=True)
class Again:
    """A result once more: its value, what goes with it, and how sure its direction is."""

    value: float
    interval: tuple[float, float] | None
    p: float | None
    units: tuple[int, ...]

    def survives(self, sign: float) -> bool | None:
        """Whether it still goes the way of `sign`; None with too few composers to say."""
        if self.value * sign <= 0:
            return False
        if self.p is not None:
            able = effects.smallest_trend_p(self.units[0]) <= ALPHA
            return self.p <= ALPHA if able else None
        if self.interval is None:
            return None
        return min(side * sign for side in self.interval) > 0

    def strength(self, sign: float) -> float:
        """Lower for a weaker result in the direction of `sign`."""
        if self.p is not None:
            return float(np.sign(self.value * sign)) * (1 - self.p)
        return (
            self.value * sign
            if self.interval is None
            else min(side * sign for side in self.interval)
        )


def groups_of(works: Works, values: Floats, use: Flags, pair: Pair) -> Groups:
    """Means of composers in the two periods, of the works in `use`."""
    first, second = (use & (works.period == place) for place in pair)
    return Groups(
        *effects.unit_means(values[first], works.unit[first]),
        *effects.unit_means(values[second], works.unit[second]),
    )


def points_of(works: Works, values: Floats, use: Flags) -> tuple[Floats, Floats]:
    """Mean year and mean value of every composer, of the works in `use`."""
    _, years = effects.unit_means(works.year[use], works.unit[use])
    return years, effects.unit_means(values[use], works.unit[use])[1]


def result(
    works: Works, values: Floats, use: Flags, pair: Pair | None, within: bool = False
) -> Again | str:
    """The result from the works in `use`; `within` ensembles only. Else why there is none."""
    if pair is None:
        return _trend(works, values, use, within)
    strata = []
    for kind in sorted(set(works.ensemble[use].tolist())) if within else [None]:
        rows = use if kind is None else use & (works.ensemble == kind)
        groups = groups_of(works, values, rows, pair)
        if len(groups.earlier) and len(groups.later):
            strata.append(groups)
    if not strata:
        return "no ensemble is in both periods" if within else "one period has no work then"
    found = effects.effect(strata)
    return Again(found.delta, found.interval, None, (found.earlier, found.later))


def _trend(works: Works, values: Floats, use: Flags, within: bool) -> Again | str:
    strata = []
    for unit_rows in _main_ensembles(works, use).values() if within else [use]:
        years, means = points_of(works, values, unit_rows)
        if len(np.unique(years)) > 1:
            strata.append((years, means))
    units = sum(len(years) for years, _ in strata)
    if units < TREND_UNITS:
        return "fewer than three composers are left"
    found = effects.trend(strata)
    return Again(found.tau, None, found.p, (units,))


def _main_ensembles(works: Works, use: Flags) -> dict[str, Flags]:
    """Works by ensemble, each composer with the one he has most works for only."""
    chosen: dict[str, Flags] = {}
    for unit in np.unique(works.unit[use]):
        own = use & (works.unit == unit)
        kinds, count = np.unique(works.ensemble[own].astype(str), return_counts=True)
        main = str(kinds[np.argmax(count)])
        rows = own & (works.ensemble == main)
        chosen[main] = chosen[main] | rows if main in chosen else rows
    return chosen


def checked(works: Works, name: str, pair: Pair | None, sign: float) -> Iterator[Check]:
    """A result that goes the way of `sign`, repeated in every way of CHECKS."""
    values = works.values[name]
    has = np.isfinite(values)
    if pair is not None:
        has = has & np.isin(works.period, pair)
    for check in CHECKS:
        if check == "collections":
            yield _without_each(works, values, has, pair, sign)
            continue
        given, use, within = values, has, False
        if check == "ensembles":
            within = True
        elif check == "dates":
            use = has & works.stated
        elif check == "length":
            given = _within_length(works, values)
            use = has & np.isfinite(given)
        elif name in REBARRED:
            given = works.rebarred[check][name]
            use = has & np.isfinite(given)
        else:
            yield Check(check, reason="not taken with other bars")
            continue
        again = result(works, given, use, pair, within)
        yield _check(check, again, sign, _common(works, use, pair) if within else ())


def _within_length(works: Works, values: Floats) -> Floats:
    """Places among works of about the same length, whatever their period."""
    has = np.isfinite(values)
    places = np.full(len(values), np.nan)
    places[has] = effects.ranks_within_length(values[has], works.unit[has], works.bars[has])
    return places


def _common(works: Works, use: Flags, pair: Pair | None) -> tuple[str, ...]:
    """Ensembles in which something is compared."""
    if pair is None:
        return tuple(
            kind
            for kind, rows in sorted(_main_ensembles(works, use).items())
            if len(np.unique(points_of(works, works.year, rows)[0])) > 1
        )
    first, second = (set(works.ensemble[use & (works.period == p)].tolist()) for p in pair)
    return tuple(sorted(first & second))


def _without_each(
    works: Works, values: Floats, use: Flags, pair: Pair | None, sign: float
) -> Check:
    """The weakest of the results without one collection."""
    found: list[tuple[float, str, Again]] = []
    for collection in sorted(set(works.collection[use].tolist())):
        again = result(works, values, use & (works.collection != collection), pair)
        title = works.titles.get(collection, collection)
        if isinstance(again, str):
            return Check("collections", what=(title,), reason=f"without '{title}' {again}")
        found.append((again.strength(sign), title, again))
    _, title, weakest = min(found, key=lambda each: each[:2])
    return _check("collections", weakest, sign, (title,))


def _check(name: str, again: Again | str, sign: float, what: tuple[str, ...]) -> Check:
    if isinstance(again, str):
        return Check(name, what=what, reason=again)
    survives = again.survives(sign)
    return Check(
        name,
        value=again.value,
        interval=again.interval,
        p=again.p,
        units=again.units,
        what=what,
        survives=survives,
        reason="too few composers to say" if survives is None else "",
    )
