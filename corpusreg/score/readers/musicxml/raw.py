"""What one pass over the file collects, before bars are laid out in time.

Conventions: a `Position` is a bar index, an offset inside the bar, and the unit
of that offset: `unit` of them are one quarter note. Units may differ between
parts and change inside a part, because `divisions` may; the score's common tick
is known only when the whole file has been seen.
"""

from __future__ import annotations

from array import array
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from corpusreg.score.notes import NOTE_DTYPE, Sign

__all__ = [
    "ROW",
    "Marks",
    "Metre",
    "PartRecord",
    "Position",
    "RawBar",
    "RawDynamic",
    "Tally",
    "integer",
    "number",
    "whole",
    "written_pitch",
]

ROW = len(NOTE_DTYPE.names or ()) + 1  # numbers in a row of PartRecord.rows
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


class Position(NamedTuple):
    """A moment: `offset` / `unit` quarter notes after the beginning of `bar`."""

    bar: int
    offset: int
    unit: int


@dataclass(frozen=True)
class Metre:
    """Pairs of numerator and denominator; none for senza misura."""

    pairs: tuple[tuple[int, int], ...]

    @property
    def quarters(self) -> Fraction:
        """Length of a full bar in quarter notes."""
        return sum((Fraction(4 * top, bottom) for top, bottom in self.pairs), Fraction(0))


@dataclass
class RawBar:
    """One measure of one part; extents in `unit`s from its beginning."""

    label: str
    implicit: bool
    unit: int = 1
    extent: int = 0  # furthest moment reached by notes and forwards
    rest_extent: int = 0  # the same for rests
    whole_extent: int = 0  # the same for rests from the barline on, perhaps whole-bar rests

    def refine(self, unit: int) -> None:
        """Count in a finer unit, a multiple of the present one."""
        growth = unit // self.unit
        self.extent *= growth
        self.rest_extent *= growth
        self.whole_extent *= growth
        self.unit = unit


@dataclass
class RawDynamic:
    """A dynamic mark or hairpin; `end` stays None while it is open."""

    at: Position
    kind: str
    mark: str = ""
    velocity: float | None = None
    staff: int = 0
    end: Position | None = None


@dataclass
class Tally:
    """What was lost, left out or taken for granted so far."""

    lost: Counter[str] = field(default_factory=Counter)
    left_out: Counter[str] = field(default_factory=Counter)
    assumed: dict[str, None] = field(default_factory=dict)
    notes: int = 0  # note elements met, of any kind


@dataclass
class PartRecord:
    """One part as read.

    rows: for each note the columns of NOTE_DTYPE, with the onset inside the bar, and the
    unit of its times, one after the other.
    """

    index: int
    rows: array[int] = field(default_factory=lambda: array("q"))
    bars: list[RawBar] = field(default_factory=list)
    metres: list[tuple[int, Metre]] = field(default_factory=list)  # (bar, metre)
    keys: list[tuple[int, str]] = field(default_factory=list)  # (bar, fifths)
    dynamics: list[RawDynamic] = field(default_factory=list)
    pedals: list[tuple[Position, Position | None]] = field(default_factory=list)
    staves: int = 1
    lyrics: int = 0  # notes with words under them
    voices: dict[str | None, int] = field(default_factory=dict)

    @property
    def notes(self) -> int:
        """Number of notes so far."""
        return len(self.rows) // ROW


@dataclass
class Marks:
    """What holds for the whole score, whichever part it is written in."""

    tempos: list[tuple[int, Position, float]] = field(default_factory=list)  # with part
    jumps: list[tuple[Position, str]] = field(default_factory=list)
    coda_signs: list[Position] = field(default_factory=list)  # sign without a `sound`
    rehearsals: list[Position] = field(default_factory=list)
    sections: set[int] = field(default_factory=set)
    repeat_start: set[int] = field(default_factory=set)
    repeat_end: dict[int, int] = field(default_factory=dict)  # times, 0 where not written
    ending_start: dict[int, tuple[int, ...]] = field(default_factory=dict)
    ending_stop: set[int] = field(default_factory=set)
    verses: defaultdict[int, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    signs: dict[Sign, None] = field(default_factory=dict)  # in order of the parts, each once


@lru_cache(maxsize=1024)
def integer(text: str | None) -> int | None:
    """A whole number as people write it ('4', ' 4 ', '4.0'), else None."""
    value = number(text)
    return int(value) if value is not None and value.denominator == 1 else None


@lru_cache(maxsize=4096)
def written_pitch(step: str, alter: str | None, octave: str) -> Fraction | int | None:
    """Pitch number; a whole one is an int, which is what makes it fast."""
    base, height = _STEPS.get(step.strip().upper()), integer(octave)
    change = Fraction(0) if not (alter or "").strip() else number(alter)
    if base is None or height is None or change is None:
        return None
    return whole(12 * (height + 1) + base + change)


def whole(value: Fraction) -> Fraction | int:
    """The value, as an int where it is one."""
    return value.numerator if value.denominator == 1 else value


def number(text: str | None) -> Fraction | None:
    """A decimal number of ordinary size, exactly, else None."""
    text = (text or "").strip()
    if not text or len(text) > 24 or "/" in text or "e" in text.lower():
        return None
    try:
        return Fraction(text)
    except ValueError:
        return None
