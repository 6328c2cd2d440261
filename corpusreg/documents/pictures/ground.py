"""The ground of a register map: staff lines, octaves, weight, sections, bar numbers."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from corpusreg.documents.pictures.look import GAP, SIZES, paint
from corpusreg.documents.pictures.svg import (
    Markup,
    boxes,
    element,
    label,
    lines,
    number,
    text_width,
)
from corpusreg.documents.pictures.view import Axes, cells
from corpusreg.measures.analysis import Analysis
from corpusreg.score.pitch import note_name

__all__ = ["LANE", "ground", "ruler", "sections", "weights"]

LANE = 15.0  # height of a row of signs
_STAVES = (43, 47, 50, 53, 57, 64, 67, 71, 74, 77)  # lines of bass and treble staff


def ground(axes: Axes) -> Markup:
    """Barlines, the lines of both staves, and broken lines with names at the Cs."""
    right, half = axes.left + axes.width, axes.step / 2
    bars = [(axes.x(bar), axes.top, axes.x(bar), axes.foot) for bar in axes.edges]
    rows = range(axes.low, axes.high + 1)
    level = {pitch: axes.y(pitch) + half for pitch in rows}
    staves = [(axes.left, level[p], right, level[p]) for p in _STAVES if p in level]
    octaves = [pitch for pitch in rows if pitch % 12 == 0]
    ledger = [(axes.left, level[p], right, level[p]) for p in octaves]
    size = SIZES["small"]
    names = (
        label(note_name(p), axes.left - GAP / 2, level[p] + size / 3, size, text_anchor="end")
        for p in octaves
    )
    return element(
        "g",
        lines(bars, "faint"),
        lines(staves, "line", "hair"),
        lines(ledger, "line", stroke_dasharray="5 3"),
        *names,
        class_="ground",
    )


def weights(found: Analysis, axes: Axes, top: float) -> Iterator[Markup]:
    """What sounds, one path for each level of weight; `top` is drawn darkest."""
    for level, several in sorted(cells(found, axes, top).items()):
        yield boxes(several, f"weight{level}")


def sections(found: Analysis, axes: Axes) -> Markup:
    """A double barline where a section begins."""
    begins = np.flatnonzero(found.played.bars.section[axes.first : axes.last]) + axes.first
    double = [
        (x, axes.top, x, axes.foot)
        for bar in begins.tolist()
        if bar > 0
        for x in (axes.x(bar) - 1.6, axes.x(bar) + 1.6)
    ]
    return lines(double, "rule", "hair")


def ruler(found: Analysis, axes: Axes) -> tuple[Markup, float]:
    """Printed bar numbers below the map, brackets over what is heard again; and its height."""
    bars, size = found.played.bars, SIZES["small"]
    y, free = axes.foot + size + 2, 0.0
    drawn: list[Markup] = []
    for bar in range(axes.first, axes.last):
        printed = bars.labels[bar].partition(" (")[0]
        jump = bar == axes.first or int(bars.written[bar]) != int(bars.written[bar - 1]) + 1
        fifth = printed.isdigit() and int(printed) % 5 == 0
        x = axes.x(bar) + 2
        if (jump or fifth) and (x >= free or bar == axes.first):
            drawn.append(label(printed, x, y, size))
            free = x + 1.2 * text_width(printed, size) + 4
    height = size + GAP
    again = list(_again(found, axes, axes.foot + height + 2))
    return element("g", *drawn, *again), height + (LANE if again else 0)


def _again(found: Analysis, axes: Axes, y: float) -> Iterator[Markup]:
    """Brackets with '2nd time' where bars are heard again."""
    bars = found.played.bars
    times = bars.time[axes.first : axes.last]
    for a, b in pairwise([0, *(np.flatnonzero(np.diff(times)) + 1).tolist(), len(times)]):
        if times[a] > 1:
            words = bars.labels[axes.first + a].partition(" (")[2].rstrip(")")
            x, end = axes.x(axes.first + a) + 2, axes.x(axes.first + b) - 2
            bracket = f"M{number(x)} {number(y + 10)}V{number(y)}H{number(end)}"
            yield element("path", d=bracket, **paint("rule", width="thin"))
            if end - x > text_width(words, SIZES["small"]) + 6:
                yield label(words, x + 3, y + 10, SIZES["small"])
