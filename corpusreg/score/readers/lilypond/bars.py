"""Bars, repeats and jumps of a LilyPond score.

Conventions: a bar begins where the position in the measure is 0, where it jumps (a
pickup inside the piece), and at every drawn barline. Pieces of one bar keep its
printed number; an upbeat is bar 0. Signs are read as drawn: ':' on the left of a
barline ends a repeat, on the right begins one.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

import numpy as np

from corpusreg.score.notes import Bars, felt_beat
from corpusreg.score.readers.lilypond.lines import Heard, Step

__all__ = ["read_bars"]

_JUMPS = (
    # 'Menuetto da capo' names a place that may be in another \score: not followed.
    ("dacapo", re.compile(r"^\W*(D\. ?C\.?(?!\w)|DC\b|(?i:da capo))")),
    ("dalsegno", re.compile(r"^\W*(D\. ?S\.?(?!\w)|DS\b|(?i:dal segno))")),
    ("tocoda", re.compile(r"(?i)^\W*(to|alla|al) coda\b")),
    ("fine", re.compile(r"(?i)^\W*fine\W*$")),
    ("coda", re.compile(r"(?i)^\W*coda\W*$")),
    ("segno", re.compile(r"(?i)^\W*segno\W*$")),
)
_AT_START = ("segno", "coda")
_SECTIONS = ("||", "|.", ".|", "..")


def read_bars(heard: Heard, end: Fraction, ticks: Callable[[Fraction], int]) -> Bars:
    """Bars from the first step to `end`; `ticks` turns moments into ticks from there.

    Raises ValueError where LilyPond kept no time at all.
    """
    steps = {step.moment: step for step in heard.steps}
    if not steps:
        raise ValueError("LilyPond counts no bars in it")
    starts = _starts(heard, steps, end)
    at = [steps[moment] for moment in starts]
    ends = [*starts[1:], end]
    n = len(starts)
    first_of = {moment: i for i, moment in enumerate(starts)}
    tick = [ticks(moment) for moment in [*starts, end]]
    repeat_start, section = np.zeros(n, bool), np.zeros(n, bool)
    repeat_end = np.zeros(n, np.int64)
    for i in range(n):
        signs = heard.signs.get(starts[i], set())
        repeat_start[i] = any(sign.endswith(":") for sign in signs)
        section[i] = i > 0 and any(":" in s or s in _SECTIONS for s in signs)
        if any(sign.startswith(":") for sign in heard.signs.get(ends[i], ())):
            repeat_end[i] = heard.again.get(ends[i], 1) + 1
    return Bars(
        labels=tuple(_label(step, first=i == 0) for i, step in enumerate(at)),
        start=np.array(tick[:-1], np.int64),
        length=np.array(tick[1:], np.int64) - np.array(tick[:-1], np.int64),
        full=np.array([ticks(starts[0] + step.length) for step in at], np.int64),
        beat=np.array([_beat(step, starts[0], ticks) for step in at], np.int64),
        section=section,
        repeat_start=repeat_start,
        repeat_end=repeat_end,
        endings=_endings(heard, starts, ends),
        marks=_marks(heard, starts, first_of),
    )


def _starts(heard: Heard, steps: dict[Fraction, Step], end: Fraction) -> list[Fraction]:
    starts: list[Fraction] = []
    before: Step | None = None
    for moment in sorted(steps):
        step = steps[moment]
        if moment >= end:
            break
        jumped = before is None or (
            step.position != before.position + step.moment - before.moment
            and step.number == before.number
        )
        drawn = any(set(sign) & set("|:.") for sign in heard.signs.get(moment, ()))
        if step.position == 0 or jumped or drawn:
            starts.append(moment)
        before = step
    return starts


def _label(step: Step, *, first: bool) -> str:
    return "0" if first and step.position < 0 else step.number


def _beat(step: Step, origin: Fraction, ticks: Callable[[Fraction], int]) -> int:
    quarter = ticks(origin + Fraction(1, 4))
    over, _, under = step.metre.partition("/")
    if not (over.isdigit() and under.isdigit() and int(over) and int(under)):
        return quarter
    return max(1, felt_beat(int(over), int(under), quarter))


def _endings(
    heard: Heard, starts: list[Fraction], ends: list[Fraction]
) -> tuple[tuple[int, ...], ...]:
    opened = sorted({(at, passes) for at, begins, passes in heard.endings if begins})
    closed = {(at, passes) for at, begins, passes in heard.endings if not begins}
    spans = []
    for i, (at, passes) in enumerate(opened):
        stops = [stop for stop, which in closed if which == passes and stop > at]
        following = opened[i + 1][0] if i + 1 < len(opened) else ends[-1]
        spans.append((at, min([*stops, following]), passes))
    found: list[tuple[int, ...]] = []
    for begin in starts:
        found.append(next((p for low, high, p in spans if low <= begin < high), ()))
    return tuple(found)


def _marks(
    heard: Heard, starts: list[Fraction], first_of: dict[Fraction, int]
) -> tuple[frozenset[str], ...]:
    found: list[set[str]] = [set() for _ in starts]
    times = np.array([float(moment) for moment in starts])
    for moment, _, words in heard.words:
        names = [name for name, form in _JUMPS if form.search(words)]
        for name in names[:1]:
            bar = int(np.searchsorted(times, float(moment), side="right")) - 1
            # A mark on a barline stands at the end of the bar before it.
            ends_before = moment in first_of or (moment > starts[-1] and bar == len(starts) - 1)
            if name not in _AT_START and moment in first_of and bar > 0 and ends_before:
                bar -= 1
            found[max(0, bar)].add(name)
    return tuple(frozenset(names) for names in found)
