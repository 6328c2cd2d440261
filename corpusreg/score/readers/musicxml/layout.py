"""Lays the bars of all parts end to end in one common tick.

Conventions: bar i of the score is the i-th measure of every part; it is as long
as the longest content any part has in it, or as its metre says where no part
has any. Ticks are the least common multiple of all units, bounded by MAX_UNIT.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import gcd, lcm
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corpusreg.score.notes import NOTE_DTYPE, felt_beat
from corpusreg.score.readers.musicxml.cursor import MAX_UNIT
from corpusreg.score.readers.musicxml.raw import ROW, Metre, PartRecord, Position, Tally

__all__ = ["Layout", "lay_out", "note_rows"]

_COMMON_TIME = Metre(((4, 4),))
_ROUNDED_TICKS = 60480  # 2^6 x 3^3 x 5 x 7, where nothing exact is small enough


@dataclass(frozen=True)
class Layout:
    """Bars in time; arrays as in `Bars`."""

    ticks: int
    labels: tuple[str, ...]
    start: NDArray[np.int64]
    length: NDArray[np.int64]
    full: NDArray[np.int64]
    beat: NDArray[np.int64]
    metres: tuple[Metre, ...]

    def tick(self, at: Position) -> int:
        """A moment in ticks from the beginning of the file, never before it."""
        offset = _rescaled(at.offset, at.unit, self.ticks)
        if at.bar < len(self.start):
            return max(0, int(self.start[at.bar]) + offset)
        return int(self.start[-1] + self.length[-1]) if len(self.start) else 0

    def bar_of(self, at: Position, end_counts_next: bool) -> int:
        """Bar that a sign at a moment belongs to, at most the last."""
        last = len(self.start) - 1
        bar = min(at.bar, last)
        after = self.tick(at) >= self.start[bar] + self.length[bar]
        return min(last, bar + 1) if end_counts_next and after else bar


def lay_out(records: Sequence[PartRecord], tally: Tally) -> Layout:
    """Common ticks and the bars of the whole score."""
    n = max((len(record.bars) for record in records), default=0)
    choices = _metres(records, n, tally)
    ticks = _common_ticks(records, choices)
    fulls = {metre: int(metre.quarters * ticks) for found in set(choices) for metre in found}
    metres: list[Metre] = []
    length, full = np.zeros(n, np.int64), np.zeros(n, np.int64)
    beat = np.full(n, ticks, np.int64)
    for i, found in enumerate(choices):
        metre = found[0]
        content = _content(records, i, ticks, max(fulls[m] for m in found))
        metre = next((m for m in found if fulls[m] == content), metre)
        metres.append(metre)
        length[i] = content or fulls[metre] or ticks
        full[i] = fulls[metre] or length[i]
        if metre.pairs:
            beat[i] = min(felt_beat(top, bottom, ticks) for top, bottom in metre.pairs)
    start = np.concatenate(([0], np.cumsum(length)[:-1])).astype(np.int64)[:n]
    _say_what_differs(records, int(np.count_nonzero(length > full)), tally)
    labels = _labels(records, n, tally)
    return Layout(ticks, labels, start, length, full, beat, tuple(metres))


def _say_what_differs(records: Sequence[PartRecord], longer: int, tally: Tally) -> None:
    if longer:
        tally.assumed[f"bars longer than their metre ({longer}): kept as long as they are"] = (
            None
        )
    counts = [len(record.bars) for record in records]
    if counts and min(counts) != max(counts):
        tally.assumed[
            f"parts have {min(counts)} to {max(counts)} bars: the shorter ones end early"
        ] = None


def _common_ticks(records: Sequence[PartRecord], choices: Sequence[tuple[Metre, ...]]) -> int:
    units = {bar.unit for record in records for bar in record.bars}
    metres = {metre for found in set(choices) for metre in found}
    units |= {bottom // gcd(bottom, 4) for metre in metres for _, bottom in metre.pairs}
    ticks = 1
    for unit in sorted(units):
        ticks = lcm(ticks, unit)
        if ticks > MAX_UNIT:
            return _ROUNDED_TICKS
    return ticks


def _metres(records: Sequence[PartRecord], n: int, tally: Tally) -> list[tuple[Metre, ...]]:
    """The metres in force in each bar, in the order of parts, each once."""
    changes = [dict(record.metres) for record in records if record.metres] or [{}]
    if n and all(0 not in change for change in changes):
        tally.assumed["no metre written at the beginning: read as 4/4"] = None
    now = [_COMMON_TIME for _ in changes]
    choices = []
    for i in range(n):
        now = [change.get(i, metre) for change, metre in zip(changes, now, strict=True)]
        choices.append(tuple(dict.fromkeys(now)))
    if any(len(found) > 1 for found in choices):
        tally.assumed["parts in different metres: bars take the one that fills them"] = None
    if any(not metre.pairs for found in choices for metre in found):
        tally.assumed["bars without metre: beats taken as quarter notes"] = None
    return choices


def _content(records: Sequence[PartRecord], i: int, ticks: int, full: int) -> int:
    """Longest content of bar i in any part, in ticks; 0 where there is none.

    Rests never make a bar longer than its metre (a whole rest in 2/4, a rest
    too many in one part) unless its notes do. A rest from the barline on may have
    the length of a full bar in a pickup (implicit): there it counts only where
    nothing else is in the bar.
    """
    played = rested = whole = 0
    implicit = False
    for record in records:
        if i < len(record.bars):
            bar = record.bars[i]
            implicit = implicit or bar.implicit
            played = max(played, _rescaled(bar.extent, bar.unit, ticks))
            rested = max(rested, _rescaled(bar.rest_extent, bar.unit, ticks))
            whole = max(whole, _rescaled(bar.whole_extent, bar.unit, ticks))
    if not (implicit and (played or rested)):
        rested = max(rested, whole)
    if full and played <= full:
        rested = min(rested, full)
    return max(played, rested)


def _rescaled(units: int, unit: int, ticks: int) -> int:
    whole, rest = divmod(units * ticks, unit)
    return whole if not rest else round(Fraction(units * ticks, unit))


def _labels(records: Sequence[PartRecord], n: int, tally: Tally) -> tuple[str, ...]:
    """Printed numbers; a bar without one counts on from the bar before."""
    labels: list[str] = []
    counted = 0
    for i in range(n):
        written = (record.bars[i].label for record in records if i < len(record.bars))
        label = next((text for text in written if text), "")
        if not label:
            tally.assumed["bars without a number: counted on from the bar before"] = None
            label = str(counted + 1)
        digits = "".join(c for c in label if c in "0123456789")[:9]
        counted = int(digits) if digits else counted + 1
        labels.append(label)
    return tuple(labels)


def note_rows(record: PartRecord, layout: Layout, tally: Tally) -> NDArray[np.void]:
    """A part's notes with onsets and durations in ticks, shape (n,), NOTE_DTYPE."""
    read = np.frombuffer(record.rows, np.int64).reshape(-1, ROW)
    rows: NDArray[Any] = np.empty(len(read), NOTE_DTYPE)
    for column, name in enumerate(NOTE_DTYPE.names or ()):
        rows[name] = read[:, column]
    units = read[:, -1]
    if len(rows):
        for name in ("onset", "duration"):
            rows[name] = _scaled(rows[name], units, layout.ticks, tally)
        rows["onset"] += layout.start[rows["bar"]]
    return rows


def _scaled(
    values: NDArray[np.int64], units: NDArray[np.int64], ticks: int, tally: Tally
) -> NDArray[np.int64]:
    if not (ticks % units).any():
        return values * (ticks // units)
    exact = values / units * ticks
    rounded = np.rint(exact).astype(np.int64)
    inexact = int(np.count_nonzero(np.abs(exact - rounded) > 1e-6))
    if inexact:
        tally.lost["a time rounded, divisions too fine to be exact"] += inexact
    return rounded
