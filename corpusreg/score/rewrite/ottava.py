"""Octave-shift lines over moved notes.

The pitch under such a line already sounds (MusicXML 4.0, W3C Community Group 2021,
"octave-shift"): where everything under it moves the way the line shows, the line becomes
shorter by as many octaves or goes. Lines over notes that move apart stay.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction

from lxml import etree

from corpusreg.score.rewrite.tree import parts, remove, timed

__all__ = ["shift_lines"]

# Octaves between what is printed under a line and what sounds, by its size.
_OCTAVES = {"8": 1, "15": 2, "22": 3}
_SIZES = {octaves: size for size, octaves in _OCTAVES.items()}
Moment = tuple[int, Fraction]


def shift_lines(root: etree._Element, moves: Mapping[etree._Element, int]) -> None:
    """Adapt all lines; `moves` gives the octaves by which notes will move."""
    for bars in parts(root):
        if any(bar.find("direction/direction-type/octave-shift") is not None for bar in bars):
            _part(bars, moves)


def _part(bars: list[etree._Element], moves: Mapping[etree._Element, int]) -> None:
    things = list(timed(bars))
    notes = [
        (at, note.findtext("staff", "1"), moves.get(note, 0))
        for at, note in things
        if note.tag == "note" and note.find("pitch") is not None
    ]
    for staff, begin, end, signs in _lines(things):
        under = {octaves for at, own, octaves in notes if own == staff and begin <= at < end}
        if len(under) == 1:
            _adapt(signs, under.pop())


def _lines(
    things: list[tuple[Moment, etree._Element]],
) -> Iterator[tuple[str, Moment, Moment, list[etree._Element]]]:
    """Staff, begin, end and all signs of every closed line."""
    open_lines: dict[tuple[str, str], tuple[Moment, list[etree._Element]]] = {}
    for at, thing in sorted(things, key=lambda pair: pair[0]):
        staff = thing.findtext("staff", "1")
        for sign in thing.iterfind("direction-type/octave-shift"):
            key = staff, sign.get("number", "1")
            if sign.get("type") in ("up", "down"):
                open_lines[key] = at, [sign]
            elif key in open_lines:
                open_lines[key][1].append(sign)
                if sign.get("type") == "stop":
                    begin, signs = open_lines.pop(key)
                    yield staff, begin, at, signs


def _adapt(signs: list[etree._Element], octaves: int) -> None:
    # 'down' means that the notes are printed lower than they sound.
    raised = _OCTAVES.get(signs[0].get("size", "8"), 1)
    if signs[0].get("type") == "up":
        raised = -raised
    if octaves * raised >= 0:
        return
    left = raised + octaves if abs(octaves) < abs(raised) else 0
    for sign in signs:
        if left:
            sign.set("size", _SIZES[abs(left)])
        else:
            _drop(sign)


def _drop(sign: etree._Element) -> None:
    """Take a sign out, and its direction where nothing else is in it."""
    direction = next(sign.iterancestors("direction"))
    remove(sign)
    if direction.find("direction-type") is not None:
        return
    parent, sound = direction.getparent(), direction.find("sound")
    if parent is None:
        return
    if sound is not None:
        direction.addprevious(sound)
    parent.remove(direction)
