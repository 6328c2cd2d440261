"""The figures of the atlas as data: groups, counts, middles and intervals, from the store.

Every composer or source counts the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corpusreg.corpus.tables import rows as data_rows
from corpusreg.instruments import Instrument, load
from corpusreg.measures.definitions import BY_NAME, MEASURES, VERSION, Measure
from corpusreg.norms import effects
from corpusreg.norms.cohorts import OpenSource
from corpusreg.norms.effects import LEAST_UNITS
from corpusreg.norms.reference import student_t, unit_weights, weighted_quantile
from corpusreg.store import sql
from corpusreg.system.errors import DataError

__all__ = [
    "FIGURES", "Atlas", "Figure", "GroupedMeasure", "Heights", "InstrumentHeights",
    "MeasureCell", "OctaveCell", "Octaves", "atlas",
]  # fmt: skip

Interval = tuple[float, float]


@dataclass(frozen=True)
class MeasureCell:
    """A measure in a group of works, every composer or source counting the same.

    name: the group, or the one collection that it consists of. group: as in the store.
    mostly: the ensemble of most of its works, '' where there is none or the group is one.
    middle, quarters, tenths: quantiles .5, .25 and .75, .1 and .9; interval: 95 % interval
    of the middle, None with fewer than effects.LEAST_UNITS units. dots: mean of each unit.
    All in the unit of the measure.
    """

    group: str
    name: str
    works: int
    units: int
    collections: tuple[str, ...]
    mostly: str
    middle: float
    interval: Interval | None
    quarters: Interval
    tenths: Interval
    dots: tuple[float, ...]


@dataclass(frozen=True)
class GroupedMeasure:
    """One measure by ensemble or by period. left_out: groups with one unit only."""

    name: str
    title: str
    measure: Measure
    by: str
    cells: tuple[MeasureCell, ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True)
class OctaveCell:
    """How the sound of a group lies over octaves.

    shares: mean share of the weight in each octave of Octaves.bands, 0 to 1, units counting
    the same; intervals: 95 % of each, None with too few units. in_use: the measure
    octaves_in_use of the group.
    """

    name: str
    works: int
    units: int
    shares: tuple[float, ...]
    intervals: tuple[Interval, ...] | None
    in_use: MeasureCell


@dataclass(frozen=True)
class Octaves:
    """Octave use by ensemble. bands: octave numbers, lowest first."""

    name: str
    title: str
    bands: tuple[int, ...]
    cells: tuple[OctaveCell, ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True)
class InstrumentHeights:
    """What is written for an instrument or voice, beside its range.

    pitches, shares: sounding MIDI numbers and the share of notes on each, units counting
    the same. middle, tenths: pitches up to which half, a tenth and nine tenths of the notes
    lie; interval: 95 % of the middle. beyond: share of the notes outside the range of
    professional players.
    """

    instrument: Instrument
    works: int
    units: int
    notes: int
    pitches: tuple[int, ...]
    shares: tuple[float, ...]
    middle: float
    interval: Interval | None
    tenths: Interval
    beyond: float


@dataclass(frozen=True)
class Heights:
    """Instruments and voices in the order of the table. left_out: with too few units."""

    name: str
    title: str
    rows: tuple[InstrumentHeights, ...]
    left_out: tuple[str, ...]


Figure = GroupedMeasure | Octaves | Heights


@dataclass(frozen=True)
class Atlas:
    """All figures, and what they were made from.

    undrawn: titles of figures for which no group has enough composers.
    """

    figures: tuple[Figure, ...]
    undrawn: tuple[str, ...]
    works: int
    units: int
    reference_id: str
    definitions: str


# Name of the file, title on the wall, measure, groups.
FIGURES = (
    ("span-by-ensemble", "How wide does music range?", "span", "ensemble"),
    ("movement-by-ensemble", "How far does it move from bar to bar?", "movement_bar",
     "ensemble"),
    ("hollow-by-ensemble", "How often is it hollow inside?", "hollow_share", "ensemble"),
    ("core-span-by-period", "How much space did each period fill?", "core_span", "period"),
    ("shifts-by-period", "How often did the register change?", "shift_rate", "period"),
    ("stays-by-period", "How long did music stay in one register?", "expected_dwell",
     "period"),
    ("entries-by-period", "How often was a register emptied, then entered?",
     "entries", "period"),
)  # fmt: skip
_OCTAVES = ("octaves-by-ensemble", "Which octaves are in use?")
_HEIGHTS = ("heights-by-instrument", "What is written for each voice and instrument?")
_LEAST_DRAWN = 2  # units; one composer is no picture of an ensemble
_MOSTLY = 0.5
_MOST_ROWS = 9  # on one sheet
_SEEN = 0.005  # share of an octave in some ensemble, below which it gets no column
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Columns = Mapping[str, NDArray[Any]]


@dataclass(frozen=True)
class _Works:
    """Works that count, as columns of shape (n,), and names for people."""

    columns: Columns
    titles: Mapping[str, str]

    @property
    def unit(self) -> NDArray[np.int64]:
        return self.columns["unit_number"].astype(np.int64)


def atlas(source: OpenSource) -> Atlas:
    """All figures. Raises DataError for a reference with too few works for any."""
    names = ", ".join(f'"{measure.name}"' for measure in MEASURES)
    columns = source.fetch_columns(sql.load("atlas_works").format(measures=names))
    titles = source.fetch_columns(sql.load("collection_titles"))
    works = _Works(
        columns, dict(zip(titles["collection"].tolist(), titles["title"].tolist(), strict=True))
    )
    if not len(works.unit):
        raise DataError("the reference has no works, so there is nothing to draw")
    first, *others = (_groups(works, *row) for row in FIGURES)
    figures: list[Figure] = [first, _octaves(source, works), *others, _heights(source)]
    drawn = [figure for figure in figures if _rows(figure)]
    if not drawn:
        raise DataError(
            "no figure can be drawn: no ensemble has two composers or sources; add scores "
            "with 'corpusreg corpora add' or 'corpusreg extract'"
        )
    return Atlas(
        figures=tuple(sheet for figure in drawn for sheet in _sheets(figure)),
        undrawn=tuple(figure.title for figure in figures if not _rows(figure)),
        works=len(works.unit),
        units=len(np.unique(works.unit)),
        reference_id=source.reference_id,
        definitions=VERSION,
    )


def _rows(figure: Figure) -> tuple[Any, ...]:
    return figure.rows if isinstance(figure, Heights) else figure.cells


def _sheets(figure: Figure) -> Iterator[Figure]:
    """A figure, or several of even length where it has too many rows for one sheet."""
    rows = _rows(figure)
    count = max(-(-len(rows) // _MOST_ROWS), 1)
    for number in range(count):
        part = rows[number * len(rows) // count : (number + 1) * len(rows) // count]
        name = figure.name + (f"-{number + 1}" if number else "")
        title = figure.title + (f" ({number + 1} of {count})" if count > 1 else "")
        out = figure.left_out if number == count - 1 else ()
        if isinstance(figure, Heights):
            yield replace(figure, name=name, title=title, left_out=out, rows=part)
        elif isinstance(figure, Octaves):
            yield replace(figure, name=name, title=title, left_out=out, cells=part)
        else:
            yield replace(figure, name=name, title=title, left_out=out, cells=part)


def _known(by: str) -> dict[str, str]:
    """Groups in the order of their table, with the words for them."""
    if by == "period":
        return {row["name"]: row["name"] for row in data_rows("periods.csv")}
    return {row["kind"]: row["works"] for row in data_rows("ensembles.csv")}


def _groups(works: _Works, name: str, title: str, measure: str, by: str) -> GroupedMeasure:
    found = list(_cells(works, measure, by))
    # A period stays in its place even where one composer stands for it.
    drawn = [cell for cell in found if cell.units >= _LEAST_DRAWN or by == "period"]
    return GroupedMeasure(
        name, title, BY_NAME[measure], by, tuple(drawn),
        tuple(cell.name for cell in found if cell not in drawn),
    )  # fmt: skip


def _cells(works: _Works, measure: str, by: str) -> Iterator[MeasureCell]:
    values = works.columns[measure].astype(np.float64)
    for group, words in _known(by).items():
        rows = np.isfinite(values) & (works.columns[by] == group)
        if rows.any():
            yield _cell(works, values, rows, group, words, by)


def _cell(
    works: _Works, values: Floats, rows: Flags, group: str, words: str, by: str
) -> MeasureCell:
    own, unit = values[rows], works.unit[rows]
    weights = unit_weights(unit, np.ones(len(unit)))
    tenth, quarter, middle, three, nine = (
        weighted_quantile(own, weights, share) for share in (0.1, 0.25, 0.5, 0.75, 0.9)
    )
    collections = sorted(set(works.columns["collection"][rows].tolist()))
    named = tuple(works.titles.get(each, each) for each in collections)
    return MeasureCell(
        group=group,
        name=f"\u2018{named[0]}\u2019 ({words})" if len(named) == 1 else words,
        works=len(own),
        units=len(np.unique(unit)),
        collections=named,
        mostly=_mostly(works, rows, weights) if by == "period" else "",
        middle=middle,
        interval=effects.median_interval(own, unit),
        quarters=(quarter, three),
        tenths=(tenth, nine),
        dots=tuple(np.sort(effects.unit_means(own, unit)[1]).tolist()),
    )


def _mostly(works: _Works, rows: Flags, weights: Floats) -> str:
    """The ensemble that more than half of the music is for, every unit counting the same."""
    kinds = works.columns["ensemble"][rows].astype(str)
    share, kind = max((float(weights[kinds == each].sum()), str(each)) for each in set(kinds))
    return _known("ensemble").get(kind, kind) if share > _MOSTLY else ""


def _octaves(source: OpenSource, works: _Works) -> Octaves:
    name, title = _OCTAVES
    found = source.fetch_columns(sql.load("atlas_octaves"))
    shares = np.zeros((len(works.unit), 11))
    place = {work: row for row, work in enumerate(works.columns["work"].tolist())}
    rows = [place[work] for work in found["work"].tolist()]
    shares[rows, found["band"].astype(np.int64) + 1] = found["share"]
    cells, left_out = [], []
    for cell in _cells(works, "octaves_in_use", "ensemble"):
        if cell.units >= _LEAST_DRAWN:
            use = works.columns["ensemble"] == cell.group
            use &= np.isfinite(works.columns["octaves_in_use"].astype(np.float64))
            cells.append((cell, *_mean_shares(shares[use], works.unit[use])))
        else:
            left_out.append(cell.name)
    seen = [band for band in range(11) if any(mean[band] >= _SEEN for _, mean, _ in cells)]
    bands = list(range(min(seen, default=4), max(seen, default=4) + 1))
    return Octaves(
        name, title, tuple(band - 1 for band in bands),
        tuple(
            OctaveCell(
                cell.name, cell.works, cell.units, tuple(mean[bands].tolist()),
                None if sides is None else tuple(map(tuple, sides[bands].tolist())), cell,
            )
            for cell, mean, sides in cells
        ),
        tuple(left_out),
    )  # fmt: skip


def _mean_shares(shares: Floats, unit: NDArray[np.int64]) -> tuple[Floats, Floats | None]:
    """Mean of the units' means, shape (11,), and its 95 % interval by t, shape (11, 2)."""
    means = np.stack([shares[unit == each].mean(axis=0) for each in np.unique(unit)])
    mean, count = means.mean(axis=0), len(means)
    if count < LEAST_UNITS:
        return mean, None
    reach = student_t(count - 1) * means.std(axis=0, ddof=1) / np.sqrt(count)
    return mean, np.stack((np.maximum(mean - reach, 0), np.minimum(mean + reach, 1)), axis=1)


def _heights(source: OpenSource) -> Heights:
    name, title = _HEIGHTS
    found = source.fetch_columns(sql.load("atlas_heights"))
    table, rows, left_out = load(), [], []
    present = set(found["instrument"].tolist())
    for instrument in table.values():
        if instrument.id not in present:
            continue
        own = found["instrument"] == instrument.id
        row = _height({key: column[own] for key, column in found.items()}, instrument)
        if row.units >= LEAST_UNITS:
            rows.append(row)
        else:
            left_out.append(instrument.name)
    return Heights(name, title, tuple(rows), tuple(left_out))


def _height(notes: Columns, instrument: Instrument) -> InstrumentHeights:
    pitch, unit = notes["pitch"].astype(np.float64), notes["unit_number"].astype(np.int64)
    count = notes["notes"].astype(np.float64)
    weights = unit_weights(unit, count)
    distinct, index = np.unique(pitch, return_inverse=True)
    low, high = instrument.professional
    tenth, middle, nine = (weighted_quantile(pitch, weights, s) for s in (0.1, 0.5, 0.9))
    return InstrumentHeights(
        instrument=instrument,
        works=int(notes["works"][0]),
        units=len(np.unique(unit)),
        notes=int(count.sum()),
        pitches=tuple(distinct.astype(int).tolist()),
        shares=tuple(np.bincount(index, weights).tolist()),
        middle=middle,
        interval=effects.median_interval(pitch, unit, count),
        tenths=(tenth, nine),
        beyond=float(weights[(pitch < low) | (pitch > high)].sum()),
    )
