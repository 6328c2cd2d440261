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
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.practice import Misread, misread
from corpusreg.instruments import Instrument, Instruments
from corpusreg.measures import height
from corpusreg.measures.analysis import Analysis
from corpusreg.measures.height import Height, Run
from corpusreg.measures.stays import Stay, stays
from corpusreg.norms.written import Written
from corpusreg.score.played import Notes

__all__ = [
    "NOBODY", "Beyond", "Lying", "Player", "Players", "Reach", "Still", "beyond",
    "players", "register_times", "time_by_pitch",
]  # fmt: skip

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
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
class Reach:
    """The longest passage of a part that lies high or low for its instrument.

    side: 'high' or 'low'. first, last: played bars, half-open. low, high: its notes. share:
    of the part's time that lies so. beyond: how many of the notes written for the instrument
    lie less far than those of the passage, 0 to 1, None where it is not known. zone: 'tiring'
    or 'dull' where most of it lies in such a zone of the table, else ''. under: brass
    parts that sound in half of its bars or more, over a low passage. below: the
    next voice of the page where a low voice lies beneath it on the whole, else ''. examples:
    works with many notes of the instrument there.
    """

    side: str
    first: int
    last: int
    low: int
    high: int
    share: float
    beyond: float | None
    zone: str
    under: tuple[str, ...] = ()
    below: str = ""
    examples: tuple[str, ...] = ()


@dataclass(frozen=True)
class Lying:
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
    """A sounding part. lying: None where the instrument is not known.

    weight: shape (128,), ticks of weight. audible: its height between A0 and C8. misread: the
    octave or transposition by which it was likely misread; no place is told of it then.
    """

    name: str
    lowest: int
    highest: int
    weight: Floats
    audible: Height
    staves: tuple[Staff, ...]
    lying: Lying | None
    misread: Misread | None = None

    @property
    def torn(self) -> bool:
        """Whether it sounds in the middle of the texture and yet at its instrument's edge for
        a quarter of its weight or more: the first thing to say of it."""
        lies = self.lying
        return lies is not None and lies.reach is not None and lies.middle_but_edge >= MUCH


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
    brass = {
        name: part.played.notes
        for name, part, row in rows
        if row is not None and row.family == "brass"
    }
    found = tuple(
        _player(name, part, row, compass, (written or {}).get(row.id if row else ""), brass)
        for name, part, row in rows
    )
    found = tuple(_below(found, parts))
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


def reach(
    notes: Notes,
    row: Instrument,
    written: Written | None,
    brass: Mapping[str, Notes] | None = None,
) -> Reach | None:
    """Where a part lies high or low for its instrument, None where it does so nowhere long.

    It does with LONG bars in a row, or MUCH of its time, in the outer tenth of what is
    written. A keyboard is at ease everywhere; of a part that covers several kinds of
    voice or instrument no limits are known. brass: notes of the brass parts by name.
    """
    if row.family == "keyboard" or row.generic:
        return None
    time = time_by_pitch(notes)
    found = []
    for side in ("high", "low") if row.family in _LOW_TELLS else ("high",):
        outer, beyond = _outer(row, written, side)
        share, run = height.share(time, outer), height.longest_run(notes, outer)
        if run is None or (share < MUCH and run[1] - run[0] < LONG):
            continue
        own = notes.take((notes.bar >= run[0]) & (notes.bar < run[1]))
        there = time_by_pitch(own)
        far = None if beyond is None else float(there @ beyond / there.sum())
        if far is not None and far < 1 - OUTER:
            continue  # half of it lies so, and as much of it does not
        zones = {"tiring": row.tiring, "dull": row.dull}
        found.append(
            Reach(
                side=side,
                first=run[0],
                last=run[1],
                low=int(own.pitch.min()),
                high=int(own.pitch.max()),
                share=share,
                beyond=far,
                zone=next(
                    (
                        z
                        for z, s in zones.items()
                        if height.share(there, height.inside(s)) >= 0.5
                    ),
                    "",
                ),
                under=_under(brass or {}, *run) if side == "low" else (),
            )
        )
    return max(found, key=lambda each: each.share, default=None)


def _outer(row: Instrument, written: Written | None, side: str) -> tuple[Flags, Floats | None]:
    """Pitches that are high (or low) for an instrument, and how many notes lie less far."""
    pitches = np.arange(128)
    if written is None:
        low, high = row.comfortable
        return (pitches > high if side == "high" else pitches < low), None
    beyond = written.lower if side == "high" else written.higher
    return beyond >= 1 - OUTER, beyond


def _under(brass: Mapping[str, Notes], first: int, last: int) -> tuple[str, ...]:
    """Brass parts that begin a note in half of the bars or more."""
    found = []
    for name, notes in brass.items():
        bars = np.unique(notes.bar[(notes.bar >= first) & (notes.bar < last)])
        if 2 * len(bars) >= last - first:
            found.append(name)
    return tuple(found)


def _below(found: Sequence[Player], parts: Mapping[str, Analysis]) -> Iterable[Player]:
    """Low voices with the next voice of the page that sounds above them there, if it does."""
    voices = [p.name for p in found if p.lying and p.lying.instrument.family == "voice"]
    following = dict(pairwise(voices))
    for player in found:
        lies, under = player.lying, following.get(player.name)
        if lies and lies.reach and lies.reach.side == "low" and under is not None:
            run = lies.reach.first, lies.reach.last
            own, other = (
                _mean(parts[name].played.notes, *run) for name in (player.name, under)
            )
            if own is not None and other is not None and own < other:
                reach = replace(lies.reach, below=under)
                player = replace(player, lying=replace(lies, reach=reach))
        yield player


def _mean(notes: Notes, first: int, last: int) -> float | None:
    """Mean pitch in some bars by the time that the notes sound, None in silence."""
    here = notes.take((notes.bar >= first) & (notes.bar < last))
    return float(np.average(here.pitch, weights=here.duration)) if len(here) else None


def _player(
    name: str,
    part: Analysis,
    row: Instrument | None,
    compass: tuple[int, int] | None,
    written: Written | None,
    brass: Mapping[str, Notes],
) -> Player:
    weight = part.texture.total
    notes = part.played.notes
    wrong = misread(notes, int(notes.part[0]), row) if row is not None else None
    lies = None
    if row and compass:
        lies = _lying(part, row, compass, None if wrong else written, brass)
    return Player(
        name=name,
        lowest=part.lowest,
        highest=part.highest,
        weight=weight,
        audible=height.measure(weight, height.AUDIBLE),
        staves=tuple(_staves(part.played.notes, row)),
        lying=replace(lies, reach=None) if lies and wrong else lies,
        misread=wrong,
    )


def _staves(notes: Notes, row: Instrument | None) -> Iterable[Staff]:
    """Staves of their own where the part is written on several."""
    numbers = np.unique(notes.staff).tolist()
    for number in numbers if len(numbers) > 1 else ():
        own = notes.take(notes.staff == number)
        lies = height.measure(time_by_pitch(own), row.professional) if row else None
        yield Staff(number, int(own.pitch.min()), int(own.pitch.max()), lies)


def _lying(
    part: Analysis,
    row: Instrument,
    compass: tuple[int, int],
    written: Written | None,
    brass: Mapping[str, Notes],
) -> Lying:
    notes, weight = part.played.notes, part.texture.total
    time = time_by_pitch(notes)
    span = row.professional
    tiring, edge = height.inside(row.tiring), height.at_edge(span, row.comfortable)
    return Lying(
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
        reach=reach(notes, row, written, brass if row.family in ("woodwind", "voice") else {}),
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
    lying = [(player, player.lying) for player in found if player.lying]
    amounts = np.array([float(player.weight.sum()) for player, _ in lying])
    amounts /= amounts.sum()

    def mean(values: Iterable[Floats | float]) -> Floats:
        return np.asarray(np.tensordot(amounts, np.array(list(values)), 1), np.float64)

    total = whole.texture.total
    return TwoLevel(
        compass=compass,
        grid=mean(lies.grid for _, lies in lying),
        middle_but_edge=float(mean(lies.middle_but_edge for _, lies in lying)),
        edge_but_middle=float(mean(lies.edge_but_middle for _, lies in lying)),
        audible=height.measure(total, height.AUDIBLE),
        thirds=height.third_shares(total, height.AUDIBLE),
        stays=tuple(_stillness(whole, parts, lying)),
        unmatched=tuple(player.name for player in found if player.lying is None),
    )


def _stillness(
    whole: Analysis, parts: Mapping[str, Analysis], lying: Sequence[tuple[Player, Lying]]
) -> Iterable[Still]:
    """Stays of the whole, of all instruments on heights, and of each part.

    A stay of one part on heights is its stay on pitches, since the one is the
    other on a ruler; whether the whole keeps still with it is what can differ.
    """
    together = whole.stays if len(parts) == 1 else _stays_on_heights(whole, parts, lying)
    for stay in whole.stays:
        still = height.is_still(together, stay.first, stay.last)
        yield Still(None, stay.first, stay.last, "both" if still else "whole")
    for stay in together:
        if not height.is_still(whole.stays, stay.first, stay.last):
            yield Still(None, stay.first, stay.last, "instrument")
    for player, _ in lying if len(parts) > 1 else ():
        for stay in parts[player.name].stays:
            still = height.is_still(whole.stays, stay.first, stay.last)
            way = "both" if still else "instrument"
            yield Still(player.name, stay.first, stay.last, way)


def _stays_on_heights(
    whole: Analysis, parts: Mapping[str, Analysis], lying: Sequence[tuple[Player, Lying]]
) -> list[Stay]:
    """Stays of all players together, each of them on the scale of heights."""
    spans = [lies.instrument.professional for _, lies in lying]
    steps = round(sum(high - low for low, high in spans) / len(spans))
    scaled = [
        height.on_height(parts[player.name].texture.bars, span, steps)
        for (player, _), span in zip(lying, spans, strict=True)
    ]
    bars = np.sum(scaled, axis=0)
    return stays(replace(whole.texture, bars=bars, total=bars.sum(axis=0)))
