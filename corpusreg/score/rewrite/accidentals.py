"""Accidentals that a moved note needs on the page because it left its octave.

An accidental holds for its staff, step and octave until the barline (common practice,
no source). Only what the page did not lack before is added; nothing is taken away.
"""

from __future__ import annotations

from lxml import etree

from corpusreg.score.readers.musicxml.records import integer
from corpusreg.score.rewrite.tree import insert, timed

__all__ = ["Keys", "add_accidentals", "keys_of", "missing"]

# Sharps (1) or flats (-1) of each staff at the beginning of a bar; '' for all staves.
Keys = dict[str, int]
_SHARPS = "FCGDAEB"
_NAMES = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}


def keys_of(bars: list[etree._Element]) -> list[Keys]:
    """Fifths in force in each bar of a part, by staff."""
    now: Keys = {"": 0}
    found = []
    for bar in bars:
        for key in bar.iterfind("attributes/key"):
            staff = key.get("number", "")
            now = {} if not staff else dict(now)
            now[staff] = integer(key.findtext("fifths")) or 0
        found.append(now)
    return found


def missing(bar: etree._Element, keys: Keys) -> set[etree._Element]:
    """Notes of a bar that have no accidental and would be read at another pitch."""
    now: dict[tuple[str, str, str], int] = {}
    lacking = set()
    for _, note in sorted(timed([bar]), key=lambda pair: pair[0]):
        pitch = note.find("pitch")
        if pitch is None:
            continue
        staff = note.findtext("staff", "1")
        step, octave = pitch.findtext("step", "").strip(), pitch.findtext("octave", "").strip()
        alter = integer(pitch.findtext("alter") or "0")
        place = (staff, step, octave)
        expected = now.get(place, _signed(step, keys.get(staff, keys.get("", 0))))
        if alter is None or (note.find("accidental") is None and _held(note)):
            continue
        if note.find("accidental") is None and alter != expected:
            lacking.add(note)
        now[place] = alter
    return lacking


def add_accidentals(bar: etree._Element, keys: Keys, before: set[etree._Element]) -> None:
    """Write the accidentals that notes lack now and did not lack `before`."""
    for note in missing(bar, keys) - before:
        name = _NAMES.get(integer(note.findtext("pitch/alter") or "0") or 0)
        if name:
            accidental = etree.Element("accidental")
            accidental.text = name
            insert(note, accidental)


def _signed(step: str, fifths: int) -> int:
    """What the key signature does to a step."""
    if not step or step not in _SHARPS:
        return 0
    place = _SHARPS.index(step)
    if fifths >= 0:
        return int(place < fifths)
    return -int(6 - place < -fifths)


def _held(note: etree._Element) -> bool:
    """Tied from before: its accidental, if any, stands at its beginning."""
    return any(tie.get("type") == "stop" for tie in note.iterchildren("tie"))
