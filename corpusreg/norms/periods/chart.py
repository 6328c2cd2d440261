"""What a picture of one measure over the periods shows: works by composer, and the trend.

Composers stand in the order of their music's mean year, then by number, and are not ranked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from corpusreg.measures.definitions import Measure
from corpusreg.norms.cohorts import OpenSource
from corpusreg.norms.periods.checks import points_of
from corpusreg.norms.periods.results import MeasureStudy, PeriodCell, PeriodFinding, Study
from corpusreg.norms.periods.works import Works, period_rows
from corpusreg.store import sql
from corpusreg.text.periods import cell_name, finding_words, findings, untested_words

__all__ = ["Band", "Chart", "TrendLine", "charts", "unit_names"]


@dataclass(frozen=True)
class ComposerValues:
    """One composer or source in one period; values: one a work, in order of size."""

    name: str
    year: float
    values: tuple[float, ...]


@dataclass(frozen=True)
class Band:
    """One period of a chart. name: as it is called, by its one collection where it has one."""

    name: str
    cell: PeriodCell
    composers: tuple[ComposerValues, ...]


@dataclass(frozen=True)
class TrendLine:
    """Composers over the years, and the trend through them.

    years, values: of each composer. ends: first and last year. middle, low, high: value of
    the trend at both ends, for the slope and for both ends of its interval.
    """

    years: tuple[float, ...]
    values: tuple[float, ...]
    ends: tuple[float, float]
    middle: tuple[float, float]
    low: tuple[float, float]
    high: tuple[float, float]


@dataclass(frozen=True)
class Chart:
    """A measure over the periods.

    findings: those that were tested, with their words, the trend last; untested: why the
    others could not be, '' where all were.
    """

    measure: Measure
    bands: tuple[Band, ...]
    line: TrendLine | None
    findings: tuple[tuple[PeriodFinding, str], ...]
    untested: str


def unit_names(source: OpenSource) -> dict[int, str]:
    """What each composer or source is called, by its number in Works.unit."""
    found = source.fetch_columns(sql.load("composer_names"))
    names = [
        name.replace("anonymous:", "anonymous works of ").replace("tunes:", "tunes of ")
        for name in found["name"].tolist()
    ]
    return dict(zip(found["unit_number"].tolist(), names, strict=True))


def charts(works: Works, found: Study, names: Mapping[int, str]) -> tuple[Chart, ...]:
    """A chart for each measure of the study that has a value in some period."""
    return tuple(_chart(works, each, names) for each in found.measures if each.cells)


def _chart(works: Works, own: MeasureStudy, names: Mapping[int, str]) -> Chart:
    tested = [finding for finding in findings(own) if finding.p is not None]
    idle = [finding for finding in findings(own) if finding.p is None]
    return Chart(
        measure=own.measure,
        bands=tuple(_band(works, own, cell, names) for cell in own.cells),
        line=_line(works, own),
        findings=tuple((finding, finding_words(own, finding)) for finding in tested),
        untested=untested_words(own, idle) if idle else "",
    )


def _band(works: Works, own: MeasureStudy, cell: PeriodCell, names: Mapping[int, str]) -> Band:
    values = works.values[own.measure.name]
    place = [row["name"] for row in period_rows()].index(cell.period)
    rows = np.isfinite(values) & (works.period == place)
    composers = []
    for unit in np.unique(works.unit[rows]).tolist():
        its = rows & (works.unit == unit)
        year = float(works.year[its].mean())
        composers.append(
            ComposerValues(names[unit], year, tuple(np.sort(values[its]).tolist()))
        )
    composers.sort(key=lambda composer: (composer.year, composer.name))
    return Band(cell_name(own, cell.period), cell, tuple(composers))


def _line(works: Works, own: MeasureStudy) -> TrendLine | None:
    """The trend, turned about the middle composer as its slope and interval say."""
    if own.trend is None or own.trend.slope is None:
        return None
    values = works.values[own.measure.name]
    years, means = points_of(works, values, np.isfinite(values))
    pivot, level = float(np.median(years)), float(np.median(means))
    first, last = float(years.min()), float(years.max())
    sides = [
        (level + slope / 100 * (first - pivot), level + slope / 100 * (last - pivot))
        for slope in own.trend.slope
    ]
    return TrendLine(tuple(years.tolist()), tuple(means.tolist()), (first, last), *sides)
