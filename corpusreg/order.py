"""Played order of written bars: repeats, endings, da capo and dal segno unfolded.

Conventions (common practice, no source): a passage is repeated as often as its
repeat sign says; a bar under an ending is played only in the passes the ending
names; after a jump back (D.C., D.S.) repeats are not taken again, the last
ending is played, and 'to coda' and 'fine' come into force.
"""

from __future__ import annotations

from corpusreg.notes import Bars

__all__ = ["played_order"]

# A score whose signs never end, or multiply beyond reason, is read as written.
_MOST_PASSES_PER_BAR = 64


def played_order(bars: Bars) -> tuple[list[int], str]:
    """Written bar indices in the order they are played, and what was assumed.

    The second value is '' where all signs could be followed, otherwise one
    sentence; then the order is the written one.
    """
    n = len(bars)
    if bars.order is not None:
        return list(bars.order), ""
    if not (bars.repeat_end.any() or any(bars.marks) or any(bars.endings)):
        return list(range(n)), ""
    order = _Walk(bars).run()
    if order is None:
        return list(range(n)), "the repeat signs do not come to an end: read in written order"
    return order, ""


class _Walk:
    """One reading of the signs, bar by bar."""

    def __init__(self, bars: Bars) -> None:
        self.bars = bars
        self.group_last = _last_pass_of_group(bars)
        self.section = 0  # where the current repeat goes back to
        self.number = 1  # the current pass, from 1
        self.jumped = False

    def run(self) -> list[int] | None:
        bars, n = self.bars, len(self.bars)
        order: list[int] = []
        bar, previous = 0, -1
        while 0 <= bar < n:
            if bars.repeat_start[bar] and bar != self.section:
                self.section, self.number = bar, 1
            left_endings = previous >= 0 and bars.endings[previous] and not bars.endings[bar]
            if left_endings and bar == previous + 1:
                self.section, self.number = bar, 1
            if self._skipped(bar):
                bar += 1
                continue
            order.append(bar)
            if len(order) > _MOST_PASSES_PER_BAR * n:
                return None
            previous, bar = bar, self._next(bar)
        return order

    def _skipped(self, bar: int) -> bool:
        endings = self.bars.endings[bar]
        if not endings:
            return False
        number = self.group_last[bar] if self.jumped else self.number
        return number not in endings

    def _next(self, bar: int) -> int:
        marks = self.bars.marks[bar]
        if self.jumped:
            if "fine" in marks:
                return len(self.bars)
            if "tocoda" in marks:
                return self._find("coda", after=bar)
            return bar + 1
        times = int(self.bars.repeat_end[bar])
        if times:
            last = self.group_last[bar] if self.bars.endings[bar] else times
            if self.number < max(last, times if not self.bars.endings[bar] else 0):
                self.number += 1
                return self.section
            self.section, self.number = bar + 1, 1
        if "dacapo" in marks:
            self.jumped = True
            return 0
        if "dalsegno" in marks:
            self.jumped = True
            return self._find("segno", after=-1)
        return bar + 1

    def _find(self, mark: str, after: int) -> int:
        for index in range(after + 1, len(self.bars)):
            if mark in self.bars.marks[index]:
                return index
        return 0 if mark == "segno" else after + 1


def _last_pass_of_group(bars: Bars) -> list[int]:
    """For every bar, the highest pass named in its run of bars under endings."""
    last = [0] * len(bars)
    start = 0
    while start < len(bars):
        end = start
        while (
            end < len(bars)
            and bars.endings[end]
            and not (end > start and bars.repeat_start[end])
        ):
            end += 1
        top = max((max(bars.endings[i]) for i in range(start, end)), default=0)
        last[start:end] = [top] * (end - start)
        start = max(end, start + 1)
    return last
