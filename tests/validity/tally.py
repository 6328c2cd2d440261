"""Counts of right answers with exact intervals, as rows of the result file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

__all__ = [
    "LEFT_OUT",
    "Row",
    "Trial",
    "as_json",
    "exact_interval",
    "in_order",
    "summarise",
    "table",
]

# The part of what was not asked, so that it can be counted.
LEFT_OUT = "left out"


@dataclass(frozen=True)
class Trial:
    """One answer. question: what was asked; case: the work and the change, in words.

    tied: neither right nor wrong (an original and its twin with the same value); it
    counts as a miss in the rate.
    """

    part: str
    question: str
    kind: str
    half: str
    case: str
    right: bool
    tied: bool = False
    detail: str = ""


@dataclass(frozen=True)
class Row:
    """Trials of one question, kind of work and half ('both' for all together).

    rate counts ties as misses, untied leaves them out; met: the rate reaches the aim.
    """

    part: str
    question: str
    kind: str
    half: str
    trials: int
    right: int
    tied: int
    rate: float
    untied: float | None
    low: float
    high: float
    aim: float | None
    met: bool | None


def exact_interval(right: int, trials: int) -> tuple[float, float]:
    """95 % Clopper-Pearson interval of a rate; (0, 1) without trials.

    >>> [round(x, 4) for x in exact_interval(8, 10)]
    [0.4439, 0.9748]
    """
    from scipy.stats import beta

    low = float(beta.ppf(0.025, right, trials - right + 1)) if right else 0.0
    high = float(beta.ppf(0.975, right + 1, trials - right)) if right < trials else 1.0
    return low, high


def summarise(trials: Iterable[Trial], aims: dict[tuple[str, str, str], float]) -> list[Row]:
    """Rows in order of first appearance, for each half and for both.

    aims: by (part, question, kind).
    """
    groups: dict[tuple[str, str, str, str], list[Trial]] = {}
    for trial in trials:
        if trial.part == LEFT_OUT:
            continue
        for half in ("both", trial.half):
            key = (trial.part, trial.question, trial.kind, half)
            groups.setdefault(key, []).append(trial)
    rows = []
    for (part, question, kind, half), own in groups.items():
        right = sum(trial.right for trial in own)
        low, high = exact_interval(right, len(own))
        aim = aims.get((part, question, kind))
        rate = right / len(own)
        tied = sum(trial.tied for trial in own)
        untied = round(right / (len(own) - tied), 4) if tied < len(own) else None
        rows.append(
            Row(
                part=part,
                question=question,
                kind=kind,
                half=half,
                trials=len(own),
                right=right,
                tied=tied,
                rate=round(rate, 4),
                untied=untied,
                low=round(low, 4),
                high=round(high, 4),
                aim=aim,
                met=None if aim is None else rate >= aim,
            )
        )
    return rows


def as_json(rows: Sequence[Row]) -> list[dict[str, Any]]:
    """Rows as plain dictionaries."""
    return [asdict(row) for row in rows]


def in_order(rows: Iterable[Row], parts: Sequence[str], kinds: Sequence[str]) -> list[Row]:
    """Rows by part and question (in order of first appearance), kind and half."""
    rows = list(rows)
    questions = {row.question: place for place, row in reversed(list(enumerate(rows)))}
    return sorted(
        rows,
        key=lambda r: (
            parts.index(r.part), questions[r.question], kinds.index(r.kind), r.half
        ),
    )  # fmt: skip


def table(rows: Sequence[Row]) -> str:
    """Rows that have an aim, one line a question and kind, both halves side by side."""
    lines = [
        f"{'part':<9} {'question':<36} {'kind':<8} {'trials':>6} {'right':>6} "
        f"{'95 %':>13} {'tied':>4} {'lost':>4} {'tuning':>7} {'report':>7}  aim"
    ]
    halves = {(r.part, r.question, r.kind, r.half): r for r in rows}
    for row in rows:
        if row.half != "both" or row.aim is None:
            continue
        pair = (halves.get((row.part, row.question, row.kind, h)) for h in ("tuning", "report"))
        sides = " ".join(f"{100 * r.rate:6.1f}%" if r else "      -" for r in pair)
        lines.append(
            f"{row.part:<9} {row.question:<36} {row.kind:<8} {row.trials:>6} "
            f"{100 * row.rate:5.1f}% {100 * row.low:5.1f} -{100 * row.high:6.1f} "
            f"{row.tied:>4} {row.trials - row.right - row.tied:>4} {sides}  {_verdict(row)}"
        )
    return "\n".join(lines)


def _verdict(row: Row) -> str:
    assert row.aim is not None
    if row.met:
        return f"{100 * row.aim:.1f}% reached"
    ties = row.untied is not None and row.untied >= row.aim
    return f"{100 * row.aim:.1f}% MISSED{' through ties' if ties else ''}"
