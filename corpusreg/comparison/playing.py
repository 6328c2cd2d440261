"""What players and singers would ask about before the first rehearsal, as plain data.

Judgements as those of `corpusreg.comparison.findings`, which gathers them: notes beyond a
range, wrong clefs, chords wider than a hand, close intervals low down, registers against their
dynamics, and where voices lie.

Conventions: places and pitches as in `corpusreg.comparison.findings`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from corpusreg.comparison.comparison import (
    Comparison,
    Place,
    PrintedBar,
    printed_bar,
    printed_place,
)
from corpusreg.comparison.players import PITCH
from corpusreg.comparison.practice import against, crowded, stretches, tessitura, wide_chords
from corpusreg.instruments import Instrument
from corpusreg.instruments.limits import furthest, passaggio, resisting
from corpusreg.score.played import Notes, nearest_mark

__all__ = [
    "SOLO", "OutOfRange", "Practical", "Singing", "Stretch", "beyond", "practical", "singing",
]  # fmt: skip

SOLO = 2  # voices, up to which each is a soloist of whom the peak is told


@dataclass(frozen=True)
class OutOfRange:
    """Notes of a part beyond the usual range of its instrument, on one side of it.

    count: how many; first, bar: the first of them; low, high: the usual range. reached: the
    note that some players reach on this side, where a source says so and it is far enough, and
    that source.
    """

    part: str
    instrument: str
    side: Literal["below", "above"]
    count: int
    first: int = field(metadata=PITCH)
    bar: PrintedBar
    low: int = field(metadata=PITCH)
    high: int = field(metadata=PITCH)
    reached: int | None = field(default=None, metadata=PITCH)
    source: str = ""


@dataclass(frozen=True)
class Practical:
    """What a player would ask about before the first rehearsal.

    kind: 'misread' for a part that would lie in its range `interval` semitones higher, with
    `count` of its `of` notes outside as it stands; 'wide_chord' for notes from low to high
    struck by one hand, within its reach or not; 'crowded' for the two lowest notes of the
    whole, `count` beats long, closer than is usual so low; 'vocal_peak' for `peak`, the
    highest note of a solo voice, `count` beats long where it is longest, and sung `of` times;
    low and high are then the ends of its zone of change, where that is known, `dynamic` what
    the others play there, '' where no dynamics are written, and `doubled` how many of 100 sung
    notes another part strikes at the same pitch; 'too_soft' and 'too_loud' for notes from
    low to high, `count` beats of them in `place`, in a register of the instrument that is soft
    or loud by nature, where `dynamic` asks for the opposite. part: None for
    the whole. bar: the widest or the longest; bars: all of them. hand: 'right' or 'left',
    else ''.
    """

    kind: Literal["misread", "wide_chord", "crowded", "vocal_peak", "too_soft", "too_loud"]
    part: str | None
    instrument: str | None
    bar: PrintedBar
    bars: tuple[PrintedBar, ...]
    interval: int
    count: float
    of: int = 0
    low: int | None = field(default=None, metadata=PITCH)
    high: int | None = field(default=None, metadata=PITCH)
    peak: int | None = field(default=None, metadata=PITCH)
    hand: str = ""
    within_reach: bool = False
    dynamic: str = ""
    doubled: int = 0
    place: Place | None = None


@dataclass(frozen=True)
class Stretch:
    """Where a voice lies in some bars for eight tenths of its time, and the middle of it."""

    place: Place
    low: int = field(metadata=PITCH)
    middle: int = field(metadata=PITCH)
    high: int = field(metadata=PITCH)


@dataclass(frozen=True)
class Singing:
    """A voice over time.

    whole: its tessitura; stretches: that of each third of the bars in which it sings, none
    where these are few. change: the second note near which voices of its type change, None
    where it is not known; above: how many of 100 of its time lie higher.
    """

    part: str
    instrument: str
    whole: Stretch
    stretches: tuple[Stretch, ...]
    change: int | None = field(default=None, metadata=PITCH)
    above: int = 0


def beyond(c: Comparison) -> Iterable[OutOfRange]:
    """Notes beyond the usual ranges, part by part and side by side."""
    for player in c.players.parts:
        own = player.use if player.misread is None else None
        sides: tuple[Literal["below", "above"], ...] = ("below", "above")
        for side in sides if own else ():
            notes = [each for each in own.out_of_range if each.side == side] if own else []
            if own and notes:
                first = min(notes, key=lambda each: each.bar)
                low, high = own.instrument.professional
                some = furthest(own.instrument.id)
                far = None if some is None else some.low if side == "below" else some.high
                pitches = [each.pitch for each in notes]
                outermost = min(pitches) if side == "below" else max(pitches)
                turn = -1 if side == "below" else 1
                reached = far is not None and turn * outermost <= turn * far
                yield OutOfRange(
                    part=player.name,
                    instrument=own.instrument.name,
                    side=side,
                    count=sum(each.notes for each in notes),
                    first=first.pitch,
                    bar=printed_bar(c.bars, first.bar),
                    low=low,
                    high=high,
                    reached=far if reached else None,
                    source=some.source if some and reached else "",
                )


def practical(c: Comparison) -> Iterable[Practical]:
    """Wrong clefs, vocal peaks, dynamics against a register, chords wider than a hand, close
    intervals low down."""
    solo = {name for name, _ in _soloists(c)}
    for player in c.players.parts:
        wrong, own = player.misread, player.use
        if wrong is not None and own is not None:
            bar = printed_bar(c.bars, wrong.bar)
            yield Practical(
                "misread", player.name, own.instrument.name, bar, (bar,),
                wrong.interval, wrong.beyond, wrong.notes,
            )  # fmt: skip
        if own is not None and player.name in solo:
            yield _vocal_peak(c, player.name, own.instrument)
    yield from _against(c)
    notes = c.whole.played.notes
    for player in c.players.parts:
        row = player.use.instrument if player.use else None
        if row is None or row.family != "keyboard":
            continue
        found = wide_chords(notes, int(c.parts[player.name].played.notes.part[0]))
        for hand, staff in (("right", 1), ("left", 2)):
            chords = [each for each in found if each.staff == staff]
            if chords:
                widest = max(chords, key=lambda each: (each.high - each.low, -each.bar))
                yield Practical(
                    "wide_chord", player.name, row.name,
                    printed_bar(c.bars, widest.bar), _printed(c, [each.bar for each in chords]),
                    widest.high - widest.low, len(chords), low=widest.low, high=widest.high,
                    hand=hand, within_reach=widest.tenth,
                )  # fmt: skip
    close = crowded(c.whole.played)
    if close:
        first = max(close, key=lambda each: (each.beats, -each.bar))
        yield Practical(
            "crowded", None, None, printed_bar(c.bars, first.bar),
            _printed(c, [each.bar for each in close]),
            first.high - first.low, first.beats, low=first.low, high=first.high,
        )  # fmt: skip


def _against(c: Comparison) -> Iterable[Practical]:
    """Registers against their dynamics, of players of one instrument the longest."""
    found: dict[tuple[str, str], Practical] = {}
    for player in c.players.parts:
        row = player.use.instrument if player.use and not player.misread else None
        for register in resisting(row.id) if row else ():
            each = against(c.parts[player.name].played, register)
            if row is None or each is None:
                continue
            where = printed_place(c, *each.runs[0])
            here = Practical(
                "too_soft" if register.dynamic == "loud" else "too_loud",
                player.name, row.name, where.start,
                _printed(c, [bar for run in each.runs for bar in range(*run)]),
                0, each.beats, low=each.low, high=each.high, dynamic=each.mark, place=where,
            )  # fmt: skip
            known = found.get((row.id, here.kind))
            if known is None or here.count > known.count:
                found[row.id, here.kind] = here
    return found.values()


def _voices(c: Comparison) -> list[tuple[str, Instrument]]:
    """Voices, each with its type."""
    known = [(each.name, each.use.instrument) for each in c.players.parts if each.use]
    return [each for each in known if each[1].family == "voice"]


def _soloists(c: Comparison) -> list[tuple[str, Instrument]]:
    """Voices that are few and not alone."""
    voices = _voices(c)
    return voices if len(voices) <= SOLO and len(voices) < len(c.players.parts) else []


def singing(c: Comparison) -> Iterable[Singing]:
    """Where voices lie, in score order."""
    for name, row in _voices(c):
        yield _voice(c, name, row)


def _voice(c: Comparison, name: str, row: Instrument) -> Singing:
    """Where a voice lies, as a whole and over time."""
    notes = c.parts[name].played.notes
    runs = [(int(notes.bar.min()), int(notes.bar.max()) + 1), *stretches(notes)]
    whole, *thirds = (
        Stretch(
            printed_place(c, *run),
            *tessitura(notes.take((notes.bar >= run[0]) & (notes.bar < run[1]))),
        )
        for run in runs
    )
    change = (passaggio(row.id) or (None, None))[1]
    time = notes.duration[notes.pitch > change].sum() if change is not None else 0
    above = round(100 * float(time / notes.duration.sum()))
    return Singing(name, row.name, whole, tuple(thirds), change, above)


def _vocal_peak(c: Comparison, name: str, row: Instrument) -> Practical:
    """The highest note of a voice where it is longest."""
    played = c.parts[name].played
    notes = played.notes
    top = np.flatnonzero(notes.pitch == notes.pitch.max())
    at = int(top[notes.duration[top].argmax()])
    bar = int(notes.bar[at])
    low, high = passaggio(row.id) or (None, None)
    return Practical(
        "vocal_peak", name, row.name, printed_bar(c.bars, bar),
        _printed(c, notes.bar[top].tolist()), 0,
        round(float(notes.duration[at] / played.bars.beat[bar]), 2), len(top), low, high,
        peak=int(notes.pitch[at]), dynamic=_dynamic_beside(c, notes, at),
        doubled=_doubled(c, notes),
    )  # fmt: skip


def _others(c: Comparison, own: Notes) -> Notes:
    """Notes of all other parts."""
    every = c.whole.played.notes
    return every.take(every.part != own.part[0])


def _dynamic_beside(c: Comparison, own: Notes, at: int) -> str:
    """The dynamic at which the loudest of the others sound with a note; '' for none."""
    others = _others(c, own)
    start, end = own.onset[at], own.onset[at] + own.duration[at]
    with_it = (others.onset < end) & (others.onset + others.duration > start)
    if not (c.whole.played.dynamics_known and with_it.any()):
        return ""
    return nearest_mark(float(others.loudness[with_it].max()))


def _doubled(c: Comparison, own: Notes) -> int:
    """How many of 100 notes another part strikes at the same pitch and time."""
    others = _others(c, own)
    struck = np.isin(own.onset * 128 + own.pitch, others.onset * 128 + others.pitch)
    return round(100 * float(struck.mean()))


def _printed(c: Comparison, bars: Sequence[int]) -> tuple[PrintedBar, ...]:
    """Printed bars, each once."""
    found = {bar.number: bar for bar in (printed_bar(c.bars, each) for each in bars)}
    return tuple(found.values())
