"""A difference between periods, or a trend, measured again in other ways.

ensembles     between works for the same ensembles only
length        on places among works of about the same length
writing       between works alike in having dynamics, pedal and repeats written or not
collections   without each collection in turn; the weakest result counts
dates         on works with a stated or sourced year only
years         with every year drawn DRAWS times between the first and the last in which the work
              can have been written (a composer's working life where no more is known); periods
              go with the years, and the spread of the results belongs to the interval
half, double  with half and with double bars, for measures that depend on barlines

A repetition supports a result when it goes the same way and its interval holds the result; it
contradicts the result when the two intervals exclude each other; otherwise it cannot tell.
So few composers that no values at all could reach ABLE cannot tell either: too little power is
never a contradiction.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.rebar import BARS, REBARRED
from corpusreg.norms import effects
from corpusreg.norms.effects import ALPHA, Groups
from corpusreg.norms.periods.results import CHECKS, Check, Says
from corpusreg.norms.periods.works import Works, periods_of

__all__ = ["TREND_UNITS", "Again", "Pair", "checked", "groups_of", "points_of", "result"]

TREND_UNITS = 3  # fewer have no slope worth the name
ABLE = 0.001  # ALPHA shared among some fifty tests
DRAWS = 20
_SEED = 1

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

    @property
    def shown(self) -> bool | None:
        """Whether there is a difference at all; None with too few composers for an interval."""
        if self.p is not None:
            return self.p <= ALPHA
        return None if self.interval is None else self.interval[0] * self.interval[1] > 0

    @property
    def able(self) -> bool:
        """Whether so many composers could show anything, whatever they wrote."""
        if len(self.units) == 1:
            return effects.smallest_trend_p(self.units[0]) <= ABLE
        return effects.smallest_p(*self.units) <= ABLE

    def says(self, full: Again) -> Says:
        """What it says of the result that it repeats."""
        if self.interval is None or full.interval is None or not self.able:
            return "cannot tell"
        low, high = self.interval
        if low > full.interval[1] or high < full.interval[0]:
            return "contradicts"
        if self.value * full.value > 0 and low <= full.value <= high:
            return "supports"
        return "cannot tell"

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
    works: Works, values: Floats, parts: Sequence[Flags], pair: Pair | None
) -> Again | None:
    """The result from parts of the works, between which nothing is compared.

    parts: rows of each, shape (n,). None where too little is left to compare.
    """
    if pair is None:
        return _trend(works, values, parts)
    strata = [groups_of(works, values, rows, pair) for rows in parts]
    strata = [each for each in strata if len(each.earlier) and len(each.later)]
    if not strata:
        return None
    found = effects.effect(strata)
    return Again(found.delta, found.interval, None, (found.earlier, found.later))


def _trend(works: Works, values: Floats, parts: Sequence[Flags]) -> Again | None:
    strata = [points_of(works, values, rows) for rows in parts]
    strata = [(years, means) for years, means in strata if len(np.unique(years)) > 1]
    units = sum(len(years) for years, _ in strata)
    if units < TREND_UNITS:
        return None
    found = effects.trend(strata)
    return Again(found.tau, found.interval, found.p, (units,))


def checked(works: Works, name: str, pair: Pair | None, full: Again) -> Iterator[Check]:
    """A result repeated in every way of CHECKS."""
    values = works.values[name]
    use = np.isfinite(values)
    if pair is not None:
        use = use & np.isin(works.period, pair)
    for check in CHECKS:
        if check in ("ensembles", "writing"):
            classes = works.ensemble if check == "ensembles" else works.writing
            parts = _parts(works, use, pair, classes.astype(str))
            again = result(works, values, list(parts.values()), pair)
            yield _check(check, again, full, tuple(parts), "nothing in common to compare")
        elif check == "collections":
            yield _without_each(works, values, use, pair, full)
        elif check == "years":
            yield _check(check, _drawn(works, name, pair), full, (), "too few works")
        elif check in BARS and name not in REBARRED:
            yield Check(check, reason="not taken with other bars")
        else:
            given = _given(works, name, check)
            rows = use & np.isfinite(given)
            yield _check(check, result(works, given, [rows], pair), full, (), "too few works")


@lru_cache(maxsize=4)
def _redated(works: Works) -> tuple[Works, ...]:
    """The works with their years drawn, and the periods that go with these."""
    random = np.random.default_rng(_SEED)
    drawn = random.uniform(works.first, works.last + 1, size=(DRAWS, len(works)))
    years = np.floor(drawn)
    return tuple(replace(works, year=each, period=periods_of(each)) for each in years)


def _drawn(works: Works, name: str, pair: Pair | None) -> Again | None:
    """The result with drawn years; its error holds that of the years as they are."""
    values = works.values[name]
    has = np.isfinite(values)
    if pair is None:
        taus = [effects.trend([points_of(each, values, has)]).tau for each in _redated(works)]
        points = points_of(works, values, has)
        return Again(*effects.trend([points]).drawn(taus), (len(points[0]),))
    groups = [groups_of(each, values, has, pair) for each in (works, *_redated(works))]
    if not all(len(each.earlier) and len(each.later) for each in groups):
        return None
    deltas = [effects.delta(each.earlier_values, each.later_values) for each in groups[1:]]
    found = effects.effect(groups[:1], deltas)
    return Again(found.delta, found.interval, None, (found.earlier, found.later))


def _given(works: Works, name: str, check: str) -> Floats:
    """The values that a result is repeated on, NaN for works that are left out."""
    values = works.values[name]
    if check == "dates":
        return np.where(works.stated, values, np.nan)
    if check in BARS:
        return works.rebarred[check][name]
    return _within_length(works, name)


def _parts(
    works: Works, use: Flags, pair: Pair | None, classes: NDArray[np.str_]
) -> dict[str, Flags]:
    """Rows of each class in which there is something to compare.

    For a trend each composer is in the class of most of his works only, so that he
    counts once.
    """
    if pair is None:
        use = use & _main(works.unit, classes, use)
    parts = {str(each): use & (classes == each) for each in np.unique(classes[use])}
    return {
        each: rows
        for each, rows in parts.items()
        if (
            len(np.unique(points_of(works, works.year, rows)[0])) > 1
            if pair is None
            else all((rows & (works.period == place)).any() for place in pair)
        )
    }


def _main(unit: NDArray[np.int64], classes: NDArray[np.str_], use: Flags) -> Flags:
    """Works in the class that most works of their unit are in, among those in `use`."""
    main = np.zeros(len(unit), bool)
    for each in np.unique(unit[use]):
        own = use & (unit == each)
        kinds, count = np.unique(classes[own], return_counts=True)
        main |= own & (classes == kinds[np.argmax(count)])
    return main


@lru_cache(maxsize=32)
def _within_length(works: Works, name: str) -> Floats:
    """Places among works of about the same length, whatever their period."""
    values = works.values[name]
    has = np.isfinite(values)
    places = np.full(len(values), np.nan)
    places[has] = effects.ranks_within_length(values[has], works.unit[has], works.bars[has])
    return places


def _without_each(
    works: Works, values: Floats, use: Flags, pair: Pair | None, full: Again
) -> Check:
    """The weakest of the results without one collection."""
    found: list[tuple[float, str, Again]] = []
    for collection in sorted(set(works.collection[use].tolist())):
        again = result(works, values, [use & (works.collection != collection)], pair)
        title = works.titles.get(collection, collection)
        if again is None:
            reason = f"nothing to compare without '{title}'"
            return Check("collections", what=(title,), reason=reason)
        found.append((again.strength(float(np.sign(full.value))), title, again))
    _, title, weakest = min(found, key=lambda each: each[:2])
    return _check("collections", weakest, full, (title,), "")


def _check(
    name: str, again: Again | None, full: Again, what: tuple[str, ...], nothing: str
) -> Check:
    """`nothing`: what is said where there was nothing to repeat it on."""
    if again is None:
        return Check(name, what=what, reason=nothing)
    says = again.says(full)
    turned = again.value * full.value < 0
    gone = turned or (again.able and again.shown is False)
    why = "less sure than the whole" if again.able else "too few composers to say"
    why = "may be none" if gone else why
    return Check(
        name,
        value=again.value,
        interval=again.interval,
        p=again.p,
        units=again.units,
        what=what,
        says=says,
        reason=why if says == "cannot tell" else "",
        gone=gone,
    )
