"""What a teacher asks of every piece of a class, and what happens there; there is no mark."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from corpusreg.comparison.class_piece import ClassPiece, Happening, Told
from corpusreg.system.errors import UsageError

__all__ = ["ASKED", "Assignment", "assignment", "happened"]

Needs = Literal["", "bar", "times", "bars"]
# By device: what more may be said of it. 'bar': before or after which it happens; 'times':
# how often at least; 'bars': for how many.
ASKED: Mapping[str, Needs] = {
    "withheld_bass": "bar",
    "withheld_top": "bar",
    "shift": "times",
    "stay": "bars",
    "cleared": "bar",
    "opening": "bar",
    "closing_in": "bar",
    "climb": "bar",
    "descent": "bar",
    "pedal_point": "bar",
    "octave_return": "bar",
    "in_octaves": "bar",
    "gap": "bar",
    "crossing": "bar",
}
_SHIFTS = ("shift", "opening", "closing_in")
MOST = 999


@dataclass(frozen=True)
class Assignment:
    """An intention for all. device: one of ASKED. bar: printed, '' for any; number: how often
    or for how many bars at least, 0 for any."""

    device: str
    bar: str = ""
    number: int = 0


def assignment(device: str, bar: str = "", number: str = "") -> Assignment:
    """An assignment as a form or a command line gives it.

    Raises UsageError for what cannot be asked.
    """
    if device not in ASKED:
        raise UsageError(f"'{device}' cannot be asked of a class; choose {', '.join(ASKED)}")
    needs = ASKED[device]
    number = number if needs in ("times", "bars") else ""
    if number and not (number.isdecimal() and 0 < int(number) <= MOST):
        raise UsageError(f"'{number}': not a number from 1 to {MOST}; choose one")
    return Assignment(device, bar.strip() if needs == "bar" else "", int(number or 0))


def happened(piece: ClassPiece, asked: Assignment) -> tuple[Happening | Told, ...]:
    """What happens of the kind in a piece, in the order in which it is heard.

    Where a bar is asked for, what happens nearest to it comes first.
    """
    if asked.device == "stay":
        return tuple(each for each in piece.stays if each.bars >= asked.number)
    devices = _SHIFTS if asked.device == "shift" else (asked.device,)
    found = [each for each in piece.happenings if each.device in devices]
    near = dict(zip(piece.labels, piece.starts, strict=True)).get(asked.bar)
    if near is None:
        return tuple(sorted(found, key=lambda each: each.bar))
    return tuple(sorted(found, key=lambda each: (abs(each.bar - near), each.bar)))
