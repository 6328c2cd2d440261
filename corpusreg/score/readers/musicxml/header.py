"""Part list, part groups and metadata of a MusicXML file.

Conventions: names are text with single spaces. `midi-program` is 1-128 in the
file and a General MIDI byte 0-127 in `Part`. Two one-staff parts in one brace
that are certainly the two hands of one keyboard or harp become one part.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from lxml import etree

from corpusreg.score.notes import Part
from corpusreg.score.readers.musicxml.records import integer

__all__ = ["Header", "PartHead", "hand_pairs", "plain_text"]

_KEYBOARD = re.compile(
    r"\b(piano|pianoforte|fortepiano|klavier|clavier|hammerklavier|hammerfl\w+gel|"
    r"harpsichord|cembalo|clavecin|clavichord|organ|orgel|orgue|organo|harmonium|"
    r"celesta|celeste|harp|harfe|harpe|arpa|keyboard)\b",
    re.IGNORECASE,
)
_RIGHT = re.compile(
    r"\b(right( hand)?|r\.? ?h\.?|upper|rechte( hand)?|m\.? ?d\.?)(?=\W|$)", re.I
)
_LEFT = re.compile(
    r"\b(left( hand)?|l\.? ?h\.?|lower|linke( hand)?|m\.? ?[gs]\.?)(?=\W|$)", re.I
)


@dataclass
class PartHead:
    """What the part list says about one part; instruments by id: unpitched or not."""

    id: str
    part: Part
    unpitched: dict[str, bool] = field(default_factory=dict)


@dataclass
class Header:
    """Parts in file order, the brace groups as index ranges, and metadata."""

    heads: list[PartHead] = field(default_factory=list)
    braces: list[tuple[int, int, str]] = field(default_factory=list)  # first, end, name
    written: dict[str, str] = field(default_factory=dict)  # metadata elements
    credits: dict[str, str] = field(default_factory=dict)  # words printed on the page

    def index(self, identity: str, occurrence: int) -> int:
        """Index of the part with this id (of several, by order); a new one if unlisted."""
        listed = [i for i, head in enumerate(self.heads) if head.id == identity]
        while len(listed) <= occurrence:
            listed.append(len(self.heads))
            self.heads.append(PartHead(identity, Part()))
        return listed[occurrence]

    def metadata(self) -> dict[str, str]:
        """Metadata, with words printed on the page where no element says it."""
        merged = dict(self.written)
        if "title" not in merged and "movement" in merged:
            merged["title"] = merged["movement"]
        return self.credits | merged

    def read_metadata(self, element: etree._Element) -> None:
        """Take a `work`, `movement-*`, `identification` or `credit` element."""
        if element.tag == "movement-title":
            _add(self.written, "movement", plain_text(element))
        elif element.tag == "movement-number":
            _add(self.written, "movement-number", plain_text(element))
        elif element.tag == "work":
            _add(self.written, "title", plain_text(element.find("work-title")))
            _add(self.written, "number", plain_text(element.find("work-number")))
        elif element.tag == "identification":
            _read_identification(element, self.written)
        elif element.tag == "credit":
            _read_credit(element, self.credits)

    def read_part_list(self, part_list: etree._Element) -> None:
        """Take parts and brace groups from a `part-list` element."""
        open_groups: dict[str, tuple[int, bool, str]] = {}
        for item in part_list:
            if item.tag == "score-part":
                self.heads.append(_part_head(item))
            elif item.tag == "part-group":
                number = item.get("number", "1")
                if item.get("type") == "start":
                    brace = plain_text(item.find("group-symbol")) == "brace"
                    name = plain_text(item.find("group-name"))
                    open_groups[number] = (len(self.heads), brace, name)
                elif number in open_groups:
                    first, brace, name = open_groups.pop(number)
                    if brace:
                        self.braces.append((first, len(self.heads), name))


def plain_text(element: etree._Element | None) -> str:
    """Text of an element and its children with single spaces."""
    if element is None:
        return ""
    return " ".join(" ".join(str(piece) for piece in element.itertext(etree.Element)).split())


def _part_head(item: etree._Element) -> PartHead:
    name = plain_text(item.find("part-name")) or plain_text(item.find("part-name-display"))
    if not name:
        name = plain_text(item.find("score-instrument/instrument-name"))
    program = integer(item.findtext("midi-instrument/midi-program"))
    unpitched = {i.get("id", ""): False for i in item.iterfind("score-instrument")}
    for instrument in item.iterfind("midi-instrument"):
        unpitched[instrument.get("id", "")] = instrument.find("midi-unpitched") is not None
    part = Part(
        name=name,
        abbreviation=plain_text(item.find("part-abbreviation")),
        sound_id=plain_text(item.find("score-instrument/instrument-sound")),
        program=program - 1 if program is not None and 1 <= program <= 128 else None,
    )
    return PartHead(item.get("id", ""), part, unpitched)


def hand_pairs(
    parts: Sequence[Part], staves: Sequence[int], braces: Sequence[tuple[int, int, str]]
) -> dict[int, str]:
    """Parts that are the right hand of the part after them: index and player's name."""
    pairs: dict[int, str] = {}
    for first, end, group in braces:
        if end - first != 2 or end > len(parts) or staves[first] > 1 or staves[first + 1] > 1:
            continue
        name = _player(parts[first].name, parts[first + 1].name, group)
        if name is not None:
            pairs[first] = name
    return pairs


def _player(upper: str, lower: str, group: str) -> str | None:
    """Name of the one player of two braced parts; None where that is not certain."""
    first = _RIGHT.sub("", upper).strip(" (),-")
    second = _LEFT.sub("", lower).strip(" (),-")
    hands = first != upper and second != lower
    if first and second and first.lower() != second.lower():
        return None
    for name in (first, second, group):
        if _KEYBOARD.search(name):
            return name
    return group or upper if hands and not first and not second else None


def _read_identification(element: etree._Element, metadata: dict[str, str]) -> None:
    for creator in element.iterfind("creator"):
        kind = (creator.get("type") or "creator").strip().lower()
        _add(metadata, "lyricist" if kind == "poet" else kind, plain_text(creator))
    for rights in element.iterfind("rights"):
        _add(metadata, "rights", plain_text(rights))
    for source in element.iterfind("source"):
        _add(metadata, "source", plain_text(source))
    for software in element.iterfind("encoding/software"):
        _add(metadata, "encoder", plain_text(software))
    for date in element.iterfind("encoding/encoding-date"):
        _add(metadata, "encoding-date", plain_text(date))
    for record in element.iterfind("miscellaneous/miscellaneous-field"):
        _add(metadata, f"misc:{record.get('name', '')}", plain_text(record))


def _read_credit(element: etree._Element, credits: dict[str, str]) -> None:
    kind = plain_text(element.find("credit-type")).lower()
    if kind in ("title", "subtitle", "composer", "lyricist", "arranger", "rights"):
        words = " ".join(plain_text(word) for word in element.iterfind("credit-words"))
        _add(credits, kind, words)


def _add(metadata: dict[str, str], key: str, text: str) -> None:
    if text and text not in metadata.get(key, "").split("; "):
        metadata[key] = f"{metadata[key]}; {text}" if key in metadata else text
