"""Played bars as people write them: printed numbers, runs, and 'the second time'."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from corpusreg.score.played import PlayedBars
from corpusreg.system.phrases import joined

__all__ = ["bar_range", "bars_list", "first_times"]


def bar_range(bars: PlayedBars, first: int, last: int) -> str:
    """Printed bars of the played bars `first` to `last` (half-open), as people write them."""
    runs = _runs(bars, [(first, last)])
    return f"{'bar' if last - first == 1 else 'bars'} {runs[0]}"


def bars_list(bars: PlayedBars, passages: Iterable[tuple[int, int]]) -> str:
    """Several passages of played bars in the order they are heard: 'bars 5, 9 to 12 and 15'.

    The same bars are named once, however often they are heard.
    """
    ordered = first_times(bars, sorted(set(passages)))
    single = len(ordered) == 1 and ordered[0][1] - ordered[0][0] == 1
    return f"{'bar' if single else 'bars'} {joined(_runs(bars, ordered))}"


def first_times(bars: PlayedBars, passages: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """The passages without those that repeat the bars of one before."""
    first: dict[tuple[int, int, int], tuple[int, int]] = {}
    for start, end in passages:
        key = (int(bars.written[start]), int(bars.written[end - 1]), end - start)
        first.setdefault(key, (start, end))
    return list(first.values())


def _runs(bars: PlayedBars, passages: Iterable[tuple[int, int]]) -> list[str]:
    found = []
    for first, last in passages:
        start, _, time = bars.labels[first].partition(" (")
        end, _, last_time = bars.labels[last - 1].partition(" (")
        if last - first == 1:
            found.append(bars.labels[first])
        elif bars.written[first] >= bars.written[last - 1]:
            found.append(f"{bars.labels[first]} over the repeat to {bars.labels[last - 1]}")
        elif time == last_time:
            found.append(f"{start} to {end}" + (f" ({time}" if time else ""))
        else:
            found.append(f"{bars.labels[first]} to {bars.labels[last - 1]}")
    return found
