"""Bars of a tune: numbers, metres, repeats, endings, jumps, parts and their order.

Conventions: see `abc`. Signs are read from the first voice that has markers.
"""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

import numpy as np

from corpusreg.score.notes import Bars, felt_beat
from corpusreg.score.order import played_order
from corpusreg.score.readers.abc_source import Marker, Source
from corpusreg.score.readers.abc_tree import Tree

__all__ = ["bars_of"]

_MOST_PARTS_PLAYED = 1000


def bars_of(tree: Tree, source: Source, assumed: list[str], lost: dict[str, int]) -> Bars:
    """The bars of a tune; what had to be assumed or was lost is added to the lists given."""
    if not any(m.strip().lower() not in ("", "none") for m in source.fields.get("M", [])):
        assumed.append("no metre written: read as 4/4")
    bars, labels = _signed(tree, _plain(tree))
    return replace(bars, order=_order(source, bars, labels, lost))


def _plain(tree: Tree) -> Bars:
    """Bars with the signs that the library gives."""
    full, beat = _metre(tree)
    count = len(tree.length)
    repeat_start, section = np.zeros(count, bool), np.zeros(count, bool)
    repeat_end = np.zeros(count, np.int64)
    endings: list[tuple[int, ...]] = [()] * count
    lead = max(tree.parts, key=lambda part: len(part["measures"]))
    open_ending: tuple[int, ...] = ()
    for bar, measure in enumerate(lead["measures"]):
        left, right = measure.get("left_barline", {}), measure.get("right_barline", {})
        repeat_start[bar] = left.get("repeat_direction") == "Forward"
        repeat_end[bar] = 2 * (right.get("repeat_direction") == "Backward")
        if left.get("ending_type") == "start":
            open_ending = (left.get("ending_number", 1),)
        endings[bar] = open_ending
        if "ending_type" in right:
            open_ending = ()
        if bar + 1 < count and right.get("style") in ("Double", "Final", "RepeatBackward"):
            section[bar + 1] = True
    return Bars.plain(
        _labels(tree.length, full),
        tree.length,
        full,
        beat,
        repeat_start=repeat_start,
        repeat_end=repeat_end,
        section=section | repeat_start,
        endings=tuple(endings),
    )


def _metre(tree: Tree) -> tuple[list[int], list[int]]:
    """Full length and felt beat of each bar."""
    full, beat = [], []
    now = tree.whole, felt_beat(4, 4, tree.whole // 4)
    changes = tree.parts[0]["measures"]
    for bar in range(len(tree.length)):
        attributes = changes[bar].get("attributes", {}) if bar < len(changes) else {}
        if time := attributes.get("time"):
            beats = sum(int(n) for n in re.findall(r"\d{1,3}", str(time["beats"]))) or 4
            unit = time["beat_type"] or 4
            now = beats * tree.whole // unit, felt_beat(beats, unit, tree.whole // 4)
        full.append(now[0])
        beat.append(now[1])
    return full, beat


def _signed(tree: Tree, bars: Bars) -> tuple[Bars, dict[str, int]]:
    """Bars with endings of several numbers and jumps, and the bar of each part (`P:`)."""
    endings, jumps = list(bars.endings), [set(m) for m in bars.marks]
    section = bars.section.copy()
    labels: dict[str, int] = {}
    found = list(tree.marks())
    first = min((index for index, *_ in found), default=0)
    marks = [(bar, tick, marker) for index, bar, tick, marker in found if index == first]
    codas = [marker for _, _, marker in marks if marker.value == "coda"]
    for bar, tick, marker in marks:
        if marker.kind == "ending" and endings[bar]:
            _renumber(endings, bar, _numbers(marker.value))
        elif marker.kind == "jump":
            # Of two coda signs the first is where one leaves.
            leaves = len(codas) > 1 and marker is codas[0]
            value = "tocoda" if leaves else marker.value
            jumps[_bar_of_jump(tree, bar, tick, value, marker)].add(value)
        elif marker.kind == "part":
            labels.setdefault(marker.value, bar)
            section[bar] = True
    marked = tuple(map(frozenset, jumps))
    return replace(bars, endings=tuple(endings), marks=marked, section=section), labels


def _bar_of_jump(tree: Tree, bar: int, tick: int, value: str, marker: Marker) -> int:
    """Segno and coda count at a bar's beginning, the others at its end."""
    if not marker.closes:
        return bar
    if value in ("segno", "coda"):
        return min(bar + (tick > tree.start[bar]), len(tree.length) - 1)
    return max(0, bar - (tick == tree.start[bar]))


def _order(
    source: Source, bars: Bars, labels: dict[str, int], lost: dict[str, int]
) -> tuple[int, ...] | None:
    """Played order of `P:` in the header, None where it gives none."""
    wanted = _expand(" ".join(source.fields.get("P", [])))
    if not wanted or not labels:
        return None
    missing = sum(label not in labels for label in wanted)
    if missing:
        lost["parts of P: that the tune does not have"] = missing
        return None
    edges = sorted({0, *labels.values(), len(bars)})
    until = dict(pairwise(edges))
    order: list[int] = []
    for label in wanted:
        begin = labels[label]
        inner, _ = played_order(_slice(bars, begin, until[begin]))
        order += [begin + bar for bar in inner]
    return tuple(order)


def _labels(length: list[int], full: list[int]) -> list[str]:
    """Printed bar numbers (see the module's conventions)."""
    labels: list[str] = []
    number, halved = 0, False
    for bar, (ticks, whole) in enumerate(zip(length, full, strict=True)):
        if bar == 0 and 0 < ticks < whole and len(length) > 1:
            labels.append("0")
            continue
        short = 0 < ticks < whole
        if short and not halved and bar > 1 and length[bar - 1] + ticks == whole:
            labels.append(f"{number}a")
            halved = True
            continue
        number, halved = number + 1, False
        labels.append(str(number))
    return labels


def _numbers(text: str) -> tuple[int, ...]:
    """Passes that an ending names: '1,3' or '1-3'."""
    found: list[int] = []
    for piece in filter(None, text.split(",")):
        ends = [int(n) for n in re.findall(r"\d{1,2}", piece)]
        if ends:
            found += range(ends[0], ends[-1] + 1)
    return tuple(dict.fromkeys(found)) or (1,)


def _renumber(endings: list[tuple[int, ...]], bar: int, passes: tuple[int, ...]) -> None:
    old = endings[bar]
    while bar < len(endings) and endings[bar] == old:
        endings[bar] = passes
        bar += 1


def _expand(text: str) -> list[str]:
    """Parts in order: 'A2(BC)2' is A A B C B C; dots and blanks only separate."""
    tokens = (
        re.findall(r"[A-Z(]|\)\d{0,4}|\d{1,4}", text)
        if re.fullmatch(r"[A-Z\d().\s]+", text)
        else []
    )
    stack: list[list[str]] = [[]]
    for token in tokens:
        if token == "(":
            stack.append([])
        elif token[0] == ")":
            if len(stack) > 1:
                group = stack.pop()
                stack[-1] += group * min(int(token[1:] or 1), _MOST_PARTS_PLAYED)
        elif token.isdigit():
            stack[-1] += stack[-1][-1:] * (min(int(token), _MOST_PARTS_PLAYED) - 1)
        else:
            stack[-1].append(token)
        if sum(map(len, stack)) > _MOST_PARTS_PLAYED:
            return []
    return [label for group in stack for label in group]


def _slice(bars: Bars, begin: int, end: int) -> Bars:
    return Bars.plain(
        bars.labels[begin:end],
        bars.length[begin:end],
        bars.full[begin:end],
        bars.beat[begin:end],
        repeat_start=bars.repeat_start[begin:end],
        repeat_end=bars.repeat_end[begin:end],
        endings=bars.endings[begin:end],
    )
