"""What a MusicXML file may leave out and the engraver needs: note values and ends of ties.

A note without <type> is drawn with the value that its duration says, dots included; a
tie that begins and has no end written at the note it leads to gets one.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

__all__ = ["complete"]

_TYPES = {
    Fraction(8): "breve",
    Fraction(4): "whole",
    Fraction(2): "half",
    Fraction(1): "quarter",
    Fraction(1, 2): "eighth",
    Fraction(1, 4): "16th",
    Fraction(1, 8): "32nd",
    Fraction(1, 16): "64th",
    Fraction(1, 32): "128th",
}
_DOTTED = {
    value * (2 - Fraction(1, 2**dots)): (name, dots)
    for dots in (2, 1, 0)
    for value, name in _TYPES.items()
}
# Elements of a <note> that come after its <type> and dots.
_AFTER = frozenset(
    ("accidental", "time-modification", "stem", "notehead", "notehead-text", "staff", "beam",
     "notations", "lyric", "play", "listen")
)  # fmt: skip


def complete(part: Any) -> None:
    """Write the missing values and ends of ties into a <part>."""
    divisions = Fraction(1)
    waiting: set[tuple[str, ...]] = set()  # ties that are open, by voice and pitch
    for measure in part.iterfind("measure"):
        alone = len(measure.findall("note")) == 1
        for child in measure:
            if child.tag == "attributes" and (text := child.findtext("divisions")):
                divisions = _number(text) or divisions
            elif child.tag == "note":
                if not (alone and child.find("rest") is not None):  # a whole-bar rest
                    _value(child, divisions)
                _tie(child, waiting)


def _value(note: Any, divisions: Fraction) -> None:
    from lxml import etree

    if note.find("type") is not None or note.find("duration") is None:
        return
    length = (_number(note.findtext("duration")) or Fraction(0)) / divisions
    changed = note.find("time-modification")
    if changed is not None:
        actual = _number(changed.findtext("actual-notes"))
        normal = _number(changed.findtext("normal-notes"))
        if actual and normal:
            length = length * actual / normal
    if length not in _DOTTED:
        return
    name, dots = _DOTTED[length]
    place = next((i for i, c in enumerate(note) if c.tag in _AFTER), len(note))
    value = etree.Element("type")
    value.text = name
    note[place:place] = [value, *(etree.Element("dot") for _ in range(dots))]


def _tie(note: Any, waiting: set[tuple[str, ...]]) -> None:
    from lxml import etree

    pitch = note.find("pitch")
    if pitch is None or note.find("grace") is not None:
        return
    key = (
        note.findtext("voice") or "",
        *(pitch.findtext(tag) or "" for tag in ("step", "alter", "octave")),
    )
    kinds = {tied.get("type") for tied in note.iterfind("notations/tied")}
    if key in waiting and not kinds & {"stop", "continue"}:
        notations = note.find("notations")
        if notations is None:
            notations = etree.Element("notations")
            place = next((i for i, c in enumerate(note) if c.tag == "lyric"), len(note))
            note.insert(place, notations)
        notations.append(etree.Element("tied", type="stop"))
    waiting.discard(key)
    if kinds & {"start", "continue"}:
        waiting.add(key)


def _number(text: str | None) -> Fraction | None:
    try:
        value = Fraction((text or "").strip()[:24])
    except (ValueError, ZeroDivisionError):
        return None
    return value if value > 0 else None
