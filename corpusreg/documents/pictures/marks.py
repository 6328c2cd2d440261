"""The signs on a register map: each kind has a shape of its own, drawn around a point."""

from __future__ import annotations

from corpusreg.documents.pictures.look import paint
from corpusreg.documents.pictures.svg import Markup, element, points
from corpusreg.measures.shifts import Shift

__all__ = ["EVENT_WORDS", "SHIFT_WORDS", "event_sign", "kind_of_shift", "shift_sign"]

SHIFT_WORDS = {
    "up": "shift upward",
    "down": "shift downward",
    "opening": "opens outward",
    "closing": "draws together",
    "part": "one part shifts",
}
EVENT_WORDS = {
    "entry": "a register enters",
    "held_back": "held back, then enters",
    "solo": "alone at an extreme",
    "lift": "a held sound lifts",
    "hollow": "hollow",
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


def event_sign(kind: str) -> Markup:
    """A ring, a disc, a diamond, an arrow, a hatched box."""
    if kind == "entry":
        return element("circle", r=0.85 * _R, **paint("paper", "rule", width="firm"))
    if kind == "held_back":
        return element("circle", r=0.85 * _R, **paint("ink", "rule", width="firm"))
    if kind == "solo":
        corners = [(0.0, -_R), (_R, 0.0), (0.0, _R), (-_R, 0.0)]
        return element("polygon", points=points(corners), **paint("ink"))
    if kind == "lift":
        return element("path", d="M-4 1L0 -4L4 1M0 -4V4", **paint("rule", width="firm"))
    hatched = "M-4 -4h8v8h-8zM-4 0L0 -4M-4 4L4 -4M0 4L4 0"
    return element("path", d=hatched, **paint("rule", width="thin"))


def _flat(y: float, way: int) -> Markup:
    """A flat triangle on y that points up (-1) or down (1)."""
    corners = [(-_R, y), (_R, y), (0.0, y + way * _R)]
    return element("polygon", points=points(corners), **paint("ink"))
