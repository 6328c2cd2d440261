"""MusicXML trees: measures and notes in the reader's order, and where children belong.

Source: MusicXML 4.0, W3C Community Group 2021 (order of the elements in `note`).
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

from lxml import etree

from corpusreg.score.readers.musicxml.container import score_bytes
from corpusreg.score.readers.musicxml.records import number

__all__ = ["insert", "measures", "note_elements", "parsed", "parts", "remove", "timed"]

_ORDER = (
    "grace", "cue", "chord", "pitch", "unpitched", "rest", "duration", "tie", "instrument",
    "footnote", "level", "voice", "type", "dot", "accidental", "time-modification", "stem",
    "notehead", "notehead-text", "staff", "beam", "notations", "lyric", "play", "listen",
)  # fmt: skip
_RANK = {tag: rank for rank, tag in enumerate(_ORDER)}


def parsed(path: Path) -> etree._Element:
    """The root of a MusicXML file; bounds and errors are those of the reader."""
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False
    )
    for piece in score_bytes(path):
        parser.feed(piece)
    return parser.close()


def measures(root: etree._Element) -> Iterator[etree._Element]:
    """Elements that hold one bar of one part, in the order of the file."""
    timewise = root.tag == "score-timewise"
    yield from root.iterfind("measure/part" if timewise else "part/measure")


def note_elements(root: etree._Element) -> list[etree._Element]:
    """All notes in the order in which the reader counts them."""
    return [note for bar in measures(root) for note in bar.iterchildren("note")]


def parts(root: etree._Element) -> list[list[etree._Element]]:
    """The bars of each part."""
    if root.tag != "score-timewise":
        return [list(part.iterchildren("measure")) for part in root.iterchildren("part")]
    found: dict[str, list[etree._Element]] = {}
    for bar in measures(root):
        found.setdefault(bar.get("id", ""), []).append(bar)
    return list(found.values())


def insert(note: etree._Element, element: etree._Element) -> etree._Element:
    """Put a child into a note at its place; the child."""
    rank = _RANK[str(element.tag)]
    for child in note:
        if _RANK.get(str(child.tag), -1) > rank:
            child.addprevious(element)
            return element
    note.append(element)
    return element


def remove(element: etree._Element) -> None:
    """Take an element out, and what is empty without it, up to its note or direction."""
    parent = element.getparent()
    if parent is None:
        return
    parent.remove(element)
    if not len(parent) and parent.tag in ("articulations", "notations", "direction-type"):
        remove(parent)


def timed(
    bars: list[etree._Element],
) -> Iterator[tuple[tuple[int, Fraction], etree._Element]]:
    """Notes and directions of a part with their moments: bar, quarter notes in it."""
    divisions = Fraction(1)
    for index, bar in enumerate(bars):
        at = onset = Fraction(0)
        for child in bar:
            length = (number(child.findtext("duration")) or Fraction(0)) / divisions
            if child.tag == "attributes":
                divisions = number(child.findtext("divisions")) or divisions
            elif child.tag == "backup":
                at -= length
            elif child.tag == "forward":
                at += length
            elif child.tag == "direction":
                offset = (number(child.findtext("offset")) or Fraction(0)) / divisions
                yield (index, at + offset), child
            elif child.tag == "note":
                if child.find("chord") is None:
                    onset = at
                    at += length
                yield (index, onset), child
