"""The key below a picture, and that of a register map: only the signs that occur."""

from __future__ import annotations

from collections.abc import Sequence

from corpusreg.documents.pictures.look import GAP, SIZES, WEIGHTS, paint
from corpusreg.documents.pictures.marks import (
    EVENT_WORDS,
    SHIFT_WORDS,
    event_sign,
    kind_of_event,
    kind_of_shift,
    shift_sign,
)
from corpusreg.documents.pictures.svg import Markup, boxes, element, label, moved, text_width
from corpusreg.measures.analysis import Analysis

__all__ = ["Entry", "key", "map_key"]

_ROW = 17.0
# A sign around the origin, how far it reaches to the right, what it means.
Entry = tuple[Markup, float, str]


def key(entries: Sequence[Entry], y: float, width: float) -> tuple[Markup, float]:
    """Signs with their meanings in rows from y down, and the y below them."""
    size = SIZES["small"]
    x, y = GAP, y + size
    drawn = []
    for sign, wide, words in entries:
        # A screen without the book face shows a wider one.
        needs = wide + 6 + 1.1 * text_width(words, size) + 1.5 * GAP
        if x > GAP and x + needs > width:
            x, y = GAP, y + _ROW
        drawn += [moved(sign, x, y - 3.5), label(words, x + wide + 6, y, size)]
        x += needs
    return element("g", *drawn, class_="key"), y + GAP / 2


def map_key(analyses: Sequence[Analysis]) -> list[Entry]:
    """What the signs of a register map mean."""
    shifts = {kind_of_shift(shift) for each in analyses for shift in each.shifts}
    events = {kind_of_event(event.kind) for each in analyses for event in each.events}
    found: list[Entry] = [
        (_swatches(), 12.0 * len(WEIGHTS), "darker: longer or louder"),
        (_band(), 22.0, "in one register; 1: the main one"),
    ]
    for kind, words in SHIFT_WORDS.items():
        if kind in shifts:
            found.append((moved(shift_sign(kind, kind), 5, 0), 10.0, words))
    for kind, words in EVENT_WORDS.items():
        if kind in events:
            found.append((moved(event_sign(kind), 5, 0), 10.0, words))
    if any(each.played.bars.section[1:].any() for each in analyses):
        double = element("path", d="M1 -6V6M4 -6V6", **paint("rule", width="thin"))
        found.append((double, 6.0, "a section begins"))
    return found


def _swatches() -> Markup:
    return element(
        "g", *(boxes([(12.0 * i, -5.0, 12.0, 10.0)], name) for i, name in enumerate(WEIGHTS))
    )


def _band() -> Markup:
    place = {"x": 1.0, "y": -5.0, "width": 20.0, "height": 10.0, "rx": 2.0}
    return element("rect", **place, **paint("outline", width="firm"))
