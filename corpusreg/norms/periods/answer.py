"""Register habits by period: what differs, and what repeating it says.

A difference between two neighbouring periods, or a trend over the years, is tested with
the composer as unit and corrected over every measure, pair of periods and trend, asked
for or not. All that can be tested is repeated (`corpusreg.norms.periods.checks`): a result that
some repetition contradicts is told as that and no more.

Verdicts
--------
cannot be tested   so few composers cannot reach a p that passes, whatever they wrote
not shown          the corrected p is above .05, or the interval includes no difference
contradicted       shown, and contradicted by a repetition
open               shown, but works for the same ensembles do not support it, or a repetition
                   turns around, or could show a difference and shows none, or a trend may be
                   flat once composers and collections have effects of their own
holds              shown, supported within ensembles, and gone nowhere
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.definitions import BY_NAME, MEASURES
from corpusreg.norms import effects
from corpusreg.norms.effects import ALPHA
from corpusreg.norms.periods.checks import (
    TREND_UNITS,
    Again,
    Pair,
    checked,
    groups_of,
    points_of,
    result,
)
from corpusreg.norms.periods.results import (
    Check,
    MeasureStudy,
    Period,
    PeriodCell,
    PeriodFinding,
    Study,
)
from corpusreg.norms.periods.works import Works, period_rows
from corpusreg.norms.reference import unit_weights, weighted_quantile

__all__ = ["study"]

Flags = NDArray[np.bool_]


def study(works: Works, measures: Sequence[str] = (), ensemble: str | None = None) -> Study:
    """Compare neighbouring periods and look for trends, in these measures or in all.

    measures: names in definitions. ensemble: the one that `works` are for, if one.
    """
    present = np.unique(works.period).tolist()
    neighbours: list[Pair] = list(itertools.pairwise(present))
    tests = [
        (measure.name, pair)
        for measure in MEASURES
        for pair in (*neighbours, None)
        if _possible(works, measure.name, pair)
    ]
    least = np.array([_smallest(works, name, pair) for name, pair in tests])
    counted = np.flatnonzero(effects.can_pass(least))
    p = np.array([_p(works, *tests[test]) for test in counted])
    figures: dict[tuple[str, Pair | None], tuple[float, float | None, float | None]] = {
        test: (float(smallest), None, None) for test, smallest in zip(tests, least, strict=True)
    }
    for test, own, corrected in zip(counted, p, effects.adjusted(p), strict=True):
        figures[tests[test]] = (float(least[test]), float(own), float(corrected))
    return Study(
        ensemble=ensemble,
        periods=tuple(_period(works, place) for place in present),
        measures=tuple(
            MeasureStudy(
                BY_NAME[name],
                tuple(_cells(works, name, present)),
                tuple(
                    _finding(works, name, pair, figures[name, pair])
                    for pair in neighbours
                    if (name, pair) in figures
                ),
                _finding(works, name, None, figures[name, None])
                if (name, None) in figures
                else None,
            )
            for name in dict.fromkeys(measures or BY_NAME)
        ),
        works=len(works),
        units=len(np.unique(works.unit)),
        around=works.around,
        tests=len(tests),
        counted=len(counted),
    )


def _possible(works: Works, name: str, pair: Pair | None) -> bool:
    has = np.isfinite(works.values[name])
    if pair is not None:
        return all(bool((has & (works.period == place)).any()) for place in pair)
    years, _ = points_of(works, works.values[name], has)
    return len(years) >= TREND_UNITS and len(np.unique(years)) > 1


def _smallest(works: Works, name: str, pair: Pair | None) -> float:
    """The smallest p of the design, whatever the values are."""
    values = works.values[name]
    if pair is None:
        return effects.smallest_trend_p(len(points_of(works, values, np.isfinite(values))[0]))
    groups = groups_of(works, values, np.isfinite(values), pair)
    return effects.smallest_p(len(groups.earlier), len(groups.later), len(groups.both))


def _p(works: Works, name: str, pair: Pair | None) -> float:
    values = works.values[name]
    if pair is None:
        return effects.trend([points_of(works, values, np.isfinite(values))]).p
    return effects.rank_test(groups_of(works, values, np.isfinite(values), pair))


def _period(works: Works, place: int) -> Period:
    row = period_rows()[place]
    rows = works.period == place
    return Period(
        name=row["name"],
        first=int(row["first"]) if row["first"] else None,
        last=int(row["last"]) if row["last"] else None,
        works=int(rows.sum()),
        units=len(np.unique(works.unit[rows])),
        composers=len({name for name in works.composer[rows].tolist() if name}),
        collections=_collections(works, rows),
        ensembles=tuple(sorted(set(works.ensemble[rows].tolist()))),
        dynamics=float(works.dynamics[rows].mean()),
        pedal=float(works.pedal[rows].mean()),
        repeats=float(works.repeats[rows].mean()),
        stated=float(works.stated[rows].mean()),
    )


def _collections(works: Works, rows: Flags) -> tuple[str, ...]:
    return tuple(works.titles.get(c, c) for c in sorted(set(works.collection[rows].tolist())))


def _cells(works: Works, name: str, present: Sequence[int]) -> Iterator[PeriodCell]:
    values = works.values[name]
    for place in present:
        rows = np.isfinite(values) & (works.period == place)
        if not rows.any():
            continue
        own, unit = values[rows], works.unit[rows]
        yield PeriodCell(
            period=period_rows()[place]["name"],
            works=len(own),
            units=len(np.unique(unit)),
            collections=_collections(works, rows),
            median=weighted_quantile(own, unit_weights(unit, np.ones(len(unit))), 0.5),
            interval=effects.median_interval(own, unit),
        )


def _finding(
    works: Works,
    name: str,
    pair: Pair | None,
    figures: tuple[float, float | None, float | None],
) -> PeriodFinding:
    values = works.values[name]
    has = np.isfinite(values)
    smallest, p, corrected = figures
    raw = result(works, values, [has], pair)
    assert raw is not None  # `_possible` has seen to it
    checks = () if p is None else tuple(checked(works, name, pair, raw))
    both, rows = 0, has
    slope = None
    if pair is None:
        collection = np.unique(works.collection[has].astype(str), return_inverse=True)[1]
        slope = effects.composers_slope(
            works.year[has], values[has], works.unit[has], collection
        )
    else:
        both = len(groups_of(works, values, has, pair).both)
        rows = has & np.isin(works.period, pair)
    return PeriodFinding(
        periods=tuple(period_rows()[place]["name"] for place in pair or ()),
        value=raw.value,
        interval=raw.interval,
        units=raw.units,
        both=both,
        works=int(rows.sum()),
        smallest=smallest,
        p=p,
        corrected=corrected,
        checks=checks,
        verdict=_verdict(raw, corrected, checks, slope),
        slope=slope,
    )


def _verdict(
    raw: Again,
    corrected: float | None,
    checks: Sequence[Check],
    slope: tuple[float, float, float] | None,
) -> str:
    """cannot be tested, not shown, contradicted, open (not to be told), or holds."""
    if corrected is None:
        return "cannot be tested"
    if corrected > ALPHA or raw.shown is False:
        return "not shown"
    if any(check.says == "contradicts" for check in checks):
        return "contradicted"
    alike = next(check for check in checks if check.name == "ensembles")
    sure = alike.says == "supports" and not any(check.gone for check in checks)
    flat = slope is not None and slope[1] * slope[2] <= 0
    return "holds" if sure and not flat else "open"
