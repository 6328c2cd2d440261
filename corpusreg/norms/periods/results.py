"""The parts of an answer about periods: what was found, and how it was repeated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from corpusreg.measures.definitions import Measure
from corpusreg.measures.rebar import BARS

__all__ = [
    "CHECKS", "Check", "MeasureStudy", "Period", "PeriodCell", "PeriodFinding", "Says",
    "Study", "explained",
]  # fmt: skip

Says = Literal["supports", "contradicts", "cannot tell"]
CHECKS = ("ensembles", "length", "writing", "collections", "dates", "years", *BARS)


@dataclass(frozen=True)
class Period:
    """One period and what it consists of.

    first, last: years, None where open. units: composers and sources of anonymous
    works. dynamics, pedal, repeats, stated: share of works, 0 to 1, in which they are
    written, or whose year is stated or sourced.
    """

    name: str
    first: int | None
    last: int | None
    works: int
    units: int
    composers: int
    collections: tuple[str, ...]
    ensembles: tuple[str, ...]
    dynamics: float
    pedal: float
    repeats: float
    stated: float


@dataclass(frozen=True)
class PeriodCell:
    """A measure in a period: median of its works, composers weighted equally."""

    period: str
    works: int
    units: int
    collections: tuple[str, ...]
    median: float
    interval: tuple[float, float] | None


@dataclass(frozen=True)
class Check:
    """A result repeated in another way; value is delta or, of a trend, tau.

    what: the groups compared within, or the collection whose absence weakens the
    result most. says: what it says of the result; where it cannot tell, `reason` says why.
    gone: it turns around, or so many composers could show a difference and none is shown.
    """

    name: str
    value: float | None = None
    interval: tuple[float, float] | None = None
    p: float | None = None
    units: tuple[int, ...] = ()
    what: tuple[str, ...] = ()
    says: Says = "cannot tell"
    reason: str = ""
    gone: bool = False


@dataclass(frozen=True)
class PeriodFinding:
    """One result: a pair of periods (value is delta) or a trend (value is tau).

    units: composers in each period, or in the trend; both: in both periods. smallest:
    the p that so many composers can reach at best. p, corrected: None, and nothing
    repeated, where the design cannot be tested. slope: of a trend, in the measure's
    unit a century, with its interval.
    """

    periods: tuple[str, ...]
    value: float
    interval: tuple[float, float] | None
    units: tuple[int, ...]
    both: int
    works: int
    smallest: float
    p: float | None
    corrected: float | None
    checks: tuple[Check, ...]
    verdict: str
    slope: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class MeasureStudy:
    """All that is said about one measure."""

    measure: Measure
    cells: tuple[PeriodCell, ...]
    pairs: tuple[PeriodFinding, ...]
    trend: PeriodFinding | None


@dataclass(frozen=True)
class Study:
    """The whole answer. tests: all that were thought of; counted: those that can pass."""

    ensemble: str | None
    periods: tuple[Period, ...]
    measures: tuple[MeasureStudy, ...]
    works: int
    units: int
    around: int
    tests: int
    counted: int


def explained(finding: PeriodFinding, check: Check) -> float | None:
    """The part of a result that is gone when it is repeated, 0 to 1; None where it was not."""
    if check.value is None or finding.value == 0:
        return None
    return min(max(1 - check.value / finding.value, 0.0), 1.0)
