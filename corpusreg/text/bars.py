"""Played bars as people write them, with runs and 'the second time'; figures in JSON."""

from __future__ import annotations

from collections.abc import Iterable

from corpusreg.score.played import PlayedBars

__all__ = ["bar_range", "labels", "rounded"]


def bar_range(bars: PlayedBars, first: int, last: int) -> str:
    """Printed bars of the played bars `first` to `last` (half-open), as people write them."""
    runs = _runs(bars, [(first, last)])
    return f"{'bar' if last - first == 1 else 'bars'} {runs[0]}"


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


def rounded(value: float | None, digits: int = 1) -> float | None:
    """A figure as it stands in JSON."""
    return None if value is None else round(float(value), digits)


def labels(bars: PlayedBars, first: int, last: int) -> list[str]:
    """Printed numbers of the first and the last of the played bars first to last, half-open."""
    return [bars.labels[first], bars.labels[last - 1]]
