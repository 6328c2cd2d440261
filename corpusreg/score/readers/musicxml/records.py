"""What one pass over the file collects of each part, and where the pass stands.

Conventions: a `Position` is a bar index, an offset inside the bar, and the unit
of that offset: `unit` of them are one quarter note. The unit of a part is the
least common multiple of all `divisions` met so far in it, so that offsets
stay exact integers when divisions change, also inside a bar. It is bounded:
beyond MAX_UNIT times are rounded, and counted. The score's common tick
is known only when the whole file has been seen.

Part list, groups and metadata: names are text with single spaces. `midi-program` is 1-128
in the file and a General MIDI byte 0-127 in `Part`. Two one-staff parts in one brace that
are certainly the two hands of one keyboard or harp become one part.
"""

from __future__ import annotations

import re
from array import array
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from math import lcm
from typing import Any, NamedTuple

from lxml import etree

from corpusreg.score.notes import NOTE_DTYPE, Part, Sign

__all__ = [
    "MAX_QUARTERS", "MAX_UNIT", "ROW", "Cursor", "Header", "Marks", "Metre", "PartHead",
    "PartRecord", "Position", "RawDynamic", "ReadTally", "hand_pairs", "integer", "number",
    "plain_text", "whole", "written_pitch",
]  # fmt: skip

ROW = len(NOTE_DTYPE.names or ()) + 1  # numbers in a row of PartRecord.rows
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


class Position(NamedTuple):
    """A moment: `offset` / `unit` quarter notes after the beginning of `bar`."""

    bar: int
    offset: int
    unit: int


@dataclass(frozen=True)
class Metre:
    """Pairs of numerator and denominator; none for senza misura."""

    pairs: tuple[tuple[int, int], ...]

    @property
    def quarters(self) -> Fraction:
        """Length of a full bar in quarter notes."""
        return sum((Fraction(4 * top, bottom) for top, bottom in self.pairs), Fraction(0))


@dataclass
class RawBar:
    """One measure of one part; extents in `unit`s from its beginning."""

    label: str
    implicit: bool
    unit: int = 1
    extent: int = 0  # furthest moment reached by notes and forwards
    rest_extent: int = 0  # the same for rests
    whole_extent: int = 0  # the same for rests from the barline on, perhaps whole-bar rests

    def refine(self, unit: int) -> None:
        """Count in a finer unit, a multiple of the present one."""
        growth = unit // self.unit
        self.extent *= growth
        self.rest_extent *= growth
        self.whole_extent *= growth
        self.unit = unit


@dataclass
class RawDynamic:
    """A dynamic mark or hairpin; `end` stays None while it is open."""

    at: Position
    kind: str
    mark: str = ""
    velocity: float | None = None
    staff: int = 0
    end: Position | None = None


@dataclass
class ReadTally:
    """What was lost, left out or taken for granted so far."""

    lost: Counter[str] = field(default_factory=Counter)
    left_out: Counter[str] = field(default_factory=Counter)
    assumed: dict[str, None] = field(default_factory=dict)
    notes: int = 0  # note elements met, of any kind


@dataclass
class PartRecord:
    """One part as read.

    rows: for each note the columns of NOTE_DTYPE, with the onset inside the bar, and the
    unit of its times, one after the other.
    """

    index: int
    rows: array[int] = field(default_factory=lambda: array("q"))
    bars: list[RawBar] = field(default_factory=list)
    metres: list[tuple[int, Metre]] = field(default_factory=list)  # (bar, metre)
    keys: list[tuple[int, str]] = field(default_factory=list)  # (bar, fifths)
    dynamics: list[RawDynamic] = field(default_factory=list)
    pedals: list[tuple[Position, Position | None]] = field(default_factory=list)
    staves: int = 1
    lyrics: int = 0  # notes with words under them
    voices: dict[str | None, int] = field(default_factory=dict)

    @property
    def notes(self) -> int:
        """Number of notes so far."""
        return len(self.rows) // ROW


@dataclass
class Marks:
    """What holds for the whole score, whichever part it is written in."""

    tempos: list[tuple[int, Position, float]] = field(default_factory=list)  # with part
    jumps: list[tuple[Position, str]] = field(default_factory=list)
    coda_signs: list[Position] = field(default_factory=list)  # sign without a `sound`
    rehearsals: list[tuple[Position, str]] = field(default_factory=list)
    sections: set[int] = field(default_factory=set)
    repeat_start: set[int] = field(default_factory=set)
    repeat_end: dict[int, int] = field(default_factory=dict)  # times, 0 where not written
    ending_start: dict[int, tuple[int, ...]] = field(default_factory=dict)
    ending_stop: set[int] = field(default_factory=set)
    verses: defaultdict[int, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    signs: dict[Sign, None] = field(default_factory=dict)  # in order of the parts, each once


@lru_cache(maxsize=1024)
def integer(text: str | None) -> int | None:
    """A whole number as people write it ('4', ' 4 ', '4.0'), else None."""
    value = number(text)
    return int(value) if value is not None and value.denominator == 1 else None


@lru_cache(maxsize=4096)
def written_pitch(step: str, alter: str | None, octave: str) -> Fraction | int | None:
    """Pitch number; a whole one is an int, which is what makes it fast."""
    base, height = _STEPS.get(step.strip().upper()), integer(octave)
    change = Fraction(0) if not (alter or "").strip() else number(alter)
    if base is None or height is None or change is None:
        return None
    return whole(12 * (height + 1) + base + change)


def whole(value: Fraction) -> Fraction | int:
    """The value, as an int where it is one."""
    return value.numerator if value.denominator == 1 else value


def number(text: str | None) -> Fraction | None:
    """A decimal number of ordinary size, exactly, else None."""
    text = (text or "").strip()
    if not text or len(text) > 24 or "/" in text or "e" in text.lower():
        return None
    try:
        return Fraction(text)
    except ValueError:
        return None


MAX_UNIT = 100_000_000
MAX_QUARTERS = 4096  # no single duration or bar is longer than this


class Cursor:
    """The moment reached in one part, and what is collected there."""

    def __init__(self, record: PartRecord, marks: Marks, tally: ReadTally) -> None:
        self.record, self.marks, self.tally = record, marks, tally
        self.bar = -1  # index of the bar being read
        self.unit = 1
        self.offset = 0
        self.chord_onset = 0
        self._divisions = Fraction(1)
        self.scale: Fraction | int = 1  # units in one division; a whole one is an int

    def here(self, offset: int = 0) -> Position:
        """The moment reached, moved by `offset` units."""
        return Position(self.bar, self.offset + offset, self.unit)

    def begin_bar(self, label: str, implicit: bool) -> None:
        """Go to the beginning of a new bar."""
        self.record.bars.append(RawBar(label, implicit, self.unit))
        self.bar += 1
        self.offset = self.chord_onset = 0

    def units(self, text: str | None) -> int | None:
        """A time written in divisions, in units; None where it is no sane number."""
        try:
            value: Any = int(text) * self.scale  # type: ignore[arg-type]
        except (TypeError, ValueError):
            exact = number(text)
            if exact is None:
                return None
            if exact.denominator > 1:
                self._refine(exact.denominator)
            value = exact * self.scale
        if type(value) is not int:
            whole = round(value)
            if whole != value:
                self.tally.lost["a time rounded, divisions too fine to be exact"] += 1
            value = whole
        return value if abs(value) <= MAX_QUARTERS * self.unit else None

    def set_divisions(self, text: str | None) -> None:
        """Take a new number of divisions in a quarter note."""
        value = number(text)
        if value is None or not 0 < value <= 1_000_000:
            self.tally.lost["divisions that are no sane number, the last ones kept"] += 1
            return
        self._divisions = value
        self._refine(1)

    def _refine(self, factor: int) -> None:
        """Make the unit finer so that 1 / `factor` divisions are whole units."""
        finer = lcm(self.unit, self._divisions.numerator * factor)
        if finer <= MAX_UNIT and finer != self.unit:
            growth = finer // self.unit
            self.offset *= growth
            self.chord_onset *= growth
            self.unit = finer
            if self.record.bars:
                bar = self.record.bars[-1]
                bar.refine(finer)
        scale = self.unit / self._divisions
        self.scale = int(scale) if scale.denominator == 1 else scale

    def advance(self, units: int) -> None:
        """Go on by `units`; the bar reaches at least there."""
        self.offset += units
        if self.offset > MAX_QUARTERS * self.unit:
            self.tally.lost["a bar longer than 4096 quarter notes, cut there"] += 1
            self.offset = MAX_QUARTERS * self.unit
        bar = self.record.bars[-1]
        if self.offset > bar.extent:
            bar.extent = self.offset

    def reach(self, offset: int) -> None:
        """Something sounds until `offset`, so the bar is at least that long."""
        bar = self.record.bars[-1]
        bar.extent = max(bar.extent, offset)

    def rest(self, units: int, from_barline: bool) -> None:
        """Go on by a rest; one from the barline on may stand for the whole bar."""
        bar = self.record.bars[-1]
        self.offset = min(self.offset + units, MAX_QUARTERS * self.unit)
        if from_barline:
            bar.whole_extent = max(bar.whole_extent, self.offset)
        else:
            bar.rest_extent = max(bar.rest_extent, self.offset)

    def back(self, units: int) -> None:
        """Go back, not beyond the barline."""
        if units > self.offset:
            self.tally.lost["a backup to before its bar, stopped at the barline"] += 1
        self.offset = max(0, self.offset - units)


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
