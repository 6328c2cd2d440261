"""What is found in a piece, as plain data: every judgement about it is made here, once.

Aim
---
`reading(comparison)` decides what the piece is said to do first, which measures are
unusual, where it stays and shifts most clearly, and what may be tried. Sentences, JSON,
maps, reports and handouts are made from a `Reading`; none of them judges, and nothing
reads a sentence.

Conventions
-----------
place     played bars, half-open, with the printed bars at both ends.
pitch     MIDI note numbers; a field that holds them has `PITCH` in its metadata.
rank      percentile, 0 to 100, among the works that the piece is compared with.
part      the name of a part, None for the whole texture; instrument as in the table of
          instruments, None where it is not known.
order     events by `corpusreg.measures.events.ranked`: the first is what the piece
          is said to do. Stays by rank, shifts by size, measures in the order of their table.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np

from corpusreg.comparison.comparison import (
    Comparison,
    Place,
    PlacedMeasure,
    PrintedBar,
    place_of,
    printed_bar,
    printed_place,
    turns_back,
)
from corpusreg.comparison.placing import part_names
from corpusreg.comparison.players import PITCH, Reach
from corpusreg.comparison.playing import (
    OutOfRange,
    Practical,
    Singing,
    beyond,
    practical,
    singing,
)
from corpusreg.corpus.tables import rows as data_rows
from corpusreg.measures.definitions import Measure
from corpusreg.measures.events import TOGETHER, Event, final_bar
from corpusreg.measures.peaks import NEAR
from corpusreg.measures.rebar import Bars
from corpusreg.measures.sections import sections
from corpusreg.norms.cohorts import misfit
from corpusreg.norms.reference import unreliable
from corpusreg.score.pitch import USUAL, Spelling
from corpusreg.score.played import PlayedBars, segments

__all__ = [
    "HEADLINE", "OPEN", "SEEN_IN_STAYS", "Company", "Finding", "PieceFacts", "Rank", "Reading",
    "Shown", "Suggestion", "bare_event", "is_register", "rank_of", "reading", "shown_run",
]  # fmt: skip

TIED = 0.2  # share of works with exactly this value, from which a rank says nothing
FAR = 40.0  # percentile points from the middle that are unusual, ranks 10 and 90
SURE_LOW, SURE_HIGH = 25.0, 75.0  # ranks beyond which the whole interval then lies
COMMON = 0.5  # share of works with some measure as far out, above which nothing is unusual
UNUSUAL = 2  # measures named on a first screen
WIDEST = 48  # semitones of a register that first screens and sheets tell of
MIDDLE = 7.0  # percentile points from the middle that count as the middle
NEARLY_ALL = 5.0  # ranks below and above which a piece is beyond nearly all
APART = 15.0  # percentile points by which another period or family places it elsewhere
LETTERS = 12  # of more sections the letters tell nothing: variations, a medley
# What every piece has is not what it is said to do: these are told on lines of their own.
ALWAYS = frozenset(("high_point", "low_point", "closing"))
# An event weaker than this is listed and never told first. Of 23 withheld basses and tops that
# a musician called clear the weakest has .42; half of those that he did not mark lie below.
FIRST_STRENGTH = {
    "withheld_bass": 0.4, "withheld_top": 0.4, "entry": 0.25, "crossing": 0.5, "gap": 0.25,
    "pedal_point": 0.5,
}  # fmt: skip
WITHHELD = ("withheld_bass", "withheld_top")
# Bars: of a part that rests meanwhile; of one that plays on, where two are an ordinary line.
SHORTEST_REST, SHORTEST_WAIT = 2.0, 3.0
LEAST_WAIT = 4.0  # bars; a shorter wait is never told first
# A wait leads where it is a sixth of the piece or this long. A shorter one is a breath in a
# long piece: anything else that is clear is told before it.
LONG_WAIT, PART_OF_PIECE = 6.0, 6
REPEATED = 0.75  # of a section that is heard again, endings left out
FULL_WAIT = 8.0  # bars from which on a longer wait is no stronger
EARLY = 0.5  # bars by which a rest may be shorter than it is told, where the metre changes
DRONE = 0.75  # of the music, under which a pedal point is what the piece does
# A spread over octaves that counts by weight is for tables: said of a tune it misleads.
_TABLES_ONLY = frozenset(("octaves_in_use",))
# Measures of one family say the same; only the furthest out is named.
FAMILIES = {
    "span": "space", "core_span": "space", "octaves_in_use": "space",
    "movement_beat": "within", "travel": "within",
    "movement_bar": "between", "movement_phrase": "between", "shift_rate": "between",
    "longest_dwell": "stays", "expected_dwell": "stays", "narrow_dwell": "narrow",
    "hollow_share": "gaps",
}  # fmt: skip
# The few measures that stand on a first page where they are reliable; the others are details.
HEADLINE = (
    "span", "core_span", "movement_bar", "shift_rate", "expected_dwell", "hollow_share",
)  # fmt: skip
PLAYERS = 6  # of a large ensemble, at most so many are told who play high or low
SHOWN = 2  # passages in notation on a first page
SHOWN_BARS = 4  # about a line of music
# Of a long way its end is shown, where it arrives.
_SHOWN_BY_THEIR_END = frozenset(("climb", "descent", "wedge"))
_LINES = ("climb", "descent")
_WIDE = 12  # semitones of a shift that is clear as it is
_SUSTAINING = ("voice", "strings", "woodwind", "brass")  # families that can hold a note
_BEFORE = 4  # notes up to a high or low point that show whether its hand plays one line
OPEN = 90  # ranks that an interval spans, from which it says next to nothing
# Few moves show best in the longest stay.
SEEN_IN_STAYS = frozenset(("movement_bar", "movement_phrase", "shift_rate"))

Kind = Literal["event", "measure", "stay", "section", "player"]
Side = Literal["less", "more", "middle", "tied"]


@dataclass(frozen=True)
class Rank:
    """Where a value lies among other works.

    interval: 95 %. by_collection: lowest and highest percentile over collections, None
    where it is not known. tied: share of works with exactly this value (0 to 1). side:
    'tied' where that share is large. sure: the whole interval is on that side. collections,
    periods: the percentile within each that has enough works near the piece, by name, the
    earliest period first.
    elsewhere: where a collection that is not there would place it, 9 times in 10, None where
    too few are there to tell. other_bars: half or double where the metre makes such bars
    likely, and barred: the percentile in them.
    """

    percentile: float
    interval: tuple[float, float]
    by_collection: tuple[float, float] | None
    median: float
    tied: float
    side: Side
    sure: bool
    collections: Mapping[str, float] = field(default_factory=dict)
    periods: Mapping[str, float] = field(default_factory=dict)
    elsewhere: tuple[float, float] | None = None
    other_bars: Bars | None = None
    barred: float | None = None

    @property
    def uncertain(self) -> bool:
        """Whether the interval is so wide that the rank says next to nothing."""
        return self.interval[1] - self.interval[0] >= OPEN


@dataclass(frozen=True)
class Finding:
    """One thing found.

    kind, name: 'event' and its kind, 'measure' and its name, 'stay', 'section' and its
    letter (`order` counts its returns, `notes` is the middle of its sound), or 'player' and
    'edge' for a part high or low for its instrument: its `reach`.
    place: where it is, None for a measure; bar, beat: where it happens. notes: those that
    prove it, lowest first; low, high: the register it is about. size, unit: silence in
    bars, distance in semitones, length in bars, or the value of a measure. rank: None where
    it has no place among works, with the reason. strength: of an event, in (0, 1]; order:
    from 1, within its list. main: one of the few stays, or players, that are told.
    shown_in: bars to listen to for a measure. players: parts that do it. since, again,
    also: printed bars of the event's own fields. rest: whole bars for which its one player
    had been silent, from_start: since the piece began. clean: of what is withheld, nothing at
    all sounded beyond `event.edge` meanwhile. event: the event itself, for its details.
    """

    kind: Kind
    name: str
    part: str | None = None
    instrument: str | None = None
    place: Place | None = None
    bar: PrintedBar | None = None
    beat: float | None = None
    notes: tuple[int, ...] = field(default=(), metadata=PITCH)
    low: int | None = field(default=None, metadata=PITCH)
    high: int | None = field(default=None, metadata=PITCH)
    size: float | None = None
    unit: str = ""
    direction: str = ""
    rank: Rank | None = None
    reason: str = ""
    strength: float | None = None
    order: int = 0
    narrow: bool = False
    main: bool = False
    shown_in: tuple[Place, ...] = ()
    players: tuple[str, ...] = ()
    since: PrintedBar | None = None
    again: PrintedBar | None = None
    also: tuple[PrintedBar, ...] = ()
    rest: int | None = None
    from_start: bool = False
    clean: bool = False
    event: Event | None = None
    reach: Reach | None = None


@dataclass(frozen=True)
class Suggestion:
    """One thing to try, which serves what was found and fits the instrument.

    kind: what to do; serves: the finding. place: where to do it. part, instrument: who.
    note: the pitch it turns on, `bars`: for how many bars longer.
    """

    kind: Literal[
        "keep_above", "keep_below", "keep_clear", "hold_arrival", "hold_longer",
        "settle_before", "save_the_top", "listen_for",
    ]  # fmt: skip
    serves: Finding
    place: Place
    part: str | None = None
    instrument: str | None = None
    note: int | None = field(default=None, metadata=PITCH)
    bars: int = 0


@dataclass(frozen=True)
class Shown:
    """A passage to be shown in notation, and the finding that it proves.

    written: the same bars as runs of written positions, half-open. goes_on: the finding is
    longer than what is shown.
    """

    place: Place
    finding: Finding
    written: tuple[tuple[int, int], ...]
    goes_on: bool = False


@dataclass(frozen=True)
class Company:
    """The works that the piece is compared with.

    title: words for them ('piano works'). medium: False where some parts name no instrument,
    so that nothing is placed. family: they are of its wider family and not of its own
    medium. placed: whether any measure has a rank; reason: why none has, '' where
    one has. others: titles of other groups that place a measure on another side, with the
    measure and its percentile there. misfit: why the works do not fit the piece, '' where
    they do (`corpusreg.norms.cohorts.misfit`).
    """

    title: str
    rung: str
    family: bool
    works: int
    composers: int
    sources: int
    collections: int
    placed: bool
    reason: str
    others: tuple[tuple[str, str, float], ...] = ()
    medium: bool = True
    misfit: str = ""


@dataclass(frozen=True)
class PieceFacts:
    """What the piece is. ensemble: for whom, as people say it. parts: sounding parts in
    score order; instruments: of each, None where it is not known. written_bars,
    played_bars: as printed and as heard; numbered, heard: the same without upbeats and second
    halves of a bar ('8a'). lowest, highest: its outermost notes. unread:
    places in the file that could not be read; `notes` say why. spelling: what it calls the
    twelve notes, C first."""

    title: str
    path: str
    number: str
    ensemble: str
    parts: tuple[str, ...]
    instruments: tuple[str | None, ...]
    written_bars: int
    played_bars: int
    numbered: int
    heard: int
    upbeat: bool
    lowest: int = field(metadata=PITCH)
    highest: int = field(metadata=PITCH)
    dynamics_known: bool = True
    assumed: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    unread: int = 0
    spelling: Spelling = USUAL


@dataclass(frozen=True)
class Reading:
    """All that is found in one work, and what is said of it first.

    first: the strongest event that is clear, else `otherwise`: a part at the edge of its
    instrument amid the texture, else a stay of half of the piece or more, else the high
    point. unusual: the one or two
    measures that are unusual among works of its medium, furthest first; alike: names of
    other measures that say the same. unusual_known: False where it cannot be known.
    stay, shift: the clearest, None where there is none. shown: passages worth seeing in
    notation, in the order they are heard. beyond: notes outside the usual ranges. practical:
    what players would ask about. vague: names of the measures that are not reliable
    among works of its medium. measures, stays, events: all of them in their order; those of
    parts come after those of the whole. sections: in order of time; none where the piece has
    one alone, or too many to tell apart. singing: voices in score order. reaching: parts that
    lie high or low for their players, those first that do so amid the texture.
    """

    piece: PieceFacts
    company: Company
    first: Finding | None
    otherwise: Finding | None
    unusual: tuple[Finding, ...]
    alike: Mapping[str, tuple[str, ...]]
    unusual_known: bool
    as_far_out: float | None
    stay: Finding | None
    shift: Finding | None
    high_point: Finding | None
    suggestion: Suggestion | None
    shown: tuple[Shown, ...]
    beyond: tuple[OutOfRange, ...]
    practical: tuple[Practical, ...]
    vague: tuple[str, ...]
    measures: tuple[Finding, ...]
    stays: tuple[Finding, ...]
    events: tuple[Finding, ...]
    sections: tuple[Finding, ...] = ()
    singing: tuple[Singing, ...] = ()
    reaching: tuple[Finding, ...] = ()

    def of_whole(self, *kinds: str) -> list[Finding]:
        """Events of the whole texture, of some kinds or of all, in their order."""
        return [f for f in self.events if f.part is None and (not kinds or f.name in kinds)]

    def headlines(self) -> list[Finding]:
        """Measures for a first page: few, and reliable ones."""
        kept = set(HEADLINE) - set(self.vague)
        return [each for each in self.measures if each.name in kept]

    def long_stays(self) -> list[Finding]:
        """Stays of the whole by rank, those of one bar left out where there are others; what a
        repeat sign brings again is one stay."""
        whole: list[Finding] = []
        for each in self.stays:
            if each.part is None and not any(_again(each.place, o.place) for o in whole):
                whole.append(each)
        return [each for each in whole if (each.size or 0) > 1] or whole


def reading(c: Comparison) -> Reading:
    """Decide what is said of a placed piece."""
    names = _names(c)
    bars = c.bars
    events = [
        *_events(c, None, names),
        *(
            found
            for part in (c.parts if len(c.parts) > 1 else ())
            for found in _events(c, part, names)
        ),
    ]
    measures = tuple(_measure(each, c) for each in c.measures)
    stays = tuple(_stays(c, names))
    whole = [each for each in events if each.part is None]
    first = next((each for each in whole if may_be_first(each, len(bars))), None)
    if first is not None and first.name == "shift":
        # A theme that enters there is what a listener hears, and says more than the shift.
        entries = [f for f in whole if f.name == "voice_entry" and f.event and f.event.theme]
        first = next((each for each in entries if each.bar == first.bar), first)
    if first and first.name in _LINES and first.event and first.event.by == "bottom":
        # Where the tune does the same, that is what one hears.
        lines = [f for f in whole if f.name in _LINES and may_be_first(f, len(bars))]
        first = next((f for f in lines if f.event and f.event.by != "bottom"), first)
    high = next((each for each in whole if each.name == "high_point"), None)
    reaching = _reaching(c, names)
    torn = {each.name for each in c.players.parts if each.torn}
    edge = next((each for each in reaching if torn.issuperset(each.players)), None)
    otherwise = edge or _settled(c, stays) or high
    first = first or otherwise
    shift = next((each for each in whole if each.name == "shift"), None)
    vague = unreliable(c.cohort.rung.where.get("ensemble", ""))
    unusual, alike = _unusual(c, [each for each in measures if each.name not in vague])
    return Reading(
        piece=_piece(c, names),
        company=_company(c),
        first=first,
        otherwise=otherwise,
        unusual=unusual,
        alike=alike,
        unusual_known=c.odder is not None,
        as_far_out=c.odder,
        stay=_clearest_stay(stays),
        shift=shift,
        high_point=high,
        suggestion=_suggestion(c, first, names),
        shown=_shown(c, [first, shift, high, *whole, *unusual, *stays]),
        beyond=tuple(beyond(c)),
        practical=tuple(practical(c)),
        vague=tuple(each.name for each in measures if each.name in vague),
        measures=measures,
        stays=stays,
        events=tuple(events),
        sections=tuple(_sections(c)),
        singing=tuple(singing(c)),
        reaching=reaching,
    )


def _again(one: Place | None, other: Place | None) -> bool:
    """Whether two places are mostly the same bars of the page, heard at different times."""
    assert one is not None and other is not None
    ends = [(each.start.index, each.end.index + 1) for each in (one, other)]
    shared = min(last for _, last in ends) - max(first for first, _ in ends)
    apart = one.last <= other.first or other.last <= one.first
    return apart and 4 * shared >= 3 * min(last - first for first, last in ends)


@dataclass(frozen=True)
class _Names:
    """Names of the sounding parts by index, and their instruments by name."""

    parts: Mapping[int, str]
    instruments: Mapping[str, str | None]


def _names(c: Comparison) -> _Names:
    known = {
        player.name: player.use.instrument.name if player.use else None
        for player in c.players.parts
    }
    return _Names(part_names(c.whole.played), known)


def _piece(c: Comparison, names: _Names) -> PieceFacts:
    piece, printed = c.piece, c.bars.printed
    unnumbered = np.array([_no_bar(number, printed) for number in printed])
    return PieceFacts(
        title=piece.title,
        path=piece.path,
        number=piece.number,
        ensemble=piece.ensemble,
        parts=piece.parts,
        instruments=tuple(names.instruments.get(part) for part in piece.parts),
        written_bars=c.written_bars,
        played_bars=len(c.bars),
        numbered=c.written_bars - len(set(c.bars.written[unnumbered].tolist())),
        heard=len(c.bars) - int(unnumbered.sum()),
        upbeat=c.written_bars > 1 and printed[0] == "0",
        lowest=c.whole.lowest,
        highest=c.whole.highest,
        dynamics_known=c.whole.played.dynamics_known,
        assumed=piece.assumed,
        notes=piece.notes,
        unread=piece.unread,
        spelling=c.whole.played.spelling,
    )


def _no_bar(number: str, printed: Sequence[str]) -> bool:
    """Whether a bar of the page is an upbeat, or the second half of the one before it."""
    upbeat = number == "0" and len(printed) > 1
    return upbeat or (number[-1:].isalpha() and number[:-1] in printed)


def _company(c: Comparison) -> Company:
    cohort = c.cohort
    placed = any(each.placement.percentile is not None for each in c.measures)
    reasons = [each.placement.reason for each in c.measures if each.placement.reason]
    return Company(
        title=cohort.rung.title,
        rung=cohort.rung.name,
        family=cohort.rung.broad,
        works=cohort.works,
        composers=cohort.composers,
        sources=cohort.sources,
        collections=cohort.collections,
        placed=placed,
        reason="" if placed or not reasons else reasons[0],
        others=tuple(_elsewhere(c)),
        medium=cohort.rung.medium,
        misfit=misfit(
            c.piece.ensemble,
            single_line=c.whole.texture.single_line,
            rung=cohort.rung,
            placed=placed,
        ),
    )


def _elsewhere(c: Comparison) -> Iterable[tuple[str, str, float]]:
    """Measures that another group places on another side of ranks 25 or 75."""
    for title, placements in c.others.items():
        for each in c.measures:
            here = each.placement.percentile
            there = placements[each.measure.name].percentile
            if here is None or there is None or abs(here - there) < APART:
                continue
            if any((here - line) * (there - line) < 0 for line in (SURE_LOW, SURE_HIGH)):
                yield title, each.measure.name, there


def _measure(placed: PlacedMeasure, c: Comparison) -> Finding:
    rank = rank_of(placed)
    low_side = rank is not None and rank.percentile <= 50
    passages = placed.passages
    if low_side and placed.measure.name in SEEN_IN_STAYS:
        longest = max(c.whole.stays, key=lambda stay: (stay.bars, -stay.first))
        passages = ((longest.first, longest.last),)
    return Finding(
        kind="measure",
        name=placed.measure.name,
        size=placed.value,
        unit=placed.measure.unit,
        low=c.whole.lowest if placed.measure.name == "span" else _core(placed.measure, c, 0),
        high=c.whole.highest if placed.measure.name == "span" else _core(placed.measure, c, 1),
        rank=rank,
        reason="" if rank else placed.placement.reason,
        shown_in=tuple(printed_place(c, *run) for run in passages),
    )


def _core(measure: Measure, c: Comparison, end: int) -> int | None:
    return c.whole.core[end] if measure.name == "core_span" else None


def rank_of(placed: PlacedMeasure) -> Rank | None:
    """Where a measure lies among the works; None where it has no place."""
    placement = placed.placement
    other_bars, barred = placed.barred or (None, None)
    p = placement.percentile
    if p is None or placement.interval is None or placement.median is None:
        return None
    low, high = placement.interval
    side: Side = "more" if p > 50 else "less"
    if placement.tied >= TIED:
        side = "tied"
    elif abs(p - 50) <= MIDDLE:
        side = "middle"
    return Rank(
        percentile=p,
        interval=(low, high),
        by_collection=placement.range,
        collections=placement.collections,
        periods={
            row["name"]: placement.periods[row["name"]]
            for row in data_rows("periods.csv")
            if row["name"] in placement.periods
        },
        elsewhere=placement.elsewhere,
        other_bars=other_bars,
        barred=barred,
        median=placement.median,
        tied=placement.tied,
        side=side,
        sure=low > SURE_HIGH or high < SURE_LOW,
    )


def _unusual(
    c: Comparison, measures: Sequence[Finding]
) -> tuple[tuple[Finding, ...], Mapping[str, tuple[str, ...]]]:
    """The measures furthest out, one of each family, and the others that say the same.

    A measure is unusual beyond the ranks 10 and 90, with its whole interval beyond 25 or
    75; none is where more than half of the works have some measure as far out.
    """
    if c.odder is None or c.odder > COMMON:
        return (), {}
    far = [
        each
        for each in measures
        if each.rank
        and each.rank.side != "tied"
        and each.rank.sure
        and abs(each.rank.percentile - 50) >= FAR
    ]
    far.sort(
        key=lambda each: (
            each.name in _TABLES_ONLY,
            -round(abs(each.rank.percentile - 50) if each.rank else 0),
        )
    )
    groups: dict[tuple[str, str], list[Finding]] = {}
    for each in far:
        side = each.rank.side if each.rank else ""
        groups.setdefault((FAMILIES.get(each.name, each.name), side), []).append(each)
    led = [group[0] for group in groups.values() if group[0].name not in _TABLES_ONLY]
    leading = led[:UNUSUAL]
    alike = {group[0].name: tuple(f.name for f in group[1:]) for group in groups.values()}
    return tuple(leading), {each.name: alike[each.name] for each in leading}


def _stays(c: Comparison, names: _Names) -> Iterable[Finding]:
    for each in c.stays:
        stay = each.stay
        at = printed_place(c, stay.first, stay.last)
        yield Finding(
            kind="stay",
            name="stay",
            part=each.part,
            instrument=names.instruments.get(each.part) if each.part else None,
            place=at,
            bar=at.start,
            low=stay.low,
            high=stay.high,
            size=float(stay.bars),
            unit="bars",
            order=each.rank,
            narrow=each.narrow,
            main=each.main,
        )


def _sections(c: Comparison) -> Iterable[Finding]:
    found = sections(c.whole.played, c.whole.texture)
    if len({each.letter for each in found}) > LETTERS:
        return
    for each in found:
        at = printed_place(c, each.first, each.last)
        yield Finding(
            kind="section",
            name=each.letter,
            place=at,
            bar=at.start,
            notes=(each.middle,),
            low=each.low,
            high=each.high,
            size=float(at.bars),
            unit="bars",
            order=each.time,
        )


def _clearest_stay(stays: Sequence[Finding]) -> Finding | None:
    """The first of the main stays that is not one note alone; None where there is none, or
    where it is no register.
    """
    main = (each for each in stays if each.part is None and each.main)
    found = next((each for each in main if each.low != each.high), None)
    return found if found is not None and is_register(found) else None


def is_register(stay: Finding) -> bool:
    """Whether a stay takes so little of the space that a register is meant, and not a high line
    over a far bass, say."""
    return (stay.high or 0) - (stay.low or 0) <= WIDEST


def _settled(c: Comparison, stays: Sequence[Finding]) -> Finding | None:
    """The stay that fills half of the piece or more, None where there is none."""
    stay = _clearest_stay(stays)
    return stay if stay and 2 * (stay.size or 0) >= len(c.bars) else None


# What the size of an event is: its field, and the unit.
_SIZES: Mapping[str, tuple[str, str]] = {
    "withheld_bass": ("silence", "bars"), "withheld_top": ("silence", "bars"),
    "cleared": ("silence", "bars"), "entry": ("silence", "bars"),
    "voice_entry": ("silence", "bars"), "climb": ("distance", "semitones"),
    "descent": ("distance", "semitones"), "wedge": ("distance", "semitones"),
    "pedal_point": ("lasts", "bars"), "shift": ("distance", "semitones"),
    "octave_return": ("interval", "semitones"), "gap": ("lasts", "bars"),
    "in_octaves": ("lasts", "bars"), "dialogue": ("lasts", "bars"),
    "crossing": ("lasts", "bars"), "isolated": ("distance", "semitones"),
    "closing": ("distance", "semitones"),
}  # fmt: skip


def _events(c: Comparison, part: str | None, names: _Names) -> Iterable[Finding]:
    """Events of the whole or of a part, the most telling first."""
    own = [each.event for each in c.events if each.part == part]
    again = _brought_again(own, c.bars)
    found = [_event(c, event, part, names) for at, event in enumerate(own) if at not in again]
    told = _as_one(each for each in found if each is not None)
    told.sort(key=lambda each: _turn(each, c.bars))
    for order, each in enumerate(told, start=1):
        yield replace(each, order=order)


def _event(c: Comparison, event: Event, part: str | None, names: _Names) -> Finding | None:
    """An event with what the notes say of it; None where a wait of a bar would be told, or a
    layer of an accompaniment as a voice."""
    rest = _rest(c, event)
    if event.kind == "high_point":
        event = replace(event, times=_nearly_as_high(c, event, part))
    if event.approach in ("step", "leap") and not _in_a_line(c, event):
        event = replace(event, approach="")
    found = replace(
        bare_event(event, c.bars),
        part=part,
        instrument=names.instruments.get(part) if part else None,
        players=tuple(names.parts[n] for n in _in_order(c, event) if n in names.parts),
        rest=rest,
        from_start=rest is not None and rest == event.bar,
    )
    if event.kind in _LINES and not _ends_outside(c, event, part):
        return None
    if event.kind in WITHHELD and event.edge is not None:
        low, high, clean, waited = _withheld(c, event, part)
        size = waited if clean else found.size
        if (size or 0) < (SHORTEST_REST if event.by == "enters" else SHORTEST_WAIT):
            return None
        return replace(found, low=low, high=high, clean=clean, size=size)
    if event.kind == "cleared":
        notes = c.whole.played.notes
        here = set(notes.pitch[notes.bar == event.bar].tolist())
        return replace(found, notes=tuple(n for n in found.notes if n in here) or found.notes)
    if event.kind == "voice_entry" and len(event.players) == 1 and _sounds_on(c, event):
        # The player sounds on: a layer of the page begins, and nobody comes in after a rest.
        family = {each.name: each.use.instrument.family for each in c.players.parts if each.use}
        if len(c.parts) > 1 and family.get(found.players[0]) == "keyboard":
            return None
        return replace(found, players=(), size=None, unit="", rest=None)
    return found


def _last_note(event: Event) -> int:
    """Where an outer line arrives."""
    return event.low if event.kind == "descent" else event.high


def _ends_outside(c: Comparison, event: Event, part: str | None) -> bool:
    """Whether the last note of an outer line is outermost when it is struck, with what is
    held from before.
    """
    notes = (c.parts[part] if part else c.whole).played.notes
    end = _last_note(event)
    sign = -1 if event.by == "bottom" else 1
    near = (notes.bar >= event.bar - 1) & (notes.bar <= event.bar)
    beyond = np.flatnonzero(near & (sign * (notes.pitch - end) > 0))
    ends = (notes.onset + notes.duration)[beyond] - float(c.bars.beat[event.bar]) / 4
    return any(
        not ((notes.onset[beyond] <= onset) & (ends > onset)).any()
        for onset in notes.onset[(notes.bar == event.bar) & (notes.pitch == end)].tolist()
    )


def _in_a_line(c: Comparison, event: Event) -> bool:
    """Whether the hand that strikes a note plays single notes up to it.

    Else the note before it may belong to a chord or to another line.
    """
    notes = c.whole.played.notes
    struck = np.flatnonzero((notes.bar == event.bar) & (notes.pitch == event.pitches[0]))
    if not len(struck):
        return False
    row = int(struck[0])
    hand = (notes.part == notes.part[row]) & (notes.staff == notes.staff[row])
    own = np.flatnonzero(hand)
    own = own[notes.onset[own] <= notes.onset[row]][-_BEFORE:]
    ends = (notes.onset + notes.written)[own]
    return bool((notes.onset[own[1:]] >= ends[:-1]).all())


def _nearly_as_high(c: Comparison, event: Event, part: str | None) -> int:
    """How many bars of the page come within a tone of a high point before it."""
    notes = (c.parts[part] if part else c.whole).played.notes
    near = (notes.pitch >= event.high - NEAR) & (notes.bar < event.bar)
    return len(np.unique(c.bars.written[notes.bar[near]]))


def _as_one(found: Iterable[Finding]) -> list[Finding]:
    """Events in their order; pedal points that sound for the same bars are one."""
    together: dict[object, Finding] = {}
    for at, each in enumerate(found):
        assert each.place is not None and each.event is not None
        key: object = at
        if each.name == "pedal_point":
            key = each.place.first, each.place.last, each.event.ending
        before = together.setdefault(key, each)
        if before is not each:
            notes = tuple(sorted({*before.notes, *each.notes}))
            players = tuple(dict.fromkeys((*before.players, *each.players)))
            together[key] = replace(
                before, notes=notes, low=notes[0], high=notes[-1], players=players
            )
    return list(together.values())


def drone(finding: Finding, bars: int) -> bool:
    """Whether a pedal point sounds under nearly all of the music."""
    event = finding.event
    return finding.name == "pedal_point" and event is not None and event.lasts >= DRONE * bars


def _turn(finding: Finding, bars: PlayedBars) -> tuple[int, float]:
    """By what events are put in order: a drone, long waits with the longest and clearest first,
    all else as it is ranked, short waits and what a repeat sign makes by going back, what
    happens in the final cadence."""
    event = finding.event
    if event is None or drone(finding, len(bars)):
        return 0, 0.0
    if event.bar >= final_bar(len(bars)):
        return 4, 0.0
    if _by_repeat(event.bar, bars):
        return 3, 0.0
    if finding.name not in WITHHELD:
        return 2, 0.0
    wait = finding.size or 0.0
    if wait < min(LONG_WAIT, max(LEAST_WAIT, len(bars) / PART_OF_PIECE)):
        return 3, 0.0
    together = TOGETHER if event.theme or event.section else 1.0
    return 1, -event.strength * together * min(wait / FULL_WAIT, 1.0)


def _by_repeat(bar: int, bars: PlayedBars) -> bool:
    """Whether a played bar begins again what ended just before it. Da capo after another
    section is something that happens; such a repeat is not."""
    back = int(bars.written[bar - 1]) - int(bars.written[bar]) + 1 if bar else 0
    if back < 1:
        return False
    again = np.diff(bars.written[bar : bar + back]) == 1
    goes_on = len(again) if again.all() else int(again.argmin())
    return goes_on + 1 >= REPEATED * back


def _filled(event: Event, bars: PlayedBars) -> tuple[int, int]:
    """Played bars that are named for an event, half-open. Of a passage in octaves those that it
    fills by more than half: at its ends two voices may meet on an octave by the way."""
    if event.kind != "in_octaves":
        return event.first, event.last
    begins = (event.beat - 1) * int(bars.beat[event.first]) / int(bars.length[event.first])
    ends = event.first + begins + event.lasts - (event.last - 1)
    first, last = event.first + (begins >= 0.5), event.last - (ends <= 0.5)
    return (first, last) if first < last else (event.first, event.last)


def _brought_again(events: Sequence[Event], bars: PlayedBars) -> set[int]:
    """Indices of events that a repeat sign brings again: the same notes in the same bar; of a
    line that climbs or descends, the same way or the same arrival. Nor is such a line told that
    goes on from the end of what is repeated to its beginning, nor a passage that lies inside
    what was heard before: it is told there, or is not worth telling."""
    keys: list[list[tuple[object, ...]]] = []
    times: list[int] = []
    dropped = set()
    for index, event in enumerate(events):
        bar, time = int(bars.written[event.bar]), int(bars.time[event.bar])
        keys.append([(event.kind, bar, event.low, event.high)])
        if event.kind in ("climb", "descent"):
            start = int(bars.written[event.first])
            end = event.high if event.kind == "climb" else event.low
            keys[-1] = [(event.kind, bar, end), (event.kind, -1 - start, event.low, event.high)]
            time = max(time, int(bars.time[event.first]))
            if bar < start:
                dropped.add(index)
        if _made_by_repeat(event, bars):
            dropped.add(index)
        times.append(time)
        if event.kind in _PASSAGES and _brought_again_whole(event, bars):
            dropped.add(index)
    first: dict[tuple[object, ...], int] = {}
    for index, (own, time) in enumerate(zip(keys, times, strict=True)):
        for key in own if index not in dropped else ():
            first[key] = min(time, first.get(key, time))
    return dropped | {
        index
        for index, (own, time) in enumerate(zip(keys, times, strict=True))
        if any(time > first.get(key, time) for key in own)
    }


_AFTER_SILENCE = frozenset((*WITHHELD, "cleared", "entry", "voice_entry"))
# Kinds that are as they are whatever came before them.
_PASSAGES = frozenset(("climb", "descent", "octave_return", "in_octaves", "gap", "crossing"))


def _made_by_repeat(event: Event, bars: PlayedBars) -> bool:
    """Whether an event is none on the page: a line, or the wait for what was heard before, that
    goes on while the music goes back to repeat."""
    if event.kind == "octave_return" and bars.time[event.first] > 1:
        return True
    if event.kind in ("octave_return", "crossing"):
        run = event.first, event.last
    elif event.kind in _AFTER_SILENCE and bars.time[event.bar] > 1:
        run = max(event.bar - math.ceil(event.silence), 0), event.bar + 1
    else:
        return False
    return bool(turns_back(bars, *run))


def _brought_again_whole(event: Event, bars: PlayedBars) -> bool:
    """Whether an event and the bar before it lie in one run of bars that were heard before."""
    run = slice(max(event.first - 1, 0), event.last)
    return bool((bars.time[run] > 1).all() and (np.diff(bars.written[run]) == 1).all())


def bare_event(event: Event, bars: PlayedBars) -> Finding:
    """An event of which only the bars are known: its parts have no names, and what its own
    fields say is taken as it is."""
    source, unit = _SIZES.get(event.kind, ("", ""))
    size = getattr(event, source) if source else None
    first, last = _filled(event, bars)
    return Finding(
        kind="event",
        name=event.kind,
        place=place_of(bars, first, last),
        bar=printed_bar(bars, event.bar),
        beat=event.beat,
        notes=event.pitches,
        low=event.low,
        high=event.high,
        size=None if size is None else float(size),
        unit=unit,
        direction=event.direction,
        strength=event.strength,
        since=None if event.since is None else printed_bar(bars, event.since),
        again=None if event.again is None else replace(printed_bar(bars, event.again), time=1),
        also=tuple(printed_bar(bars, bar) for bar in event.bars),
        clean=not event.grazes,
        event=event,
    )


def _withheld(c: Comparison, event: Event, part: str | None) -> tuple[int, int, bool, float]:
    """Of a withheld bass or top: lowest and highest note that come in its bar, whether nothing
    sounded beyond the edge in the whole bars before, and how many bars these are."""
    played = (c.parts[part] if part else c.whole).played
    notes = played.notes
    turn = 1 if event.kind == "withheld_bass" else -1
    beyond = turn * notes.pitch < turn * (event.edge or 0)
    here = notes.pitch[beyond & (notes.bar == event.bar)]
    first = 0 if event.since is None else event.since + 1
    start, end = played.bars.start[[first, event.bar]]
    heard = beyond & (notes.onset < end) & (notes.onset + notes.duration > start)
    low, high = (event.low, event.high) if not len(here) else (here.min(), here.max())
    return int(low), int(high), not heard.any() and event.bar > first, float(event.bar - first)


def _in_order(c: Comparison, event: Event) -> Sequence[int]:
    """Players of an event in score order; of a crossing the one that is higher on the whole
    first, since that one then sounds below the other."""
    if event.kind != "crossing":
        return event.players
    notes = c.whole.played.notes

    def height(part: int) -> float:
        own = notes.part == part
        return float(np.average(notes.pitch[own], weights=notes.duration[own]))

    return sorted(event.players, key=height, reverse=True)


def _sounds_on(c: Comparison, event: Event) -> bool:
    """Whether the player of an entry sounds in the silence of the voice that enters."""
    bars, notes = c.whole.played.bars, c.whole.played.notes
    own = notes.part == event.players[0]
    enters = own & (notes.bar == event.bar) & np.isin(notes.pitch, event.pitches)
    onset = int(notes.onset[enters].min())
    ends = (notes.onset + notes.written)[own & (notes.onset < onset)]
    silent = onset - int(ends.max(initial=0))
    return silent < (event.silence - EARLY) * int(bars.full[event.bar])


def _rest(c: Comparison, event: Event) -> int | None:
    """Whole bars for which the one player of an event is silent before it, None for several."""
    if len(event.players) != 1:
        return None
    played = c.whole.played
    rows = played.notes.part == event.players[0]
    ends = (played.notes.onset + played.notes.duration)[rows]
    start = int(played.bars.start[event.bar])
    before = ends[played.notes.onset[rows] < start]
    if not len(before):
        return event.bar
    heard = int(np.searchsorted(played.bars.start, min(int(before.max()), start)))
    return max(event.bar - heard, 0)


def _shown(c: Comparison, found: Sequence[Finding | None]) -> tuple[Shown, ...]:
    """The first passages that have little in common, in the order they are heard; of one kind
    one, where there are others."""
    told = [each and (each.kind, each.name) for each in found]
    again = [name in told[:at] for at, name in enumerate(told)]
    chosen: list[Shown] = []
    for _, each in sorted(zip(again, found, strict=True), key=lambda pair: pair[0]):
        run = shown_run(each, len(c.bars)) if each and each.part is None else None
        if each is None or run is None or len(chosen) == SHOWN:
            continue
        first, cut, last = run
        if any(min(cut, o.place.last) - max(first, o.place.first) > 0 for o in chosen):
            continue
        written = tuple(segments(c.bars, first, cut))
        chosen.append(Shown(printed_place(c, first, cut), each, written, goes_on=cut < last))
    return tuple(sorted(chosen, key=lambda each: each.place.first))


def shown_run(finding: Finding, bars: int) -> tuple[int, int, int] | None:
    """Played bars that show a finding, half-open: the first, the last of some four, and the
    last of all. None for the whole piece."""
    run = _run_of(finding)
    if run is None:
        return None
    first = max(run[0], 0)
    return first, min(run[1], first + SHOWN_BARS, bars), run[1]


def _run_of(finding: Finding) -> tuple[int, int] | None:
    """Played bars that show a finding; what happens at a barline with the bar before it."""
    if finding.kind == "measure":
        return (
            (finding.shown_in[0].first, finding.shown_in[0].last) if finding.shown_in else None
        )
    if finding.place is None:
        return None
    if finding.event is not None and finding.place.bars == 1:
        return max(finding.event.bar - 1, 0), finding.event.bar + 1
    if finding.event is not None and finding.name in _SHOWN_BY_THEIR_END:
        return max(
            finding.event.bar + 1 - SHOWN_BARS, finding.place.first
        ), finding.event.bar + 1
    return finding.place.first, finding.place.last


def may_be_first(finding: Finding, bars: int) -> bool:
    """Whether an event is clear enough to be told first. bars: how many are played."""
    event = finding.event
    if event is None or finding.name in ALWAYS:
        return False
    short = finding.name in WITHHELD and (finding.size or 0) < LEAST_WAIT
    clear = event.strength >= FIRST_STRENGTH.get(finding.name, 0.0) and not short
    return drone(finding, bars) or (clear and event.bar < final_bar(bars))


def _reaching(c: Comparison, names: _Names) -> tuple[Finding, ...]:
    """Parts that lie high or low for their players: those amid the texture first, by weight,
    then the others by time. Of many the furthest out are told, one of an instrument and side.
    """
    found = []
    for each in c.players.parts:
        reach = each.use.reach if each.use else None
        if each.use and reach:
            far = each.use.middle_but_edge if each.torn else reach.share
            found.append(((not each.torn, -far), each.name, reach))
    furthest: dict[tuple[str, str], str] = {}
    for _, name, reach in sorted(found, key=lambda each: -(each[2].beyond or 0)):
        furthest.setdefault((reach.instrument, reach.side), name)
    few = set(list(furthest.values())[:PLAYERS])
    few |= {name for (inside, _), name, _ in found if len(found) <= PLAYERS or not inside}
    return tuple(
        Finding(
            kind="player",
            name="edge",
            instrument=names.instruments.get(name),
            place=printed_place(c, reach.first, reach.last),
            bar=printed_bar(c.bars, reach.first),
            low=reach.low,
            high=reach.high,
            size=float(reach.last - reach.first),
            unit="bars",
            direction=reach.side,
            main=name in few,
            players=(name,),
            reach=reach,
        )
        for _, name, reach in sorted(found, key=lambda each: each[0])
    )


def _suggestion(c: Comparison, found: Finding | None, names: _Names) -> Suggestion | None:
    """One thing to try that makes more of what was found; None where nothing was."""
    if found is None or found.place is None:
        return None
    if found.event is None:
        alone = found.players[0] if found.players else None
        return Suggestion("listen_for", found, found.place, alone, found.instrument)
    event, bars = found.event, len(c.bars)
    part = found.players[0] if len(found.players) == 1 else None
    who: dict[str, Any] = {
        "part": part,
        "instrument": names.instruments.get(part) if part else None,
    }
    before = printed_place(c, max(event.bar - 4, 0), max(event.bar, 1))
    if found.name in WITHHELD and event.edge is not None and _waits_long(c, found):
        low = found.name == "withheld_bass"
        kind: Any = "keep_above" if low else "keep_below"
        # A third further from what is withheld: what then enters stands further apart.
        note = event.edge + (4 if low else -4)
        holder = _holder(c, event, note)
        part = names.parts.get(holder) if holder is not None and len(c.parts) > 1 else None
        who = {"part": part, "instrument": names.instruments.get(part) if part else None}
        return Suggestion(kind, found, before, note=note, **who)
    if found.name in ("cleared", "entry") and event.bar + 2 < bars:
        return Suggestion("keep_clear", found, before, bars=2, **who)
    if found.name in _LINES and _sings_on(c, event):
        arrival = printed_place(c, event.bar, event.bar + 1)
        note = _last_note(event)
        return Suggestion("hold_arrival", found, arrival, note=note, bars=1, **who)
    if found.name == "pedal_point" and event.ending not in ("", "with the piece"):
        ends = printed_place(c, event.bar, event.bar + 1)
        return Suggestion("hold_longer", found, ends, note=event.low, bars=2, **who)
    # Of a wide shift nobody asks whether it is clear.
    if found.name == "shift" and event.bar > 0 and event.distance < _WIDE:
        return Suggestion("settle_before", found, before, bars=1, **who)
    if found.name == "high_point" and event.bar >= SHOWN_BARS:
        rivals = _rivals(c, event)
        if rivals is not None:
            start = printed_place(c, 0, max(event.bar, 1))
            return Suggestion("save_the_top", found, start, note=rivals, **who)
    return Suggestion("listen_for", found, found.place, **who)


def _sings_on(c: Comparison, event: Event) -> bool:
    """Whether the last note of an outer line could be held: on top, short, by who can hold it,
    and not where the piece closes.
    """
    notes, end = c.whole.played.notes, _last_note(event)
    rows = np.flatnonzero((notes.bar == event.bar) & (notes.pitch == end))
    if event.by == "bottom" or not len(rows) or event.bar + 2 >= len(c.bars):
        return False
    row = int(rows[0])
    if notes.written[row] >= c.bars.full[event.bar] / 2:
        return False
    part = part_names(c.whole.played).get(int(notes.part[row]))
    use = next((each.use for each in c.players.parts if each.name == part), None)
    return use is not None and use.instrument.family in _SUSTAINING


def _waits_long(c: Comparison, finding: Finding) -> bool:
    """Whether a wait is long enough to be made more of, and nothing but passing notes lies
    beyond its edge for as long as its player rests."""
    event, notes = finding.event, c.whole.played.notes
    assert event is not None and event.edge is not None
    wait = min(max(round(event.silence), finding.rest or 0), event.bar)
    turn = 1 if finding.name == "withheld_bass" else -1
    here = (notes.bar >= event.bar - wait) & (notes.bar < event.bar)
    beyond = here & (turn * notes.pitch < turn * event.edge)
    return wait >= LEAST_WAIT and int(beyond.sum()) <= event.grazes


def _holder(c: Comparison, event: Event, note: int) -> int | None:
    """The one part that would have to keep above a note (below it, of a withheld top) in the
    bars before an event; None where several would."""
    notes = c.whole.played.notes
    waiting = (notes.bar < event.bar) & (notes.bar >= event.bar - round(event.silence))
    turn = 1 if event.kind == "withheld_bass" else -1
    at = np.unique(notes.part[waiting & (turn * notes.pitch < turn * note)])
    return int(at[0]) if len(at) == 1 else None


def _rivals(c: Comparison, high: Event) -> int | None:
    """The highest note before the high point where it lies within a third of it."""
    notes = c.whole.played.notes
    before = notes.pitch[notes.bar < high.bar]
    if not len(before) or int(before.max()) < high.high - 4:
        return None
    return int(before.max())
