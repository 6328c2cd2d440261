"""What a MusicXML file may leave out and the engraver needs.

A note without <type> gets the value that its duration says, dots included; a tie that
begins and has no end written at the note it leads to gets one; notes of changed value
(<time-modification>) without a bracket are grouped into tuplets.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

__all__ = ["DOTTED", "TYPES", "complete"]

TYPES = {
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
DOTTED = {
    value * (2 - Fraction(1, 2**dots)): (name, dots)
    for dots in (2, 1, 0)
    for value, name in TYPES.items()
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
        _group(measure)


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
    if length not in DOTTED:
        return
    name, dots = DOTTED[length]
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
        _notations(note).append(etree.Element("tied", type="stop"))
    waiting.discard(key)
    if kinds & {"start", "continue"}:
        waiting.add(key)


def _group(measure: Any) -> None:
    """Mark the first and last note of each tuplet in a bar that marks none."""
    if measure.find("note/notations/tuplet") is not None:
        return
    runs: dict[str, list[Any]] = {}  # notes of the tuplet that is open, by voice
    lengths: dict[str, Fraction] = {}
    for note in measure.iterfind("note"):
        if note.find("chord") is not None or note.find("grace") is not None:
            continue
        voice = note.findtext("voice") or ""
        actual = _number(note.findtext("time-modification/actual-notes"))
        if actual is None:
            _bracket(runs.pop(voice, []))
            continue
        run = runs.setdefault(voice, [])
        run.append(note)
        length = _written(note) + (lengths[voice] if len(run) > 1 else 0)
        lengths[voice] = length
        # Full when as many equal notes as the tuplet counts would be as long.
        if length / actual in TYPES:
            _bracket(runs.pop(voice))
    for run in runs.values():
        _bracket(run)


def _written(note: Any) -> Fraction:
    names = {name: value for value, name in TYPES.items()}
    value = names.get(note.findtext("type") or "", Fraction(0))
    return value * (2 - Fraction(1, 2 ** len(note.findall("dot"))))


def _bracket(run: list[Any]) -> None:
    from lxml import etree

    if not run:
        return
    for note, kind in ((run[0], "start"), (run[-1], "stop")):
        _notations(note).append(etree.Element("tuplet", type=kind, bracket="no"))


def _notations(note: Any) -> Any:
    """The <notations> of a note, made where there are none."""
    from lxml import etree

    found = note.find("notations")
    if found is None:
        found = etree.Element("notations")
        note.insert(next((i for i, c in enumerate(note) if c.tag == "lyric"), len(note)), found)
    return found


def _number(text: str | None) -> Fraction | None:
    try:
        value = Fraction((text or "").strip()[:24])
    except (ValueError, ZeroDivisionError):
        return None
    return value if value > 0 else None
