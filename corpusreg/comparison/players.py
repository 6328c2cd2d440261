"""Each player's part: how it lies for the instrument and in the ensemble.

Conventions: bars are played bars, passages half-open. Heights, edges, thirds and
grids are defined in `corpusreg.measures.height`. The limits are those of
professional players; the table is a guide. What is high or low for a player is told by
what is written for the instrument (`corpusreg.norms.written`), by its comfortable span
where too few composers wrote for it. A part whose instrument is not known
has no height and takes no part in the two-level placement: it is listed and
never guessed. Shares of weight take loudness in, shares of time do not; where
players double each other each of them counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.practice import Misread, misread
from corpusreg.instruments import Instrument, Instruments
from corpusreg.measures import height
from corpusreg.measures.analysis import Analysis
from corpusreg.measures.height import Height, Run
from corpusreg.measures.stays import Stay, stays
from corpusreg.norms.written import Written
from corpusreg.score.played import Notes, PlayedBars

__all__ = [
    "NOBODY", "PITCH", "Beyond", "InstrumentUse", "Line", "Player", "Players", "Reach",
    "Still", "beyond", "players", "reach_in", "register_times", "sounding_in", "time_by_pitch",
]  # fmt: skip

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
PITCH: Mapping[str, Any] = {"pitch": True}  # of fields that hold MIDI numbers
OUTER = 0.1  # of the notes written for an instrument: what is high for it, and what low
MUCH = 0.25  # share of a part's time that is worth telling
LONG = 4  # bars
# Low notes strain these players and voices, or fail to carry; strings and keys do not mind.
_LOW_TELLS = frozenset(("woodwind", "brass", "voice"))


@dataclass(frozen=True)
class Beyond:
    """Notes of one pitch outside the range: side 'below' or 'above', bar of the first."""

    pitch: int
    side: str
    notes: int
    bar: int


@dataclass(frozen=True)
class Staff:
    """A staff or hand of a part on several staves, counted from the top."""

    number: int
    lowest: int
    highest: int
    height: Height | None


@dataclass(frozen=True)
class Line:
    """The notes of a sounding part and what it is for, None where that is not known."""

    notes: Notes
    row: Instrument | None


@dataclass(frozen=True)
class Reach:
    """A passage of a part that lies high or low for its instrument, and what is beside it.

    instrument: the one whose notes are counted; family, comfortable: of the part's. side:
    'high' or 'low'. first, last: bars, half-open. low, middle, high: of its notes, the middle
    by time. share: of the part's time that lies so. beyond: how many of the notes written for
    the instrument lie less far than the passage, 0 to 1, by `composers` in `ensemble` ('' for
    works of every kind), and peak: less far than its outermost note; both None where too few
    are known. zone: 'tiring' where a quarter of it or more tires, 'dull' where half of it is
    dull, else ''. amid: it sounds in the middle third of the ensemble's compass, with others
    above and below it, for half of its time or more. under: brass parts that sound in half of
    its bars or more, over a low passage. below: the next voice of the page where a low voice
    lies beneath it on the whole, else ''. examples: works with many notes of the instrument as
    far out as the middle of the passage.
    """

    instrument: str
    family: str
    comfortable: tuple[int, ...] = field(metadata=PITCH)
    side: str
    first: int
    last: int
    low: int = field(metadata=PITCH)
    middle: int = field(metadata=PITCH)
    high: int = field(metadata=PITCH)
    share: float
    beyond: float | None
    peak: float | None
    ensemble: str
    composers: int
    zone: str
    amid: bool
    under: tuple[str, ...]
    below: str
    examples: tuple[str, ...] = ()


@dataclass(frozen=True)
class InstrumentUse:
    """How a part lies for its instrument.

    registers: share of time by register; tiring, dull, edge, and outside (beyond the
    comfortable span): shares of time (0 to 1). tiring_run, edge_run: the longest run
    of bars with half of their time there, or None. stays, shifts: those of the part
    itself, on heights: (first, last, lower, upper edge) and (bar, how far the mean
    height moves, up positive).
    grid, middle_but_edge, edge_but_middle: shares of weight. written: what is written for the
    instrument; reach: where the part lies high or low among it, None where it does not.
    """

    instrument: Instrument
    height: Height
    registers: Mapping[str, float]
    tiring: float
    dull: float
    edge: float
    outside: float
    tiring_run: Run | None
    edge_run: Run | None
    out_of_range: tuple[Beyond, ...]
    stays: tuple[tuple[int, int, float, float], ...]
    shifts: tuple[tuple[int, float], ...]
    grid: Floats
    middle_but_edge: float
    edge_but_middle: float
    written: Written | None = None
    reach: Reach | None = None


@dataclass(frozen=True)
class Player:
    """A sounding part. use: None where the instrument is not known.

    weight: shape (128,), ticks of weight. audible: its height between A0 and C8. misread: the
    octave or transposition by which it was likely misread; no place is told of it then.
    """

    name: str
    lowest: int
    highest: int
    weight: Floats
    audible: Height
    staves: tuple[Staff, ...]
    use: InstrumentUse | None
    misread: Misread | None = None

    @property
    def torn(self) -> bool:
        """Whether it sounds in the middle of the texture and yet at its instrument's edge for
        a quarter of its weight or more: the first thing to say of it."""
        lies = self.use
        return bool(lies and lies.reach and lies.reach.amid and lies.middle_but_edge >= MUCH)


@dataclass(frozen=True)
class Still:
    """A stay and which way it keeps still: 'whole', 'instrument' or 'both'.

    part: None for a stay of the whole, or of all instruments together on heights
    ('instrument').
    """

    part: str | None
    first: int
    last: int
    way: str


@dataclass(frozen=True)
class TwoLevel:
    """The ensemble's compass against the instruments' ranges; shares of weight.

    grid: rows low, middle and high third of the compass, columns of the range.
    audible: height of the whole between A0 and C8; thirds: shares by third of that.
    unmatched: names of the parts that are left out.
    """

    compass: tuple[int, int]
    grid: Floats
    middle_but_edge: float
    edge_but_middle: float
    audible: Height
    thirds: Floats
    stays: tuple[Still, ...]
    unmatched: tuple[str, ...]


@dataclass(frozen=True)
class Players:
    """All sounding parts in score order; two_level: None where no instrument is known."""

    parts: tuple[Player, ...]
    two_level: TwoLevel | None


NOBODY = Players((), None)


def players(
    whole: Analysis,
    parts: Mapping[str, Analysis],
    table: Instruments,
    written: Mapping[str, Written] | None = None,
) -> Players:
    """Every sounding part of a work in its instrument and in the ensemble.

    parts: analyses of the sounding parts by name, in score order. written: what is written
    for their instruments, by id.
    """
    played = whole.played
    indices = np.unique(played.notes.part).tolist()
    matched = table.match_all(played.parts)
    rows = [
        (name, analysis, matched[index])
        for index, (name, analysis) in zip(indices, parts.items(), strict=True)
    ]
    known = [row.professional for _, _, row in rows if row is not None]
    compass = height.union(known) if known else None
    lines = {name: Line(part.played.notes, row) for name, part, row in rows}
    found = tuple(
        _player(name, part, lines, compass, (written or {}).get(row.id if row else ""))
        for name, part, row in rows
    )
    two = _two_level(whole, parts, found, compass) if compass else None
    return Players(found, two)


def time_by_pitch(notes: Notes) -> Floats:
    """Ticks that the notes sound by MIDI number, shape (128,)."""
    time = np.bincount(notes.pitch, weights=notes.duration, minlength=128)
    return np.asarray(time, np.float64)


def register_times(time: Floats, instrument: Instrument) -> dict[str, float]:
    """Share of time in each named register in which something sounds, low to high."""
    shares = {
        register.name: height.share(time, height.inside([(register.low, register.high)]))
        for register in instrument.registers
    }
    return {name: share for name, share in shares.items() if share > 0}


def beyond(notes: Notes, span: tuple[int, int]) -> tuple[Beyond, ...]:
    """Notes outside a range by pitch, lowest first."""
    found = []
    for pitch in np.unique(notes.pitch).tolist():
        if not span[0] <= pitch <= span[1]:
            rows = np.flatnonzero(notes.pitch == pitch)
            side = "below" if pitch < span[0] else "above"
            found.append(Beyond(pitch, side, len(rows), int(notes.bar[rows[0]])))
    return tuple(found)


def sounding_in(notes: Notes, bars: PlayedBars, first: int, last: int) -> Notes:
    """Notes that sound in bars `first` to `last` (half-open), cut to these."""
    start, stop = int(bars.start[first]), int(bars.start[last - 1] + bars.length[last - 1])
    own = notes.take((notes.onset < stop) & (notes.onset + notes.duration > start))
    onset = np.maximum(own.onset, start)
    end = np.minimum(own.onset + own.duration, stop)
    return replace(own, onset=onset, duration=end - onset, bar=np.maximum(own.bar, first))


def reach(
    name: str, lines: Mapping[str, Line], bars: PlayedBars, written: Written | None
) -> Reach | None:
    """The longest passage in which a part lies high or low for its instrument, if there is one.

    It lies so with LONG bars in a row, or MUCH of its time, in the outer tenth of what is
    written. lines: the sounding parts by name, in score order.
    """
    notes, row = lines[name].notes, lines[name].row
    found = []
    for side in _sides(row):
        assert row is not None
        outer, _ = _outer(row, written, side)
        share = height.share(time_by_pitch(notes), outer)
        run = height.longest_run(notes, outer)
        if run is not None and (share >= MUCH or run[1] - run[0] >= LONG):
            found.append(reach_in(name, lines, bars, written, side, run))
    return max(filter(None, found), key=lambda each: each.share, default=None)


def reach_in(
    name: str,
    lines: Mapping[str, Line],
    bars: PlayedBars,
    written: Written | None,
    side: str,
    run: Run,
) -> Reach | None:
    """How a part lies in a run of bars, None where it is not high (or low) there on the whole.

    A keyboard is at ease everywhere; of a part that covers several kinds of voice or instrument
    no limits are known, and low notes of strings are like others.
    """
    notes, row = lines[name].notes, lines[name].row
    own = sounding_in(notes, bars, *run)
    if row is None or side not in _sides(row) or not len(own):
        return None
    outer, less = _outer(row, written, side)
    there = time_by_pitch(own)
    far = None if less is None else float(there @ less / there.sum())
    # Half of a passage may lie so where as much of it does not.
    if height.share(there, outer) < 0.5 or (far is not None and far < 1 - OUTER):
        return None
    others = {
        other: replace(line, notes=sounding_in(line.notes, bars, *run))
        for other, line in lines.items()
    }
    tiring, dull = (height.share(there, height.inside(z)) for z in (row.tiring, row.dull))
    known = [line.row.professional for line in lines.values() if line.row]
    edges = height.middle_but_edge(height.union(known), row.professional, row.comfortable)
    return Reach(
        instrument=written.name if written else row.name,
        family=row.family,
        comfortable=row.comfortable,
        side=side,
        first=run[0],
        last=run[1],
        low=int(own.pitch.min()),
        middle=int((2 * np.cumsum(there) < there.sum()).sum()),
        high=int(own.pitch.max()),
        share=height.share(time_by_pitch(notes), outer),
        beyond=far,
        peak=None if less is None else float(less[own.pitch].max()),
        ensemble=written.ensemble if written else "",
        composers=written.composers if written else 0,
        zone="tiring" if tiring >= MUCH else "dull" if dull >= 0.5 else "",
        amid=height.share(there, edges) >= 0.5 and _between(name, others),
        under=_under(row, others, run[1] - run[0]) if side == "low" else (),
        below=_below(name, others) if side == "low" else "",
    )


def _sides(row: Instrument | None) -> tuple[str, ...]:
    """On which sides an instrument can lie far out."""
    if row is None or row.family == "keyboard" or row.generic:
        return ()
    return ("high", "low") if row.family in _LOW_TELLS else ("high",)


def _outer(row: Instrument, written: Written | None, side: str) -> tuple[Flags, Floats | None]:
    """Pitches that are high (or low) for an instrument, and how many notes lie less far."""
    pitches = np.arange(128)
    if written is None:
        low, high = row.comfortable
        return (pitches > high if side == "high" else pitches < low), None
    beyond = written.lower if side == "high" else written.higher
    return beyond >= 1 - OUTER, beyond


def _between(name: str, lines: Mapping[str, Line]) -> bool:
    """Whether others sound both above and below a part for half of its time or more."""
    own = lines[name].notes
    above, below = np.zeros(len(own), bool), np.zeros(len(own), bool)
    for other in (line.notes for key, line in lines.items() if key != name):
        with_it = (other.onset <= own.onset[:, None]) & (
            other.onset + other.duration > own.onset[:, None]
        )
        above |= (with_it & (other.pitch > own.pitch[:, None])).any(axis=1)
        below |= (with_it & (other.pitch < own.pitch[:, None])).any(axis=1)
    return bool(2 * own.duration[above & below].sum() >= own.duration.sum())


def _under(row: Instrument, lines: Mapping[str, Line], bars: int) -> tuple[str, ...]:
    """Brass parts that begin a note in half of the bars or more, over winds and voices."""
    if row.family not in ("woodwind", "voice"):
        return ()
    return tuple(
        name
        for name, line in lines.items()
        if line.row
        and line.row.family == "brass"
        and 2 * len(np.unique(line.notes.bar)) >= bars
    )


def _below(name: str, lines: Mapping[str, Line]) -> str:
    """The next voice of the page where a voice lies beneath it, else ''."""
    voices = [key for key, each in lines.items() if each.row and each.row.family == "voice"]
    if name not in voices[:-1]:
        return ""
    under = voices[voices.index(name) + 1]
    own, other = (lines[each].notes for each in (name, under))
    return under if len(other) and _mean(own) < _mean(other) else ""


def _mean(notes: Notes) -> float:
    """Mean pitch by the time that the notes sound."""
    return float(np.average(notes.pitch, weights=notes.duration))


def _player(
    name: str,
    part: Analysis,
    lines: Mapping[str, Line],
    compass: tuple[int, int] | None,
    written: Written | None,
) -> Player:
    weight, row = part.texture.total, lines[name].row
    notes = part.played.notes
    wrong = misread(notes, int(notes.part[0]), row) if row is not None else None
    lies = None
    if row and compass:
        lies = _instrument_use(part, row, compass, None if wrong else written)
        if not wrong:
            lies = replace(lies, reach=reach(name, lines, part.played.bars, written))
    return Player(
        name=name,
        lowest=part.lowest,
        highest=part.highest,
        weight=weight,
        audible=height.measure(weight, height.AUDIBLE),
        staves=tuple(_staves(part.played.notes, row)),
        use=lies,
        misread=wrong,
    )


def _staves(notes: Notes, row: Instrument | None) -> Iterable[Staff]:
    """Staves of their own where the part is written on several."""
    numbers = np.unique(notes.staff).tolist()
    for number in numbers if len(numbers) > 1 else ():
        own = notes.take(notes.staff == number)
        lies = height.measure(time_by_pitch(own), row.professional) if row else None
        yield Staff(number, int(own.pitch.min()), int(own.pitch.max()), lies)


def _instrument_use(
    part: Analysis, row: Instrument, compass: tuple[int, int], written: Written | None
) -> InstrumentUse:
    notes, weight = part.played.notes, part.texture.total
    time = time_by_pitch(notes)
    span = row.professional
    tiring, edge = height.inside(row.tiring), height.at_edge(span, row.comfortable)
    return InstrumentUse(
        instrument=row,
        height=height.measure(weight, span),
        registers=register_times(time, row),
        tiring=height.share(time, tiring),
        dull=height.share(time, height.inside(row.dull)),
        edge=height.share(time, edge),
        outside=height.share(time, ~height.inside([row.comfortable])),
        tiring_run=height.longest_run(notes, tiring),
        edge_run=height.longest_run(notes, edge),
        out_of_range=beyond(notes, span),
        stays=tuple(_stays_on(part.stays, span)),
        shifts=tuple(_shifts_on(part, span)),
        grid=height.grid(weight, compass, span),
        middle_but_edge=height.share(
            weight, height.middle_but_edge(compass, span, row.comfortable)
        ),
        edge_but_middle=height.share(weight, height.edge_but_middle(compass, span)),
        written=written,
    )


def _stays_on(
    found: Sequence[Stay], span: tuple[int, int]
) -> Iterable[tuple[int, int, float, float]]:
    h = height.heights(span)
    for stay in found:
        yield stay.first, stay.last, float(h[stay.low]), float(h[stay.high])


def _shifts_on(part: Analysis, span: tuple[int, int]) -> Iterable[tuple[int, float]]:
    """Shifts of a part and how far its mean height moves from the sounding bar before."""
    sounding = part.texture.sounding
    mean = part.texture.profiles @ height.heights(span)
    for shift in part.shifts:
        at = int(np.searchsorted(sounding, shift.bar))
        yield shift.bar, float(mean[at] - mean[at - 1])


def _two_level(
    whole: Analysis,
    parts: Mapping[str, Analysis],
    found: Sequence[Player],
    compass: tuple[int, int],
) -> TwoLevel:
    known = [(player, player.use) for player in found if player.use]
    amounts = np.array([float(player.weight.sum()) for player, _ in known])
    amounts /= amounts.sum()

    def mean(values: Iterable[Floats | float]) -> Floats:
        return np.asarray(np.tensordot(amounts, np.array(list(values)), 1), np.float64)

    total = whole.texture.total
    return TwoLevel(
        compass=compass,
        grid=mean(lies.grid for _, lies in known),
        middle_but_edge=float(mean(lies.middle_but_edge for _, lies in known)),
        edge_but_middle=float(mean(lies.edge_but_middle for _, lies in known)),
        audible=height.measure(total, height.AUDIBLE),
        thirds=height.third_shares(total, height.AUDIBLE),
        stays=tuple(_stillness(whole, parts, known)),
        unmatched=tuple(player.name for player in found if player.use is None),
    )


def _stillness(
    whole: Analysis,
    parts: Mapping[str, Analysis],
    known: Sequence[tuple[Player, InstrumentUse]],
) -> Iterable[Still]:
    """Stays of the whole, of all instruments on heights, and of each part.

    A stay of one part on heights is its stay on pitches, since the one is the
    other on a ruler; whether the whole keeps still with it is what can differ.
    """
    together = whole.stays if len(parts) == 1 else _stays_on_heights(whole, parts, known)
    for stay in whole.stays:
        still = height.is_still(together, stay.first, stay.last)
        yield Still(None, stay.first, stay.last, "both" if still else "whole")
    for stay in together:
        if not height.is_still(whole.stays, stay.first, stay.last):
            yield Still(None, stay.first, stay.last, "instrument")
    for player, _ in known if len(parts) > 1 else ():
        for stay in parts[player.name].stays:
            still = height.is_still(whole.stays, stay.first, stay.last)
            way = "both" if still else "instrument"
            yield Still(player.name, stay.first, stay.last, way)


def _stays_on_heights(
    whole: Analysis,
    parts: Mapping[str, Analysis],
    known: Sequence[tuple[Player, InstrumentUse]],
) -> list[Stay]:
    """Stays of all players together, each of them on the scale of heights."""
    spans = [lies.instrument.professional for _, lies in known]
    steps = round(sum(high - low for low, high in spans) / len(spans))
    scaled = [
        height.on_height(parts[player.name].texture.bars, span, steps)
        for (player, _), span in zip(known, spans, strict=True)
    ]
    bars = np.sum(scaled, axis=0)
    return stays(replace(whole.texture, bars=bars, total=bars.sum(axis=0)))
