"""Bars and passages as the page numbers them.

Conventions: a place is a run of played bars, half-open, with the printed bars at both ends.
"""

from __future__ import annotations

from dataclasses import dataclass

from corpusreg.comparison.comparison import Comparison
from corpusreg.score.played import PlayedBars

__all__ = ["Place", "PrintedBar", "place", "printed_bar"]


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

    movement: number of the work in its file, '' where the file holds one work.
    """

    first: int
    last: int
    start: PrintedBar
    end: PrintedBar
    movement: str = ""

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


def place(c: Comparison, first: int, last: int) -> Place:
    """Played bars first to last (half-open) of a piece as a place."""
    return Place(
        first,
        last,
        printed_bar(c.bars, first),
        printed_bar(c.bars, last - 1),
        c.piece.number,
    )
