"""What one pass over the file collects, before bars are laid out in time.

Conventions: a `Position` is a bar index, an offset inside the bar, and the unit
of that offset: `unit` of them are one quarter note. Units may differ between
parts and change inside a part, because `divisions` may; the score's common tick
is known only when the whole file has been seen.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import Any, NamedTuple

from corpusreg.score.notes import Sign

__all__ = [
    "Marks",
    "Metre",
    "PartRecord",
    "Position",
    "RawBar",
    "RawDynamic",
    "Tally",
    "integer",
    "number",
]


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
    """One part as read. `rows` are NOTE_DTYPE rows with onset inside the bar."""

    index: int
    rows: list[tuple[Any, ...]] = field(default_factory=list)
    units: list[int] = field(default_factory=list)  # unit of each row's times
    bars: list[RawBar] = field(default_factory=list)
    metres: list[tuple[int, Metre]] = field(default_factory=list)  # (bar, metre)
    keys: list[tuple[int, str]] = field(default_factory=list)  # (bar, fifths)
    dynamics: list[RawDynamic] = field(default_factory=list)
    pedals: list[tuple[Position, Position | None]] = field(default_factory=list)
    staves: int = 1
    lyrics: int = 0  # notes with words under them
    voices: dict[str | None, int] = field(default_factory=dict)


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


def number(text: str | None) -> Fraction | None:
    """A decimal number of ordinary size, exactly, else None."""
    text = (text or "").strip()
    if not text or len(text) > 24 or "/" in text or "e" in text.lower():
        return None
    try:
        return Fraction(text)
    except ValueError:
        return None
