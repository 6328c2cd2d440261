"""The signs on a register map, each kind a shape of its own drawn around a point, and keys.

The key below a picture explains only the signs that occur.
"""

from __future__ import annotations

from collections.abc import Sequence

from corpusreg.documents.pictures.look import GAP, SIZES, WEIGHTS, paint
from corpusreg.documents.pictures.svg import (
    Markup,
    boxes,
    element,
    label,
    moved,
    points,
    text_width,
)
from corpusreg.measures.analysis import Analysis
from corpusreg.measures.shifts import Shift

__all__ = ["Entry", "event_sign", "key", "kind_of_shift", "map_key", "shift_sign"]

SHIFT_WORDS = {
    "up": "shift up",
    "down": "shift down",
    "opening": "opens out",
    "closing": "closes in",
    "part": "one part shifts",
}
EVENT_WORDS = {
    "withheld_bass": "bass or top withheld, then brought in",
    "cleared": "entered after silence",
    "climb": "a line climbs",
    "descent": "a line descends",
    "wedge": "a wedge",
    "pedal_point": "pedal point",
    "octave_return": "returns in another octave",
    "voice_entry": "a voice enters",
    "high_point": "highest or lowest note",
    "isolated": "alone at an extreme",
    "in_octaves": "in octaves",
    "dialogue": "two registers in dialogue",
    "gap": "gap between the voices",
    "crossing": "voices cross",
    "closing": "close and opening differ",
}
_LIKE = {
    "withheld_top": "withheld_bass",
    "entry": "cleared",
    "low_point": "high_point",
}
_R = 4.0  # half the size of a sign


def kind_of_shift(shift: Shift) -> str:
    """As in SHIFT_WORDS."""
    return "part" if shift.by == "part" else shift.direction


def shift_sign(kind: str, direction: str) -> Markup:
    """Triangles that point where the sound goes; hollow where one part goes alone."""
    if kind == "opening":
        return element("g", _flat(-0.2 * _R, -1), _flat(0.2 * _R, 1))
    if kind == "closing":
        return element("g", _flat(-_R, 1), _flat(_R, -1))
    way = -1 if direction == "up" else 1
    corners = [(-_R, -0.8 * way * _R), (_R, -0.8 * way * _R), (0.0, way * _R)]
    look = paint("rule", width="thin") if kind == "part" else paint("ink")
    return element("polygon", points=points(corners), **look)


_PATHS = {
    "climb": "M-4 4L4 -4M0 -4H4V0",
    "descent": "M-4 -4L4 4M0 4H4V0",
    "wedge": "M4 -4L-4 0L4 4",
    "pedal_point": "M-4 3H4M-4 -3V3",
    "octave_return": "M-4 3V-3H4V3M2 1L4 3L6 1",
    "voice_entry": "M-4 0H4M1 -3L4 0L1 3",
    "in_octaves": "M-4 -3H4M-4 3H4",
    "dialogue": "M-4 -3H0V3H4",
    "gap": "M-4 -4h8v8h-8zM-4 0L0 -4M-4 4L4 -4M0 4L4 0",
    "crossing": "M-4 -4L4 4M-4 4L4 -4",
    "closing": "M-4 -4V4M4 -4V4M-4 0H4",
}


def kind_of_event(kind: str) -> str:
    """As in EVENT_WORDS: kinds that share a sign go by one name."""
    return _LIKE.get(kind, kind)


def event_sign(kind: str) -> Markup:
    """A ring, a disc, a diamond, a triangle on its edge, or strokes."""
    kind = kind_of_event(kind)
    if kind == "cleared":
        return element("circle", r=0.85 * _R, **paint("paper", "rule", width="firm"))
    if kind == "withheld_bass":
        return element("circle", r=0.85 * _R, **paint("ink", "rule", width="firm"))
    if kind == "isolated":
        corners = [(0.0, -_R), (_R, 0.0), (0.0, _R), (-_R, 0.0)]
        return element("polygon", points=points(corners), **paint("ink"))
    if kind == "high_point":
        corners = [(-_R, -_R), (_R, -_R), (_R, _R), (-_R, _R)]
        return element(
            "polygon", points=points(corners), **paint("paper", "rule", width="firm")
        )
    return element("path", d=_PATHS[kind], **paint("rule", width="firm"))


def _flat(y: float, way: int) -> Markup:
    """A flat triangle on y that points up (-1) or down (1)."""
    corners = [(-_R, y), (_R, y), (0.0, y + way * _R)]
    return element("polygon", points=points(corners), **paint("ink"))


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
