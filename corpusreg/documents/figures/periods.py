"""A measure over the periods: works by composer with middles, and composers over the years.

Composers stand in the order of their music's mean year, then by number, and are not ranked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from corpusreg.documents.figures.style import (
    amount,
    as_picture,
    counts,
    new_axes,
    new_figure,
    say,
    styled,
)
from corpusreg.documents.pictures.look import COLOURS, SIZES, STROKES
from corpusreg.documents.pictures.svg import Picture, shortened, wrapped
from corpusreg.measures.definitions import Measure
from corpusreg.norms.periods.checks import points_of
from corpusreg.norms.periods.results import MeasureStudy, PeriodCell, PeriodFinding, Study
from corpusreg.norms.periods.works import Works, period_rows
from corpusreg.text.periods import VERDICTS, cell_name, finding_words, findings, untested_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["Chart", "charts", "period_picture", "trend_picture"]

WIDTH = 720.0
_LEFT, _ACROSS = 252.0, 330.0
_NAME = 96.0  # where names of composers begin
_LINE, _PACKED, _LEAST = 15.0, 3.0, 46.0  # heights of a composer's line, and of a period
_NAMED = 24  # composers in one period, up to which they are named
_GAP = 14.0
_FOOT = 10.0  # between the last period, with its interval, and the axis
_ABOVE, _BELOW = 40.0, 34.0
_TREND = 240.0
_DOT = 3.6  # across


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


def period_picture(chart: Chart, prefix: str) -> Picture:
    """Every work as a dot, a line a composer, with the middle of each period.

    Raises CorpusregError where seaborn is missing.
    """
    factor, unit = _scale(chart)
    heights = [_height(band) for band in chart.bands]
    tall = sum(heights) + _GAP * (len(heights) - 1) + _FOOT
    with styled():
        figure = new_figure(WIDTH, _ABOVE + tall + _BELOW)
        ax = new_axes(figure, _LEFT, _ABOVE, _ACROSS, tall)
        ax.set_ylim(tall, 0)
        top = 0.0
        for band, height in zip(chart.bands, heights, strict=True):
            _draw_band(figure, ax, band, top, height, factor)
            top += height + _GAP
        ax.set_yticks([])
        ax.spines["left"].set_visible(False)
        ax.grid(axis="x")
        ax.tick_params(axis="x", labelsize=SIZES["text"])
        say(figure, f"{chart.measure.title} [{unit}]", _LEFT, 18, SIZES["text"], "quiet")
        right = _LEFT + _ACROSS + 18
        say(figure, "middle, 95 % interval", right, 18, SIZES["small"], "quiet")
        return as_picture(figure, prefix, chart.measure.title, _summary(chart, factor, unit))


def trend_picture(chart: Chart, prefix: str) -> Picture | None:
    """Composers over the years with the trend; None where there is none to draw."""
    if chart.line is None:
        return None
    factor, unit = _scale(chart)
    verdict = next((VERDICTS[f.verdict] for f, _ in chart.findings if not f.periods), None)
    said = "Over the years: too few composers to test a trend"
    if verdict is not None:
        said = f"Over the years: {verdict.replace('difference', 'trend')}"
    with styled():
        figure = new_figure(WIDTH, _TREND + _ABOVE + _BELOW)
        ax = new_axes(figure, 56, _ABOVE, WIDTH - 56 - 24, _TREND)
        _trend(ax, chart.line, factor)
        ax.grid(axis="y")
        ax.tick_params(labelsize=SIZES["text"])
        say(figure, f"{chart.measure.title} [{unit}]", 24, 18, SIZES["text"], "quiet")
        say(figure, said, WIDTH - 24, 18, SIZES["text"], "ink", ha="right")
        words = f"{len(chart.line.years)} composers or sources. {said}."
        return as_picture(figure, prefix, f"{chart.measure.title} over the years", words)


def _scale(chart: Chart) -> tuple[float, str]:
    """Shares are shown in percent."""
    share = chart.measure.unit.startswith("share of ")
    return (100.0, f"% of {chart.measure.unit[9:]}") if share else (1.0, chart.measure.unit)


def _height(band: Band) -> float:
    count = len(band.composers)
    return max(count * (_LINE if count <= _NAMED else _PACKED), _LEAST)


def _draw_band(
    figure: Figure, ax: Axes, band: Band, top: float, height: float, factor: float
) -> None:
    cell, count = band.cell, len(band.composers)
    step = height / count
    at = [top + step * (place + 0.5) for place in range(count)]
    if cell.interval is not None:
        low, high = (factor * side for side in cell.interval)
        ax.axvspan(low, high, 1 - (top + height) / ax.get_ylim()[0], 1 - top / ax.get_ylim()[0],
                   facecolor=COLOURS["faint"], edgecolor="none", zorder=0.5)  # fmt: skip
        ax.plot([low, high], [top + height + 3] * 2, color=COLOURS["mark"], linewidth=2.6,
                zorder=4, clip_on=False)  # fmt: skip
    middle = factor * cell.median
    ax.plot([middle] * 2, [top - 1, top + height + 4], color=COLOURS["ink"], zorder=4,
            linewidth=STROKES["firm"], linestyle="-" if cell.interval else (0, (2, 2)),
            clip_on=False)  # fmt: skip
    places = [
        (factor * value, y)
        for y, c in zip(at, band.composers, strict=True)
        for value in dict.fromkeys(c.values)
    ]
    _dots(ax, places)
    _names(figure, band, top, step, factor)


def _dots(ax: Axes, places: Sequence[tuple[float, float]]) -> None:
    """Dots as one path of strokes without length: thousands of elements weigh on a page."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    path = Path([each for place in places for each in (place, place)],
                [Path.MOVETO, Path.LINETO] * len(places))  # fmt: skip
    path.should_simplify = False
    ax.add_patch(PathPatch(path, edgecolor=COLOURS["weight3"], facecolor="none", linewidth=_DOT,
                           capstyle="round", zorder=3, clip_on=False))  # fmt: skip
    ax.autoscale_view(scaley=False)


def _names(figure: Figure, band: Band, top: float, step: float, factor: float) -> None:
    cell, y = band.cell, _ABOVE + top + 11
    for row in wrapped(band.name, _NAME - 12, SIZES["text"]):
        say(figure, row, 8, y, SIZES["text"], weight="bold")
        y += SIZES["text"] * 1.2
    for row in wrapped(counts(cell.works, cell.units), _NAME - 12, SIZES["small"]):
        say(figure, row, 8, y, SIZES["small"], "quiet")
        y += SIZES["small"] * 1.2
    if len(band.composers) <= _NAMED:
        for place, composer in enumerate(band.composers):
            name = shortened(composer.name, _LEFT - _NAME - 14, SIZES["small"])
            foot = _ABOVE + top + step * (place + 0.5) + 3
            say(figure, name, _LEFT - 10, foot, SIZES["small"], ha="right")
    right, y = _LEFT + _ACROSS + 18, _ABOVE + top + 12
    say(figure, amount(factor * cell.median), right, y, SIZES["lead"])
    said = "too few composers"
    if cell.interval is not None:
        said = " to ".join(amount(factor * side) for side in cell.interval)
    say(figure, said, right, y + 15, SIZES["small"], "quiet")


def _trend(ax: Axes, line: TrendLine, factor: float) -> None:
    first, last = line.ends
    low, high = ([factor * value for value in side] for side in (line.low, line.high))
    middle = [factor * value for value in line.middle]
    ax.fill_between([first, last], low, high, color=COLOURS["faint"], linewidth=0, zorder=1)
    ax.plot([first, last], middle, color=COLOURS["mark"], linewidth=STROKES["strong"], zorder=2)
    ax.plot(line.years, [factor * value for value in line.values], "o", markersize=5.6,
            markerfacecolor="none", markeredgecolor=COLOURS["weight4"], markeredgewidth=1.2,
            zorder=3)  # fmt: skip
    ax.set_ylim(bottom=0.0)  # no measure is less


def _summary(chart: Chart, factor: float, unit: str) -> str:
    said = []
    for band in chart.bands:
        cell = band.cell
        sure = "too few composers for an interval"
        if cell.interval is not None:
            low, high = (amount(factor * side) for side in cell.interval)
            sure = f"95 % interval {low} to {high}"
        said.append(
            f"{band.name}: middle {amount(factor * cell.median)} {unit} ({sure}), "
            f"{counts(cell.works, cell.units)}"
        )
    return f"Works as dots, a line a composer. {'; '.join(said)}."
