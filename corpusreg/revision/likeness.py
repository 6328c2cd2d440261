"""What is like a model passage: the same kind of thing, about as large or as long.

A model is a passage of the reference (`corpusreg.comparison.examples`). Like it is, where a
bar is heard for the first time,

shift           a shift of the same direction, by the same (mass, top or bottom)
entry           an entry after about as many bars of absence
held-back-bass  one at the low end, after a long wait; held-back-top: at the high end
lift            a held or repeated sound on the same side that stops after about as long
dwell           a narrow stay of about as many bars that begins there, or a bar from there

with the smaller of the two sizes (semitones or bars) LIKE of the greater one or more.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from corpusreg.comparison.examples import Example
from corpusreg.measures.analysis import is_narrow
from corpusreg.measures.events import Event
from corpusreg.measures.shifts import Shift
from corpusreg.measures.stays import Stay
from corpusreg.revision.heard import Heard

__all__ = ["alike", "places", "wait"]

LIKE = 2 / 3
PLACES = 8  # that are tried where none is named

Found = Shift | Event | Stay


def alike(model: Example, heard: Heard, at: int) -> list[tuple[float, Found]]:
    """What is like the model in a played bar, with how much (LIKE to 1), the most first."""
    found = [(_share(model, size), each) for each, size in _sized(model, heard, at)]
    return sorted(
        ((share, each) for share, each in found if share >= LIKE), key=lambda pair: -pair[0]
    )


def wait(model: Example) -> int:
    """Bars that the model lasts or waits, at least one; a shift has none and gives one."""
    return max(round(model.facts["bars" if model.kind == "dwell" else "silence"] or 1), 1)


def places(model: Example, begins: Sequence[int], count: int) -> list[int]:
    """Written bars where something like the model could be, at most PLACES, spread.

    begins: where phrases begin. count: how many bars there are.
    """
    least = round(LIKE * wait(model))
    if model.kind == "dwell":
        fit = [bar for bar in begins if bar + least <= count]
    elif model.kind == "shift":
        fit = [bar for bar in begins if bar > 0]
    else:
        fit = [bar for bar in begins if bar >= max(least, 1)]
    step = max(len(fit) - 1, 1) / (PLACES - 1)
    return fit if len(fit) <= PLACES else [fit[round(step * n)] for n in range(PLACES)]


def _share(model: Example, size: float) -> float:
    measured = {"shift": "size", "dwell": "bars"}.get(model.kind, "silence")
    own = model.facts[measured]
    return min(size, own) / max(size, own) if size > 0 and own > 0 else 0.0


def _sized(model: Example, heard: Heard, at: int) -> Iterator[tuple[Found, float]]:
    """Things of the model's kind in a played bar, and their sizes."""
    if model.kind == "shift":
        for shift in heard.shifts:
            if shift.bar == at and shift.direction == model.facts["direction"]:
                yield shift, _moved(shift, model.facts["moved"])
    elif model.kind == "dwell":
        for stay in heard.stays:
            if abs(stay.first - at) <= 1 and is_narrow(stay, heard.texture.single_line):
                yield stay, stay.bars
    else:
        for event in heard.events:
            if event.bar == at and event.kind == model.kind.replace("-", "_"):
                yield event, event.silence


def _moved(shift: Shift, by: str) -> float:
    return {"top": abs(shift.top), "bottom": abs(shift.bottom)}.get(by, shift.mass)
