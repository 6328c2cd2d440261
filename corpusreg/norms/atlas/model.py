"""What the figures of the atlas show, as data: groups, counts, middles and intervals."""

from __future__ import annotations

from dataclasses import dataclass

from corpusreg.instruments import Instrument
from corpusreg.measures.definitions import Measure

__all__ = [
    "Atlas", "Figure", "Groups", "Heights", "InstrumentHeights", "MeasureCell", "OctaveCell",
    "Octaves",
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
class Groups:
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


Figure = Groups | Octaves | Heights


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
