"""Barlines, section labels and expansion lists of a kern file -> `Bars`.

Conventions
-----------
A barline is '=', an optional number with a letter, and a style: '||' double, '='
final, '-' invisible, ':' on the left ends a repeat, on the right begins one.
Two barlines with no time between them are one. A barline, or a section label,
inside a bar cuts it; both pieces keep the printed number.
A label *>A begins a section at its place; *>A1 and *>A2 with a section A before
them are first and second endings. The list *>[A,A1,A,A2] is the played order;
*>norep[...] and other named lists are alternatives and are not used.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np

from corpusreg.score.notes import Bars, felt_beat

__all__ = [
    "BarLine",
    "Measure",
    "Metre",
    "bar_table",
    "expansion_list",
    "parse_barline",
    "parse_mark",
    "parse_metre",
    "section_label",
]

_BARLINE = re.compile(r"=+(\d+[a-z]*)?(.*)")
_LABEL = re.compile(r"(.*?)(?:yy)?")
_MAX_PLAYED = 100_000  # bars in played order; more is a damaged list
_ENDING = re.compile(r"(.*\D)(\d+)('*)")


@dataclass(frozen=True, slots=True)
class BarLine:
    """What a barline token says about what begins and ends there."""

    label: str
    double: bool
    repeat_end: bool
    repeat_start: bool


@dataclass(frozen=True, slots=True)
class Metre:
    """A metre; `unit` is its lower number, 0 for a breve."""

    count: int
    unit: int

    def bar(self, ticks: int) -> int:
        """Ticks of a whole bar."""
        return self.count * (4 * ticks // self.unit if self.unit else 8 * ticks)

    def beat(self, ticks: int) -> int:
        """Felt beat in ticks."""
        return felt_beat(self.count, self.unit, ticks) if self.unit else 8 * ticks


@dataclass(slots=True)
class Measure:
    """A bar while the file is read; ticks from the beginning of the file."""

    start: int
    end: int = 0
    label: str = ""
    metre: Metre | None = None
    section: bool = False
    repeat_start: bool = False
    repeat_end: bool = False
    marks: set[str] = field(default_factory=set)  # as in Bars.marks
    final: bool = False  # a final barline ends it
    cut: bool = False  # goes on with the bar before it (a label inside that bar)


def parse_barline(token: str) -> BarLine:
    """Read a barline token.

    >>> parse_barline("=12:|!|:")
    BarLine(label='12', double=True, repeat_end=True, repeat_start=True)
    """
    match = _BARLINE.match(token)
    label, style = match.groups() if match else (None, "")
    style = style or ""
    strokes = [place for place, sign in enumerate(style) if sign in "|!"]
    end = bool(strokes) and ":" in style[: strokes[-1]]
    start = bool(strokes) and ":" in style[strokes[-1] :]
    double = token.startswith("==") or len(strokes) > 1
    return BarLine(label or "", double, end, start)


def parse_metre(record: str) -> Metre | None:
    """The metre of a record such as *M3/4; None for any other record.

    >>> parse_metre("*M6/8")
    Metre(count=6, unit=8)
    """
    match = re.fullmatch(r"\*M(\d{1,3}(?:\+\d{1,2})*)/(\d{1,3})", record)
    if match is None:
        return None
    count, unit = sum(map(int, match.group(1).split("+"))), int(match.group(2))
    good = count > 0 and unit in (0, 1, 2, 4, 8, 16, 32, 64, 128, 3, 6, 12, 24)
    return Metre(count, unit) if good else None


_TEXT = re.compile(r"!LO:TX.*?:t=([^:]*)")
_MARKS = {
    "segno": r"segno",
    "coda": r"coda",
    "fine": r"fine",
    "dacapo": r"da ?capo(?: al fine)?|d\. ?c(?:\. al fine)?",
    "dalsegno": r"d?[a']*l segno(?: al fine)?|d\. ?s",
}


def parse_mark(comment: str) -> str:
    """The mark of `Bars.marks` that a layout comment shows, else ''; whole words only,
    since 'Trio da capo' names a place that the bar numbers do not tell.

    >>> parse_mark("!LO:TX:a:t=Da Capo."), parse_mark("!LO:TX:a:t=Trio Da Capo")
    ('dacapo', '')
    """
    match = _TEXT.match(comment)
    if match is None:
        return ""
    words = match.group(1).split("|")[0].strip("[]. ").lower()
    return next((mark for mark, form in _MARKS.items() if re.fullmatch(form, words)), "")


def _labels(measures: list[Measure], fulls: list[int]) -> tuple[tuple[str, ...], int]:
    """Printed numbers, and how many had to be counted."""
    labels: list[str] = []
    counted = 0
    for index, measure in enumerate(measures):
        if measure.label:
            labels.append(measure.label)
            continue
        if index == 0:
            labels.append(_first_label(measures, fulls))
            continue
        before = measures[index - 1]
        together = measure.end - before.start
        if measure.cut or (
            together <= fulls[index] and before.end - before.start < fulls[index]
        ):
            labels.append(labels[-1])  # a barline inside the bar, such as a repeat sign
        else:
            following = next((later.label for later in measures[index:] if later.label), "")
            halved = index + 1 < len(measures) and measures[index + 1].label == following
            whole = halved and measures[index + 1].end - measure.start <= fulls[index]
            labels.append(_next_label(labels[-1], "" if whole else following))
            counted += 1
    return tuple(labels), counted


def _next_label(label: str, following: str) -> str:
    """A number for a bar without one; '12a' where the next bar is printed as 13."""
    number, letters = re.fullmatch(r"(\d*)(.*)", label).groups()  # type: ignore[union-attr]
    if letters:
        return number + letters[:-1] + chr(ord(letters[-1]) + 1)
    onward = str(int(number) + 1)
    return f"{number}a" if onward == following else onward


def _first_label(measures: list[Measure], fulls: list[int]) -> str:
    """Number of an opening bar without one: one less than the next number."""
    for index, measure in enumerate(measures):
        number = re.match(r"\d+", measure.label)
        if number:
            return str(max(int(number.group()) - index, 0))
    return "0" if measures[0].end - measures[0].start < fulls[0] else "1"


def section_label(record: str) -> str:
    """The label of a record *>A or *>A1yy; '' for an expansion list."""
    match = _LABEL.fullmatch(record[2:])
    return "" if "[" in record or match is None else match.group(1)


def expansion_list(record: str) -> list[str] | None:
    """Labels of a default expansion list *>[A,B,A]; None for any other record."""
    match = re.fullmatch(r"\*>\[(.*)\]", record)
    if match is None:
        return None
    return [label.strip() for label in match.group(1).split(",") if label.strip()]


def _without_commas(text: str, at: dict[str, list[int]]) -> list[str]:
    """Labels of a list written as one word; the word itself where it is no such list."""
    longest_first = sorted(at, key=len, reverse=True)
    found: list[str] = []
    place = 0
    while place < len(text):
        label = next((name for name in longest_first if text.startswith(name, place)), "")
        if not label:
            return [text]
        found.append(label)
        place += len(label)
    return found


def _played_order(
    wanted: list[str], at: dict[str, list[int]], bars: int
) -> tuple[tuple[int, ...] | None, str]:
    """Played order of bars from an expansion list.

    at: for each label the bars where it stands. Of several places with one label the
    one that comes next on the page counts, else the one played last. Returns the
    order, or None and the reason why the list cannot be followed.
    """
    if len(wanted) == 1 and wanted[0] not in at:
        wanted = _without_commas(wanted[0], at)
    if wanted and wanted[0] not in at and all(0 not in places for places in at.values()):
        at = at | {wanted[0]: [0]}  # the first section needs no label
    missing = [label for label in wanted if label not in at]
    if missing or not wanted:
        return None, f"expansion list names a section that is not marked: {missing[:1]}"
    sections = [(bar, label) for label, places in at.items() for bar in places]
    sections.sort(key=lambda section: section[0])
    starts = [bar for bar, _ in sections] + [bars]
    order = list(range(starts[0]))  # music before the first label is played first
    used: dict[str, int] = {}
    present = -1
    for label in wanted:
        onward = present + 1 < len(sections) and sections[present + 1][1] == label
        first = next(index for index, section in enumerate(sections) if section[1] == label)
        present = present + 1 if onward else used.get(label, first)
        used[label] = present
        order.extend(range(starts[present], starts[present + 1]))
        if len(order) > _MAX_PLAYED:
            return None, f"expansion list plays more than {_MAX_PLAYED} bars"
    return tuple(order), ""


def _endings(at: dict[str, list[int]], bars: int) -> tuple[tuple[int, ...], ...]:
    """Passes of each bar: from labels A1, A2 where a section A is marked too."""
    starts = sorted({bar for places in at.values() for bar in places} | {bars})
    endings: list[tuple[int, ...]] = [()] * bars
    for label, places in at.items():
        match = _ENDING.fullmatch(label)
        if match is None or match.group(1) not in at:
            continue
        for first in places:
            for bar in range(first, starts[starts.index(first) + 1]):
                endings[bar] = (int(match.group(2)),)
    return tuple(endings)


def bar_table(
    measures: list[Measure], labels: list[tuple[int, str]], wanted: list[str] | None, ticks: int
) -> tuple[Bars, list[str]]:
    """Bars of the file, and what was taken for granted.

    labels: (bar index, section label) in file order.
    """
    assumed: list[str] = []
    if any(measure.metre is None for measure in measures):
        assumed.append("no metre written: read as 4/4")
    metres = [measure.metre or Metre(4, 4) for measure in measures]
    fulls = [metre.bar(ticks) for metre in metres]
    printed, counted = _labels(measures, fulls)
    if counted:
        assumed.append(f"{counted} bars without a printed number: counted on")
    at: dict[str, list[int]] = {}
    for bar, label in labels:
        at.setdefault(label, []).append(bar)
    order, problem = (None, "") if wanted is None else _played_order(wanted, at, len(measures))
    if problem:
        assumed.append(f"played order from repeat signs: {problem}")
    section = [measure.section for measure in measures]
    for label, places in at.items():
        if _ENDING.fullmatch(label) is None:
            for bar in places:
                section[bar] = True
    section[0] = True
    bars = Bars.plain(
        printed,
        [measure.end - measure.start for measure in measures],
        fulls,
        [metre.beat(ticks) for metre in metres],
        section=np.array(section, bool),
        repeat_start=np.array([measure.repeat_start for measure in measures], bool),
        repeat_end=np.array([2 if measure.repeat_end else 0 for measure in measures], np.int64),
        endings=_endings(at, len(measures)),
        marks=tuple(frozenset(measure.marks) for measure in measures),
        order=order,
    )
    return bars, assumed
