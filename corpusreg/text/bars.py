"""Played bars as people write them, with runs and 'the second time'; figures in JSON."""

from __future__ import annotations

from corpusreg.comparison.places import Place, printed_bar
from corpusreg.score.played import PlayedBars
from corpusreg.text.wording import place_words

__all__ = ["bar_range", "labels", "rounded"]


def bar_range(bars: PlayedBars, first: int, last: int) -> str:
    """Printed bars of the played bars `first` to `last` (half-open), as people write them."""
    start, end = printed_bar(bars, first), printed_bar(bars, last - 1)
    return place_words(Place(first, last, start, end))


def rounded(value: float | None, digits: int = 1) -> float | None:
    """A figure as it stands in JSON."""
    return None if value is None else round(float(value), digits)


def labels(bars: PlayedBars, first: int, last: int) -> list[str]:
    """Printed numbers of the first and the last of the played bars first to last, half-open."""
    return [bars.labels[first], bars.labels[last - 1]]
