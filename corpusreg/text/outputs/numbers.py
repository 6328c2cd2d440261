"""Figures and bars as they stand in JSON."""

from __future__ import annotations

from corpusreg.score.played import PlayedBars

__all__ = ["labels", "rounded"]


def rounded(value: float | None, digits: int = 1) -> float | None:
    """A figure as it stands in JSON."""
    return None if value is None else round(float(value), digits)


def labels(bars: PlayedBars, first: int, last: int) -> list[str]:
    """Printed numbers of the first and the last of the played bars first to last, half-open."""
    return [bars.labels[first], bars.labels[last - 1]]
