"""Played order of written bars: repeats, endings, da capo and dal segno unfolded.

Conventions (common practice, no source): a passage is repeated as often as its
repeat sign says; a bar under an ending is played only in the passes the ending
names; after a jump back (D.C., D.S.) repeats are not taken again, the last
ending is played, and 'to coda' and 'fine' come into force.
"""

from __future__ import annotations

from corpusreg.score.notes import Bars

__all__ = ["played_order"]

# A score whose signs never end, or multiply beyond reason, is read as written.
_MOST_PASSES_PER_BAR = 64


def played_order(bars: Bars) -> tuple[list[int], str]:
    """Written bar indices in the order they are played, and what was assumed.

    The second value is '' where all signs could be followed and every bar is
    reached, otherwise one sentence: signs without end are not followed at all, and
    bars that no sign leads to (a second ending after no repeat) are told.
    """
    n = len(bars)
    if bars.order is not None:
        return list(bars.order), ""
    if not (bars.repeat_end.any() or any(bars.marks) or any(bars.endings)):
        return list(range(n)), ""
    order = _Walk(bars).run()
    if not order:
        return list(range(n)), "the repeat signs do not come to an end: read in written order"
    missed = sorted(set(range(n)).difference(order))
    if missed:
        count = "a bar is" if len(missed) == 1 else f"{len(missed)} bars are"
        return (
            order,
            f"{count} never reached by the signs, from bar {bars.labels[missed[0]]} on",
        )
    return order, ""


class _Walk:
    """One reading of the signs, bar by bar."""

    def __init__(self, bars: Bars) -> None:
        self.bars = bars
        self.group_last = _last_pass_of_group(bars)
        self.endings = _endings(bars)
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
            left_endings = previous >= 0 and self.endings[previous] and not self.endings[bar]
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
        endings = self.endings[bar]
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
            if self.number < (self.group_last[bar] if self.endings[bar] else times):
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
    for start, end in _runs(bars):
        last[start:end] = [max(max(bars.endings[bar]) for bar in range(start, end))] * (
            end - start
        )
    return last


def _endings(bars: Bars) -> list[tuple[int, ...]]:
    """Passes of each bar, () for all.

    A passage that opens under a later ending has none. Nor has a later ending
    without a first one, whose bracket somebody forgot: it follows the repeat.
    """
    found = list(bars.endings)
    for start, end in _runs(bars):
        if not any(1 in bars.endings[bar] for bar in range(start, end)):
            found[start:end] = [()] * (end - start)
    for bar in range(1, len(bars)):
        same = bars.endings[bar] == bars.endings[bar - 1]
        opens = bars.repeat_start[bar] and 1 not in bars.endings[bar]
        if opens or (same and not found[bar - 1]):
            found[bar] = ()
    return found


def _runs(bars: Bars) -> list[tuple[int, int]]:
    """Runs of bars under the endings of one passage, half-open."""
    found: list[tuple[int, int]] = []
    for bar, passes in enumerate(bars.endings):
        another = bars.repeat_start[bar] and 1 in passes
        if passes and found and found[-1][1] == bar and not another:
            found[-1] = (found[-1][0], bar + 1)
        elif passes:
            found.append((bar, bar + 1))
    return found
