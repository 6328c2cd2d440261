"""Where the reading of one part stands: bar, offset and unit of time.

Conventions: offsets count `unit`s from the beginning of the bar. `unit` is the
least common multiple of all `divisions` met so far in the part, so that offsets
stay exact integers when divisions change, also inside a bar. It is bounded:
beyond MAX_UNIT times are rounded, and counted.
"""

from __future__ import annotations

from fractions import Fraction
from math import lcm
from typing import Any

from corpusreg.score.readers.musicxml.raw import (
    Marks,
    PartRecord,
    Position,
    RawBar,
    Tally,
    number,
)

__all__ = ["MAX_QUARTERS", "MAX_UNIT", "Cursor"]

MAX_UNIT = 100_000_000
MAX_QUARTERS = 4096  # no single duration or bar is longer than this


class Cursor:
    """The moment reached in one part, and what is collected there."""

    def __init__(self, record: PartRecord, marks: Marks, tally: Tally) -> None:
        self.record, self.marks, self.tally = record, marks, tally
        self.bar = -1  # index of the bar being read
        self.unit = 1
        self.offset = 0
        self.chord_onset = 0
        self._divisions = Fraction(1)
        self.scale: Fraction | int = 1  # units in one division; a whole one is an int

    def here(self, offset: int = 0) -> Position:
        """The moment reached, moved by `offset` units."""
        return Position(self.bar, self.offset + offset, self.unit)

    def begin_bar(self, label: str, implicit: bool) -> None:
        """Go to the beginning of a new bar."""
        self.record.bars.append(RawBar(label, implicit, self.unit))
        self.bar += 1
        self.offset = self.chord_onset = 0

    def units(self, text: str | None) -> int | None:
        """A time written in divisions, in units; None where it is no sane number."""
        try:
            value: Any = int(text) * self.scale  # type: ignore[arg-type]
        except (TypeError, ValueError):
            exact = number(text)
            if exact is None:
                return None
            if exact.denominator > 1:
                self._refine(exact.denominator)
            value = exact * self.scale
        if type(value) is not int:
            whole = round(value)
            if whole != value:
                self.tally.lost["a time rounded, divisions too fine to be exact"] += 1
            value = whole
        return value if abs(value) <= MAX_QUARTERS * self.unit else None

    def set_divisions(self, text: str | None) -> None:
        """Take a new number of divisions in a quarter note."""
        value = number(text)
        if value is None or not 0 < value <= 1_000_000:
            self.tally.lost["divisions that are no sane number, the last ones kept"] += 1
            return
        self._divisions = value
        self._refine(1)

    def _refine(self, factor: int) -> None:
        """Make the unit finer so that 1 / `factor` divisions are whole units."""
        finer = lcm(self.unit, self._divisions.numerator * factor)
        if finer <= MAX_UNIT and finer != self.unit:
            growth = finer // self.unit
            self.offset *= growth
            self.chord_onset *= growth
            self.unit = finer
            if self.record.bars:
                bar = self.record.bars[-1]
                bar.refine(finer)
        scale = self.unit / self._divisions
        self.scale = int(scale) if scale.denominator == 1 else scale

    def advance(self, units: int) -> None:
        """Go on by `units`; the bar reaches at least there."""
        self.offset += units
        if self.offset > MAX_QUARTERS * self.unit:
            self.tally.lost["a bar longer than 4096 quarter notes, cut there"] += 1
            self.offset = MAX_QUARTERS * self.unit
        bar = self.record.bars[-1]
        if self.offset > bar.extent:
            bar.extent = self.offset

    def reach(self, offset: int) -> None:
        """Something sounds until `offset`, so the bar is at least that long."""
        bar = self.record.bars[-1]
        bar.extent = max(bar.extent, offset)

    def rest(self, units: int, from_barline: bool) -> None:
        """Go on by a rest; one from the barline on may stand for the whole bar."""
        bar = self.record.bars[-1]
        self.offset = min(self.offset + units, MAX_QUARTERS * self.unit)
        if from_barline:
            bar.whole_extent = max(bar.whole_extent, self.offset)
        else:
            bar.rest_extent = max(bar.rest_extent, self.offset)

    def back(self, units: int) -> None:
        """Go back, not beyond the barline."""
        if units > self.offset:
            self.tally.lost["a backup to before its bar, stopped at the barline"] += 1
        self.offset = max(0, self.offset - units)
