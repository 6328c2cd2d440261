"""One analysed piece against cohorts of a reference.

Nothing here draws, reads files or asks the database: cohorts come in as arrays,
and the result is plain data that `findings` judges and `text` puts into language.

Conventions: bars are played bars, half-open; written positions count bars in file order from
0; labels are printed bar numbers; a place is a run of played bars, half-open, with the printed
bars at both ends.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.players import NOBODY, Players
from corpusreg.measures.analysis import Analysis, is_narrow, occupied_bands
from corpusreg.measures.background import Background, background, passages
from corpusreg.measures.definitions import BY_NAME, MEASURES, Measure
from corpusreg.measures.events import Event
from corpusreg.measures.rebar import Bars, likely, rebarred
from corpusreg.measures.shifts import Shift
from corpusreg.measures.stays import Stay
from corpusreg.measures.unevenness import errors
from corpusreg.norms.alike import Alike
from corpusreg.norms.profiles.model import PlacedProfile
from corpusreg.norms.reference import BASIC, Cohort, Placement, Size, place, unusualness
from corpusreg.score.played import PlayedBars

__all__ = [
    "Comparison", "Piece", "Place", "PlacedMeasure", "PlacedStay", "PrintedBar", "compare",
    "place_of", "printed_bar", "printed_place", "turns_back",
]  # fmt: skip

_FEW = 3  # passages named for a measure
# Kinds of events that show a measure.
# Kinds of events of a whole that are no events of one part in it.
_OF_THE_WHOLE = ("shift", "gap", "in_octaves", "closing")

_SHOWN = {
    "entries": ("withheld_bass", "withheld_top", "cleared", "entry"),
    "pedal_points": ("pedal_point",),
}


@dataclass(frozen=True)
class Piece:
    """What the piece is. ensemble: words for people, such as 'piano'.

    number: position of the work in a file that holds many, as in `Score`, else ''.
    unread: places in the file that could not be read; `notes` say why.
    """

    title: str
    path: str
    parts: tuple[str, ...]
    ensemble: str
    assumed: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    number: str = ""
    unread: int = 0


@dataclass(frozen=True)
class PlacedMeasure:
    """A measure of the piece, its place, and the played bars that show it.

    barred: where its metre makes other bars likely, which, and the percentile that it would
    have if it were written in them.
    """

    measure: Measure
    value: float | None
    placement: Placement
    passages: tuple[tuple[int, int], ...]
    barred: tuple[Bars, float] | None = None


@dataclass(frozen=True)
class PlacedStay:
    """A stay of the whole (part None) or of a part; rank 1 matters most.

    main: whether it is one of the few that are told.
    """

    part: str | None
    stay: Stay
    rank: int
    narrow: bool
    bands: tuple[int, ...]
    main: bool


@dataclass(frozen=True)
class PlacedEvent:
    """An event of the whole (part None) or of a part."""

    part: str | None
    event: Event


@dataclass(frozen=True)
class Comparison:
    """A placed piece.

    others: the neighbouring rungs' placements by rung title, by measure name.
    odder: share of the cohort (0 to 1) whose own oddest measure lies as far out as this
    piece's oddest; where the cohort is too small to place its own works, of the next
    broader one; None where nothing is placed, or where that cannot be told. alike: works whose
    register has the same shape over time, nearest first. profile: or in
    words why there is none. parts: analyses of the sounding parts by name, in score order.
    octaves: how much of each work of the cohort sounds in each octave, shape (works, 11),
    octave -1 first; names: what each work of the cohort is called, shape (works,); None where
    they were not asked for.
    """

    piece: Piece
    bars: PlayedBars
    written_bars: int
    whole: Analysis
    cohort: Cohort
    measures: tuple[PlacedMeasure, ...]
    others: Mapping[str, Mapping[str, Placement]]
    stays: tuple[PlacedStay, ...]
    shifts: tuple[Shift, ...]
    events: tuple[PlacedEvent, ...]
    background: tuple[Background, ...]
    odder: float | None
    players: Players = NOBODY
    profile: PlacedProfile | str = "not looked for"
    alike: tuple[Alike, ...] = ()
    parts: Mapping[str, Analysis] = field(default_factory=dict)
    octaves: NDArray[np.float64] | None = None
    names: NDArray[np.object_] | None = None


def compare(
    piece: Piece,
    whole: Analysis,
    parts: Mapping[str, Analysis],
    cohorts: Sequence[Cohort],
    written_bars: int,
    players: Players = NOBODY,
) -> Comparison:
    """Place an analysed piece in the first cohort that is large enough.

    cohorts: narrowest first, at least one; where none is large enough the narrowest
    is reported and nothing is placed. parts: analyses of the sounding parts, by name.
    """
    size = Size(len(whole.played.bars), whole.texture.voices)
    enough = [cohort for cohort in cohorts if cohort.near(size, BASIC) is not None]
    chosen = enough[0] if enough else cohorts[0]
    uneven = errors(whole)
    barred = _barred(whole, chosen, size)
    placed = tuple(
        _placed(measure, whole, chosen, size, uneven, barred.get(measure.name))
        for measure in MEASURES
    )
    far = unusualness([each.placement for each in placed])
    known = any(each.placement.percentile is not None for each in placed)
    odd = next((cohort.odd for cohort in enough if len(cohort.odd)), chosen.odd)
    return Comparison(
        piece=piece,
        bars=whole.played.bars,
        written_bars=written_bars,
        whole=whole,
        cohort=chosen,
        measures=placed,
        others={
            cohort.rung.title: {
                m.name: _placement(m.name, whole, cohort, size, uneven) for m in MEASURES
            }
            for cohort in enough
            if cohort is not chosen
        },
        stays=(
            *_placed_stays(None, whole),
            *(
                stay
                for name, part in (parts.items() if len(parts) > 1 else ())
                for stay in _placed_stays(name, part)
            ),
        ),
        shifts=whole.shifts,
        events=_placed_events(whole, parts),
        background=tuple(passages(background(whole.texture))),
        odder=float((odd >= far).mean()) if known and len(odd) else None,
        players=players,
        parts=parts,
    )


def _placed(
    measure: Measure,
    whole: Analysis,
    cohort: Cohort,
    size: Size,
    uneven: Mapping[str, float],
    barred: tuple[Bars, float] | None,
) -> PlacedMeasure:
    return PlacedMeasure(
        measure=measure,
        value=whole.values[measure.name].value,
        placement=_placement(measure.name, whole, cohort, size, uneven),
        passages=_passages(measure.name, whole),
        barred=barred,
    )


def _barred(whole: Analysis, cohort: Cohort, size: Size) -> dict[str, tuple[Bars, float]]:
    """The bars that the metre makes likely, and the percentiles in them, by measure."""
    kind = likely(whole.played.bars)
    if kind is None or cohort.near(size, BASIC) is None:
        return {}
    # With bars twice as long there are half as many: dwell halves, and rates double.
    longer = 2.0 if kind == "double" else 0.5
    scale = {"shift_rate": longer, "longest_dwell": 1 / longer, "expected_dwell": 1 / longer}
    other = Size(size.bars / longer, size.voices)
    found = {}
    for name, value in rebarred(whole.played)[kind].items():
        if other.bars >= BY_NAME[name].minimum_bars:
            placed = place(cohort, name, value * scale.get(name, 1.0), other).percentile
            if placed is not None:
                found[name] = (kind, placed)
    return found


def _placement(
    name: str, whole: Analysis, cohort: Cohort, size: Size, uneven: Mapping[str, float]
) -> Placement:
    value = whole.values[name]
    if value.value is None or value.reason:
        return Placement(None, None, None, None, 0.0, value.reason)
    return place(cohort, name, value.value, size, uneven.get(name, 0.0))


def _placed_stays(part: str | None, analysis: Analysis) -> list[PlacedStay]:
    return [
        PlacedStay(
            part=part,
            stay=analysis.stays[index],
            rank=rank,
            narrow=is_narrow(analysis.stays[index], analysis.texture.single_line),
            bands=occupied_bands(analysis.stays[index], analysis),
            main=rank <= analysis.main,
        )
        for rank, index in enumerate(analysis.ranking, start=1)
    ]


def _placed_events(whole: Analysis, parts: Mapping[str, Analysis]) -> tuple[PlacedEvent, ...]:
    """Events of the whole, then of each part: those that one part can have alone."""
    own = parts.items() if len(parts) > 1 else ()
    return (
        *(PlacedEvent(None, event) for event in whole.events),
        *(
            PlacedEvent(name, event)
            for name, part in own
            for event in part.events
            if event.kind not in _OF_THE_WHOLE
        ),
    )


def _passages(name: str, whole: Analysis) -> tuple[tuple[int, int], ...]:
    """Played bars that show a measure best, at most three passages."""
    if name == "span":
        return _extreme_bars(whole)
    if name in ("longest_dwell", "expected_dwell"):
        long = sorted(whole.stays, key=lambda stay: (-stay.bars, stay.first))
        return tuple((stay.first, stay.last) for stay in long[:1])
    if name == "narrow_dwell":
        narrow = [s for s in whole.stays if is_narrow(s, whole.texture.single_line)]
        narrow.sort(key=lambda stay: (-stay.bars, stay.first))
        return tuple(sorted((stay.first, stay.last) for stay in narrow[:_FEW]))
    if name in ("shift_rate", "movement_bar", "movement_phrase"):
        wide = sorted(whole.shifts, key=lambda shift: (-shift.mass, shift.bar))
        return tuple(sorted((shift.bar, shift.bar + 1) for shift in wide[:_FEW]))
    if name in _SHOWN:
        shown = [event for event in whole.events if event.kind in _SHOWN[name]]
        return tuple(sorted((event.first, event.last) for event in shown[:_FEW]))
    if name == "hollow_share":
        runs = _runs(whole.hollow > 0)
        runs.sort(key=lambda run: (run[0] - run[1], run[0]))
        return tuple(sorted(runs[:_FEW]))
    return ()


def _extreme_bars(whole: Analysis) -> tuple[tuple[int, int], ...]:
    notes = whole.played.notes
    rows = (int(notes.pitch.argmin()), int(notes.pitch.argmax()))
    return tuple((int(notes.bar[row]), int(notes.bar[row]) + 1) for row in rows)


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Half-open runs of True."""
    change = np.diff(np.concatenate(([0], flags.astype(np.int8), [0])))
    return list(
        zip(
            np.flatnonzero(change > 0).tolist(),
            np.flatnonzero(change < 0).tolist(),
            strict=True,
        )
    )


@dataclass(frozen=True)
class PrintedBar:
    """A bar as the page numbers it. index: in file order, from 0. time: 2 where it is heard
    for the second time. upbeat: it comes before bar 1."""

    number: str
    index: int
    time: int = 1
    upbeat: bool = False


@dataclass(frozen=True)
class Place:
    """Played bars first to last (half-open), from the printed bar `start` to `end`.

    movement: number of the work in its file, '' where the file holds one work. runs: first and
    last bar of each run of the page, where the music goes back to repeat in between; else ().
    """

    first: int
    last: int
    start: PrintedBar
    end: PrintedBar
    movement: str = ""
    runs: tuple[tuple[PrintedBar, PrintedBar], ...] = ()

    @property
    def bars(self) -> int:
        """Length in played bars."""
        return self.last - self.first


def printed_bar(bars: PlayedBars, bar: int) -> PrintedBar:
    """A played bar as the page numbers it.

    Bars that notation programs add without a number of their own ('X1') count with the
    bar before them.
    """
    index = int(bars.written[bar])
    number = _number(bars.printed[bar])
    before = bar
    while not number and before > 0:
        before -= 1
        number = _number(bars.printed[before])
    return PrintedBar(
        number=number or "1", index=index, time=int(bars.time[bar]), upbeat=number == "0"
    )


def _number(label: str) -> str:
    return "" if label[:1] in ("X", "x", "") else label


def turns_back(bars: PlayedBars, first: int, last: int) -> list[int]:
    """The played bars after `first`, before `last`, to which the music goes back to repeat."""
    back = np.diff(bars.written[first:last]) <= 0
    return (first + 1 + np.flatnonzero(back)).tolist()


def place_of(bars: PlayedBars, first: int, last: int, movement: str = "") -> Place:
    """Played bars first to last (half-open) as a place."""
    start, end = printed_bar(bars, first), printed_bar(bars, last - 1)
    back = turns_back(bars, first, last)
    edges = [first, *back, last]
    runs = tuple(
        (printed_bar(bars, here), printed_bar(bars, there - 1))
        for here, there in pairwise(edges)
    )
    return Place(first, last, start, end, movement, runs if back else ())


def printed_place(c: Comparison, first: int, last: int) -> Place:
    """Played bars first to last (half-open) of a piece as a place."""
    return place_of(c.bars, first, last, c.piece.number)
