"""What is told of works whose register has the same shape over time as a piece."""

from __future__ import annotations

from collections.abc import Sequence

from corpusreg.measures.curve import PARTS
from corpusreg.norms.alike import Alike

__all__ = ["alike_lines", "alike_words"]

_CLEAR = 5  # semitones from which a curve is said to rise, sink, open out or close in
_NAMES = {"low": "lower edge", "middle": "middle", "high": "upper edge"}
_OCTAVE = 12
_TENTHS = ("", "a tenth", *(f"{each} tenths" for each in (
    "two", "three", "four", "five", "six", "seven", "eight", "nine")))  # fmt: skip


def alike_lines(found: Sequence[Alike]) -> list[str]:
    """One line a work: who wrote it, what it shares, where it differs most."""
    return [f"{each.title} ({each.composer}): {alike_words(each)}" for each in found]


def alike_words(each: Alike) -> str:
    """What a work shares with the piece and where it differs most."""
    return (
        f"within {each.distance:.1f} semitones of the piece on average{_shared(each)}; "
        f"furthest from it {_place(each.part)}, where the {_NAMES[each.line]} of this work "
        f"lies {_interval(abs(each.apart))} {'higher' if each.apart > 0 else 'lower'}"
    )


def _shared(each: Alike) -> str:
    said = []
    if abs(each.widens) >= _CLEAR:
        said.append("opens out" if each.widens > 0 else "closes in")
    if abs(each.rises) >= _CLEAR:
        said.append("rises" if each.rises > 0 else "sinks")
    return f", and {' and '.join(said)} toward the end as the piece does" if said else ""


def _place(part: int) -> str:
    if part == 0:
        return "at the beginning"
    if part == PARTS - 1:
        return "at the end"
    return f"{_TENTHS[part]} of the way in" if 2 * part != PARTS else "halfway"


def _interval(semitones: float) -> str:
    whole = round(semitones)
    octaves, rest = divmod(whole, _OCTAVE)
    if rest == 0 and octaves:
        return "an octave" if octaves == 1 else f"{octaves} octaves"
    return f"{whole} semitones" if whole != 1 else "a semitone"
