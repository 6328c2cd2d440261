"""What may be moved by octaves (whole phrases of whole hands, voices or parts), what a change
moves of it, and a work as heard, measured only as far as a question needs.

Conventions
-----------
hand    the notes of one part and staff: a player's line, or one hand at a keyboard.
group   hands that move together: one of them, the lower or upper ones, or all.
home    the tick at which the phrase of a note begins as far as ties and slurs hold it
        together; a passage takes the notes whose home lies in it, so that no tie and no
        slur is ever torn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from corpusreg.instruments import Instruments
from corpusreg.measures import movement
from corpusreg.measures.analysis import Analysis, analyse
from corpusreg.measures.events import Event
from corpusreg.measures.ground import ground, lasting
from corpusreg.measures.outer_lines import moments
from corpusreg.measures.pedal_points import pedal_points
from corpusreg.measures.shifts import Shift, shifts
from corpusreg.measures.silence import silences
from corpusreg.measures.stays import Stay, stays
from corpusreg.measures.texture import Texture, texture
from corpusreg.score.notes import Score
from corpusreg.score.played import Played
from corpusreg.score.rewrite import Change, tie_chains

__all__ = [
    "Hand", "HandGroup", "LazyAnalysis", "Moved", "Music", "groups", "moved", "music",
    "strained",
]  # fmt: skip

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Hand:
    """rows: which notes, shape (n,). height: mean pitch, by sounding time.

    low, high: the instrument's range, or the hand's own compass where none is known.
    comfortable: what is comfortable of it. family: of the instrument, '' where it is not known.
    """

    part: int
    staff: int
    name: str
    rows: Flags
    height: float
    low: int
    high: int
    comfortable: tuple[int, int]
    family: str

    @property
    def keyboard(self) -> bool:
        """Whether one hand plays all its notes."""
        return self.family == "keyboard"


@dataclass(frozen=True)
class HandGroup:
    """Hands that move together, by index, and what they are called."""

    hands: tuple[int, ...]
    name: str


@dataclass(frozen=True)
class Music:
    """A score ready to be cut.

    hands: lowest first. chain: first row of each tied note, shape (n,). home: shape (n,).
    slurs: first and last row of each slur of the score, whether it is kept or not.
    """

    score: Score
    hands: tuple[Hand, ...]
    chain: Ints
    home: Ints
    slurs: tuple[tuple[int, int], ...] = ()

    def torn(self, change: Change) -> bool:
        """Whether a slur has its two ends moved apart."""
        return any(change.octaves[a] != change.octaves[b] for a, b in self.slurs)

    def wide(self, octaves: Ints) -> int:
        """How often a line leaps more than an octave once notes are moved by octaves."""
        before, after = self._steps
        pitch = self.score.notes["pitch"].astype(np.int64) + 12 * octaves
        return int((np.abs(pitch[after] - pitch[before]) > 12).sum())

    def leaps(self, change: Change, bar: int) -> int:
        """Places where a line leaps more than an octave for the change, but for a written bar.

        A line is the top of a voice, for as long as it does not rest.
        """
        before, after = self._steps
        pitch = self.score.notes["pitch"].astype(np.int64)
        moved = pitch + 12 * change.octaves
        leap = np.abs(moved[after] - moved[before])
        wider = (leap > 12) & (leap > np.abs(pitch[after] - pitch[before]))
        return int((wider & (self.score.notes["bar"][after] != bar)).sum())

    @cached_property
    def _steps(self) -> tuple[Ints, Ints]:
        """Rows of neighbouring notes of a line, the earlier and the later."""
        notes = self.score.notes
        rows = np.flatnonzero(notes["duration"] > 0)
        voice = [notes[column][rows] for column in ("voice", "staff", "part")]
        order = np.lexsort(
            (-notes["pitch"][rows].astype(np.int64), notes["onset"][rows], *voice)
        )
        rows = rows[order]
        place = np.stack(
            [notes[column][rows] for column in ("onset", "voice", "staff", "part")]
        )
        top = rows[np.concatenate(([True], (place[:, 1:] != place[:, :-1]).any(axis=0)))]
        before, after = top[:-1], top[1:]
        goes_on = notes["onset"][before] + notes["duration"][before] >= notes["onset"][after]
        for column in ("voice", "staff", "part"):
            goes_on &= notes[column][before] == notes[column][after]
        return before[goes_on], after[goes_on]

    def passage(self, group: HandGroup, first: int, last: int) -> Flags:
        """Notes of a group whose phrases begin in written bars first to last (half-open)."""
        bars = self.score.bars
        start = int(bars.start[first])
        end = int(bars.start[last - 1] + bars.length[last - 1])
        inside = (self.home >= start) & (self.home < end)
        own = np.logical_or.reduce([self.hands[h].rows for h in group.hands])
        return np.asarray(inside & own, np.bool_)

    def attacks(self, rows: Flags) -> int:
        """Notes among these rows, tied ones counted once."""
        return len(np.unique(self.chain[rows]))


def music(
    score: Score,
    table: Instruments,
    slurs: Sequence[tuple[int, int]] = (),
    *,
    divided: bool = False,
) -> Music:
    """A score with its hands and homes.

    slurs: first and last row of each. divided: slurs do not hold notes together.
    """
    notes = score.notes
    chain = tie_chains(notes)
    home = notes["onset"][chain]
    for first, last in () if divided else slurs:
        voice = np.ones(len(notes), bool)
        for column in ("part", "staff", "voice"):
            voice &= notes[column] == notes[column][first]
        begin, end = notes["onset"][first], notes["onset"][last]
        under = voice & (notes["onset"] >= begin) & (notes["onset"] <= end)
        home[under] = np.minimum(home[under], home[first])
    home = np.minimum.reduceat(home[np.argsort(chain, kind="stable")], _starts(chain))[
        np.unique(chain, return_inverse=True)[1]
    ]
    return Music(score, tuple(_hands(score, table, chain)), chain, home, tuple(slurs))


def _starts(chain: Ints) -> Ints:
    return np.flatnonzero(np.diff(np.sort(chain, kind="stable"), prepend=-1))


def _hands(score: Score, table: Instruments, chain: Ints) -> list[Hand]:
    """Hands, lowest first; a note tied over to another staff is the hand's that strikes it."""
    notes, matched = score.notes, table.match_all(score.parts)
    at = notes["staff"][chain]
    found = []
    for part in np.unique(notes["part"]).tolist():
        own = notes["part"] == part
        staves = np.unique(at[own]).tolist()
        row = matched[part]
        for staff in staves:
            rows = own & (at == staff)
            pitch = notes["pitch"][rows]
            time = np.maximum(notes["duration"][rows], 1)
            compass = int(pitch.min()), int(pitch.max())
            low, high = row.professional if row else compass
            found.append(
                Hand(
                    part=part,
                    staff=staff,
                    name=_name(score, part, staff, len(staves)),
                    rows=rows,
                    height=float(np.average(pitch, weights=time)),
                    low=low,
                    high=high,
                    comfortable=row.comfortable if row else compass,
                    family=row.family if row else "",
                )
            )
    return sorted(found, key=lambda hand: (hand.height, -hand.staff))


def _name(score: Score, part: int, staff: int, staves: int) -> str:
    each = score.parts[part]
    name = each.name or each.abbreviation or f"part {part + 1}"
    if staves == 1:
        return name
    side = {1: "right hand", 2: "left hand"}.get(staff, f"staff {staff}")
    if staves > 2:
        side = f"staff {staff}"
    alone = len(np.unique(score.notes["part"])) == 1
    return f"the {side}" if alone else f"{name} ({side})"


def groups(hands: Sequence[Hand]) -> list[HandGroup]:
    """Everything, each hand, and the lower or upper ones of several; lowest hands first."""
    count = len(hands)
    found = [HandGroup(tuple(range(count)), "everything" if count > 1 else hands[0].name)]
    if count > 1:
        found += [HandGroup((h,), hands[h].name) for h in range(count)]
    for size in range(2, count):
        found.append(HandGroup(tuple(range(size)), _some(hands[:size], "lower")))
        found.append(
            HandGroup(tuple(range(count - size, count)), _some(hands[-size:], "upper"))
        )
    return found


def _some(hands: Sequence[Hand], which: str) -> str:
    if len(hands) == 2:
        return f"{hands[0].name} and {hands[1].name}"
    return f"the {which} {len(hands)} parts"


class LazyAnalysis:
    """A work as heard. Needs at least one note."""

    def __init__(self, played: Played) -> None:
        self.played = played

    @cached_property
    def texture(self) -> Texture:
        """Weights of all pitches, without articulation."""
        return texture(lasting(self.played.notes, self.played.bars), self.played.bars)

    @cached_property
    def shifts(self) -> list[Shift]:
        """Shifts of the texture; moves of one player alone are not among them."""
        return shifts(self.texture)

    @cached_property
    def events(self) -> list[Event]:
        """What enters after silence, and pedal points."""
        played = self.played
        here = ground(lasting(played.notes, played.bars), played.bars)
        return [*silences(here, played.seconds), *pedal_points(moments(played))]

    @cached_property
    def stays(self) -> list[Stay]:
        """Stays of the texture."""
        return stays(self.texture)

    @cached_property
    def movement(self) -> float:
        """Mean movement from bar to bar, semitones; 0 where there is one bar."""
        steps = movement.between_bars(self.texture)
        return float(steps.mean()) if len(steps) else 0.0

    @cached_property
    def lowest(self) -> int:
        """Lowest pitch."""
        return int(self.played.notes.pitch.min())

    @cached_property
    def analysis(self) -> Analysis:
        """Everything."""
        return analyse(self.played)


@dataclass(frozen=True)
class Moved:
    """One hand moved: written bars first to last (half-open), octaves, notes in it."""

    hand: str
    first: int
    last: int
    octaves: int
    notes: int


def moved(music: Music, change: Change) -> list[Moved]:
    """What moves, hand by hand, in order of time; neighbouring bars are one passage."""
    found: list[Moved] = []
    bar = music.score.notes["bar"]
    for hand in music.hands:
        for octaves in np.unique(change.octaves[hand.rows]).tolist():
            rows = hand.rows & (change.octaves == octaves)
            if not octaves:
                continue
            still = set(bar[hand.rows & (change.octaves != octaves)].tolist())
            bars = np.unique(bar[rows])
            cuts = [i for i in range(1, len(bars)) if _apart(bars[i - 1], bars[i], still)]
            for run in np.split(bars, cuts):
                own = rows & (bar >= run[0]) & (bar <= run[-1])
                first, last = int(run[0]), int(run[-1]) + 1
                found.append(Moved(hand.name, first, last, octaves, music.attacks(own)))
    return sorted(found, key=lambda each: (each.first, each.last))


def _apart(before: int, after: int, still: set[int]) -> bool:
    """Whether the hand plays something else between two bars."""
    return any(bar in still for bar in range(int(before) + 1, int(after)))


def strained(music: Music, change: Change) -> list[str]:
    """Hands whose moved notes leave what is comfortable on their instrument."""
    pitch = music.score.notes["pitch"] + 12 * change.octaves
    found = []
    for hand in music.hands:
        own = pitch[hand.rows & (change.octaves != 0) & ~change.silent]
        low, high = hand.comfortable
        if len(own) and not low <= own.min() <= own.max() <= high:
            found.append(hand.name)
    return found
