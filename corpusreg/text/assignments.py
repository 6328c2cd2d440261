"""What was asked of everybody, and what happens there in a piece; how well is not said."""

from __future__ import annotations

from collections.abc import Mapping

from corpusreg.comparison.assignments import Assignment, happened
from corpusreg.comparison.class_piece import ClassPiece
from corpusreg.system.phrases import capital, plural
from corpusreg.text.wording import bars_joined, number

__all__ = ["assignment_answer", "assignment_words"]

_TOLD = 3  # events that are told; of more only the bars


def assignment_words(asked: Assignment) -> str:
    """What was asked of everybody, as a sentence."""
    words = _ASKED[asked.device]
    bar = f", at bar {asked.bar}" if asked.bar else ""
    if asked.device in ("withheld_bass", "withheld_top") and asked.bar:
        bar = f" at bar {asked.bar}"
    if asked.device == "shift":
        often = f" at least {_times(asked.number)}" if asked.number else ""
        return f"{words}{often}."
    if asked.device == "stay":
        long = f" for {plural(asked.number, 'bar')} or more" if asked.number else ""
        return f"{words}{long}."
    return f"{words}{bar}."


def _times(many: int) -> str:
    return {1: "once", 2: "twice"}.get(many, f"{number(many)} times")


def assignment_answer(piece: ClassPiece, asked: Assignment) -> tuple[str, ...]:
    """What happens there in a piece, with bars, and nothing about how well."""
    found = happened(piece, asked)
    if not found:
        return (f"In this piece {_NONE.get(asked.device, _NONE_ELSE)}",)
    if asked.device == "shift":
        bars = [each.where for each in found]
        first = f"{capital(_shifts(len(found)))}: {bars_joined(bars)}."
        return (first, *(each.said for each in found[:1]))
    said = tuple(each.said for each in found[:_TOLD])
    if len(found) > _TOLD:
        said = (*said, f"Also in {bars_joined([each.where for each in found[_TOLD:]])}.")
    return said


def _shifts(many: int) -> str:
    return f"{number(many)} clear shift{'' if many == 1 else 's'}"


_ASKED: Mapping[str, str] = {
    "withheld_bass": "Withhold the bass, then bring it in",
    "withheld_top": "Withhold the top, then bring it in",
    "shift": "Change register clearly",
    "stay": "Stay in one register",
    "cleared": "Empty a register, and fill it again",
    "opening": "Let the texture open out",
    "closing_in": "Let the texture close in",
    "climb": "Let an outer line climb",
    "descent": "Let an outer line descend",
    "pedal_point": "Hold a pedal point",
    "octave_return": "Bring the music back in another octave",
    "in_octaves": "Write a passage in octaves",
    "gap": "Leave a gap between the voices",
    "crossing": "Let two voices cross",
}
_NONE_ELSE = "nothing of this kind was found."
_NONE: Mapping[str, str] = {
    "withheld_bass": "no withheld bass was found.",
    "withheld_top": "no withheld top was found.",
    "shift": "no clear shift of register was found.",
    "stay": "no long stay in one register was found.",
}
