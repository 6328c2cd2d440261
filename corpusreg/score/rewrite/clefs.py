"""Clefs for bars whose notes have left their staff.

A clef is set, from one barline to another, where the moved notes of a staff would need
more than LEDGERS ledger lines on average and the treble or bass clef needs less than half
as many. It is kept through rests, and while moved notes need no more ledger lines in it
than in their own, so that clefs do not come and go. Parts with octave-shift lines are left:
what is printed there lies elsewhere.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass

from lxml import etree

from corpusreg.score.readers.musicxml.records import integer

__all__ = ["LEDGERS", "set_clefs"]

LEDGERS = 3.0
_STEPS = "CDEFGAB"
# Place of the note that a clef names, in steps from C0.
_NAMED = {"G": 32, "F": 24, "C": 28}
_LINES = {"G": 2, "F": 4, "C": 3}  # where it stands if nothing says so


@dataclass(frozen=True)
class _Clef:
    sign: str
    line: int
    octaves: int = 0

    @property
    def lowest_line(self) -> int | None:
        """Steps from C0 to the lowest line, None for a clef that names no pitch."""
        if self.sign not in _NAMED:
            return None
        return _NAMED[self.sign] - 2 * (self.line - 1) + 7 * self.octaves


_OFFERED = (_Clef("G", 2), _Clef("F", 4))


def set_clefs(bars: list[etree._Element], moved: Container[etree._Element]) -> None:
    """Set clefs in one part. moved: its notes that have moved already."""
    if any(bar.find("direction/direction-type/octave-shift") is not None for bar in bars):
        return
    staves = {note.findtext("staff", "1") for bar in bars for note in bar.iterchildren("note")}
    for staff in sorted(staves):
        _staff(bars, staff, moved)


def _staff(bars: list[etree._Element], staff: str, moved: Container[etree._Element]) -> None:
    written = _Clef("G", 2)
    now: _Clef | None = None  # set here and still in force
    for bar in bars:
        own = [c for c in bar.iterfind("attributes/clef") if c.get("number", "1") == staff]
        clefs = [_read(c) for c in own]
        wanted = _wanted(bar, staff, clefs[0] if clefs else written, now, moved)
        if not clefs and wanted != now:
            _put(bar, staff, wanted or written)
        elif len(own) == 1 and _leads(own[0]):
            if wanted:
                _name(own[0], wanted)
        elif clefs:
            wanted = None  # it changes in this bar anyway
        now = wanted
        if clefs:
            written = clefs[-1]


def _leads(clef: etree._Element) -> bool:
    """Whether a clef stands before all notes of its bar."""
    attributes = clef.getparent()
    return attributes is not None and not any(
        True for _ in attributes.itersiblings("note", preceding=True)
    )


def _wanted(
    bar: etree._Element,
    staff: str,
    clef: _Clef,
    now: _Clef | None,
    moved: Container[etree._Element],
) -> _Clef | None:
    """The clef that a bar asks for in place of its own. now: that of the bar before it."""
    notes = [
        note
        for note in bar.iterchildren("note")
        if note.findtext("staff", "1") == staff and note.find("pitch") is not None
    ]
    if not notes:
        return None if now == clef else now
    if clef.lowest_line is None or not any(note in moved for note in notes):
        return None
    places = [_place(note) for note in notes]
    need = _ledgers(places, clef)
    if now and now != clef and _ledgers(places, now) <= need:
        return now
    best = min(_OFFERED, key=lambda other: _ledgers(places, other))
    return best if need > LEDGERS and 2 * _ledgers(places, best) < need else None


def _place(note: etree._Element) -> int:
    """Steps from C0."""
    step = note.findtext("pitch/step", "C").strip().upper()
    return 7 * (integer(note.findtext("pitch/octave")) or 0) + max(_STEPS.find(step), 0)


def _ledgers(places: list[int], clef: _Clef) -> float:
    """Ledger lines that a note needs on average."""
    low = clef.lowest_line or 0
    return sum(max((low - p) // 2, (p - low - 8) // 2, 0) for p in places) / len(places)


def _read(element: etree._Element) -> _Clef:
    sign = element.findtext("sign", "").strip()
    line = integer(element.findtext("line")) or _LINES.get(sign, 1)
    return _Clef(sign, line, integer(element.findtext("clef-octave-change")) or 0)


def _put(bar: etree._Element, staff: str, clef: _Clef) -> None:
    attributes = etree.Element("attributes")
    _name(etree.SubElement(attributes, "clef", number=staff), clef)
    # After what stands at the head of the bar: layout, key, metre.
    head = 0
    for child in bar:
        if child.tag not in ("print", "attributes", "barline") and isinstance(child.tag, str):
            break
        head += 1
    bar.insert(head, attributes)


def _name(element: etree._Element, clef: _Clef) -> None:
    """Make an element say a clef."""
    for child in list(element):
        element.remove(child)
    etree.SubElement(element, "sign").text = clef.sign
    if clef.sign in _LINES:
        etree.SubElement(element, "line").text = str(clef.line)
    if clef.octaves:
        etree.SubElement(element, "clef-octave-change").text = str(clef.octaves)
