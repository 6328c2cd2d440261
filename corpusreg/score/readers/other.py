"""MEI and whatever else music21 reads.

Of MEI music21 gives the notes; it passes over braces, labels of staves, the title of the
file, dynamics and pedal (version 10.5). Staves, names and titles are read here;
dynamics, hairpins and pedal are only counted, so that their loss can be told.

music21 reads the file; this module only carries its objects over. It runs where
it can be stopped (a worker process), since music21 bounds neither time nor size.

Conventions: bars of all parts are laid side by side by their place in the part,
so that a bar that is short in one part does not move the rest; transposing parts
are turned to concert pitch; staves that a brace joins are one part.
"""

from __future__ import annotations

import contextlib
import io
import warnings
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import lcm
from pathlib import Path
from typing import Any

import numpy as np

from corpusreg.score.notes import Bars, Dynamic, Part, Score, Tempo, felt_beat, note_table
from corpusreg.system.errors import ReadError

__all__ = ["read_all_with_music21"]

_UNREAD = {
    "dynam": "dynamics (music21 does not read them from MEI)",
    "hairpin": "hairpins (music21 does not read them from MEI)",
    "pedal": "pedal marks (music21 does not read them from MEI)",
}
_VARIANTS = frozenset(("rdg", "sic", "abbr", "orig"))  # the other reading is the text


@dataclass
class MeiFacts:
    """Facts of one MEI file.

    braces: for each staff in score order, the number of its brace, or -1. names:
    its label. notes: pitched notes in the text, readings counted once.
    """

    braces: list[int] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    metadata: dict[str, str] = field(default_factory=dict)
    unread: dict[str, int] = field(default_factory=dict)
    notes: int = 0


def read_facts(path: Path) -> MeiFacts:
    """Read the facts; entities are not expanded and nothing is fetched.

    What is not well formed is passed over here: music21 decides what it refuses.
    """
    from lxml import etree

    # recover: many files have xml:id values that begin with a digit, which lxml refuses
    parser = etree.XMLParser(resolve_entities=False, no_network=True, recover=True)
    root = etree.parse(str(path), parser).getroot()
    facts = MeiFacts()
    if root is None:
        return facts
    braces: dict[Any, int] = {}
    seen: set[str] = set()
    counts: Counter[str] = Counter()
    for element in root.iter("{*}*"):
        tag = etree.QName(element).localname
        if tag == "staffDef" and element.get("n") not in seen:
            seen.add(element.get("n"))
            groups = [g for g in element.iterancestors("{*}staffGrp") if _is_braced(g)]
            group = groups[0] if groups else None
            number = -1 if group is None else braces.setdefault(group, len(braces))
            facts.braces.append(number)
            facts.names.append(_label(element) or ("" if group is None else _label(group)))
        elif tag in _UNREAD:
            counts[_UNREAD[tag]] += 1
        elif tag == "note" and not _is_variant(element):
            facts.notes += 1
    facts.unread = dict(counts)
    facts.metadata = _titles(root)
    return facts


def _is_braced(group: Any) -> bool:
    """Whether a brace stands before the staves: an attribute, or an element since MEI 4."""
    sign = group.find("{*}grpSym")
    return "brace" in (group.get("symbol"), None if sign is None else sign.get("symbol"))


def _label(element: Any) -> str:
    child = element.find("{*}label")
    text = element.get("label") or ("" if child is None else "".join(child.itertext()))
    return " ".join(text.split())


def _is_variant(element: Any) -> bool:
    return any(a.tag.rpartition("}")[2] in _VARIANTS for a in element.iterancestors("{*}*"))


def _titles(root: Any) -> dict[str, str]:
    found: dict[str, str] = {}
    for key, paths in (
        ("title", (".//{*}fileDesc/{*}titleStmt/{*}title",)),
        (
            "composer",
            (
                ".//{*}titleStmt/{*}composer",
                ".//{*}titleStmt/{*}respStmt/{*}persName[@role='composer']",
            ),
        ),
        ("rights", (".//{*}pubStmt/{*}availability",)),
    ):
        elements = (root.find(path) for path in paths)
        texts = (" ".join("".join(e.itertext()).split()) for e in elements if e is not None)
        if text := next(filter(None, texts), ""):
            found[key] = text
    return found


_MOST_TICKS = 2**40
_DOTS = frozenset(("Staccato", "Staccatissimo", "Spiccato"))
_JUMPS = {
    "Segno": "segno",
    "Coda": "coda",
    "Fine": "fine",
    "DaCapo": "dacapo",
    "DaCapoAlFine": "dacapo",
    "DaCapoAlCoda": "dacapo",
    "DalSegno": "dalsegno",
    "DalSegnoAlFine": "dalsegno",
    "DalSegnoAlCoda": "dalsegno",
}


def read_all_with_music21(path: Path, family: str = "") -> list[Score]:
    """All works in a file that music21 reads, in file order.

    family: 'mei', 'capella', 'noteworthy', 'tinynotation', or '' to go by the
    suffix. Raises ReadError.
    """
    # music21 lets errors of every kind through from its parsers and from xml and
    # zip modules underneath, so nothing narrower than Exception can be named here.
    try:
        with _quiet():
            mei = family == "mei" or path.suffix.lower() == ".mei"
            facts = read_facts(path) if mei else MeiFacts()
            works = [_Work(stream, facts) for stream in _parse(path, family)]
            return [work.score(path, family) for work in works]
    except ReadError:
        raise
    except Exception as error:
        reason = " ".join(str(error).split())[:200] or type(error).__name__
        raise ReadError(f"{path}: music21 cannot read it ({reason})") from error


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep the library's remarks off the screen."""
    with (
        warnings.catch_warnings(),
        contextlib.redirect_stdout(io.StringIO()),
        contextlib.redirect_stderr(io.StringIO()),
    ):
        warnings.simplefilter("ignore")
        yield


def _parse(path: Path, family: str) -> list[Any]:
    from music21 import converter, stream

    # Without forceSource a pickle of an earlier reading would be written and used.
    kind = {"noteworthy": "noteworthytext"}.get(family, family) or None
    found = converter.parse(path, format=kind, forceSource=True, storePickle=False)
    works = list(found.scores) if isinstance(found, stream.Opus) else [found]
    if not works:
        raise ReadError(f"{path}: music21 finds no work in it")
    return works


def _exact(value: Any) -> Fraction:
    """A music21 time as a fraction of a quarter note, exactly as it holds it."""
    return Fraction(value)


@dataclass
class _Note:
    """A note before ticks are known; times in quarter notes."""

    seat: tuple[int, int, int]
    bar: int
    offset: Fraction
    length: Fraction
    pitch: int
    flags: tuple[bool, bool, bool, bool]


@dataclass
class _Work:
    """One music21 stream on its way to a Score."""

    stream: Any
    facts: MeiFacts
    notes: list[_Note] = field(default_factory=list)
    left_out: dict[str, int] = field(default_factory=dict)
    lost: dict[str, int] = field(default_factory=dict)
    assumed: list[str] = field(default_factory=list)
    sung: Counter[int] = field(default_factory=Counter)  # notes with words under them, by part

    def score(self, path: Path, family: str) -> Score:
        staves = self._staves()
        self.measures = [list(s.getElementsByClass("Measure")) for s in staves]
        if not any(self.measures):
            raise ReadError(f"{path}: music21 finds no bars in it")
        parts, self.seats = self._parts(staves)
        for index, measures in enumerate(self.measures):
            for bar, measure in enumerate(measures):
                self._read_measure(index, bar, measure)
        self.lead = max(self.measures, key=len)
        lengths, metres = self._lengths()
        self.ticks = self._resolution(path, lengths, metres)
        read = len(self.notes) + sum(self.left_out.values()) + sum(self.lost.values())
        self.lost |= self.facts.unread
        if read < self.facts.notes:
            self.lost["notes in the file that were not read"] = self.facts.notes - read
        bars = self._bars(lengths, metres)
        self.start = bars.start
        return Score(
            ticks=self.ticks,
            parts=tuple(replace(part, lyrics=self.sung[n]) for n, part in enumerate(parts)),
            bars=bars,
            notes=note_table([self._row(note) for note in self.notes]),
            dynamics=tuple(self._dynamics(staves)),
            tempos=tuple(self._tempos()),
            metadata=self._metadata(path),
            assumed=tuple(self.assumed),
            lost=self.lost,
            left_out=self.left_out,
            format=family or path.suffix.lower().lstrip("."),
        )

    def _staves(self) -> list[Any]:
        """Staves in score order, at concert pitch and in bars."""
        sounding = self.stream.toSoundingPitch()
        self.stream = sounding
        staves = list(sounding.parts) if sounding.hasPartLikeStreams() else [sounding]
        return [s if s.hasMeasures() else s.makeMeasures() for s in staves]

    def _parts(self, staves: list[Any]) -> tuple[tuple[Part, ...], list[tuple[int, int]]]:
        """Parts, and (part, staff) of each staff."""
        braced = self._braces(staves)
        names = self.facts.names if len(self.facts.names) == len(staves) else [""] * len(staves)
        parts: list[Part] = []
        seats: list[tuple[int, int]] = []
        last = -1
        for staff, group, name in zip(staves, braced, names, strict=True):
            if group >= 0 and group == last:
                seats.append((len(parts) - 1, seats[-1][1] + 1))
                parts[-1] = replace(parts[-1], staves=seats[-1][1])
            else:
                parts.append(_part(staff, name))
                seats.append((len(parts) - 1, 1))
            last = group
        return tuple(parts), seats

    def _braces(self, staves: list[Any]) -> list[int]:
        """For each staff the number of the brace it stands in, or -1."""
        if len(self.facts.braces) == len(staves):
            return self.facts.braces
        groups = [
            list(group.getSpannedElements())
            for group in self.stream.recurse().getElementsByClass("StaffGroup")
            if group.symbol == "brace"
        ]
        braced = {id(s): n for n, group in enumerate(groups) for s in group}
        return [braced.get(id(staff), -1) for staff in staves]

    def _read_measure(self, index: int, bar: int, measure: Any) -> None:
        voices = list(measure.voices)
        for number, holder in enumerate([measure, *voices]):
            for element in holder.notes:
                offset = _exact(element.offset) + (_exact(holder.offset) if number else 0)
                self._read_note(index, bar, max(number - 1, 0), element, offset)

    def _read_note(
        self, index: int, bar: int, voice: int, element: Any, offset: Fraction
    ) -> None:
        kind = _left_out(element)
        if kind:
            self.left_out[kind] = self.left_out.get(kind, 0) + 1
            return
        part, staff = self.seats[index]
        self.sung[part] += any(words.text for words in element.lyrics)
        grace = bool(element.duration.isGrace)
        heads = element.notes if element.isChord else (element,)
        marks = (mark for each in (element, *heads) for mark in each.articulations)
        dotted = any(type(mark).__name__ in _DOTS for mark in marks)
        length = Fraction(0) if grace else _exact(element.duration.quarterLength)
        for head in heads:
            tie = head.tie.type if head.tie else ""
            flags = (grace, tie in ("stop", "continue"), tie in ("start", "continue"), dotted)
            pitch = round(head.pitch.ps)
            if 0 <= pitch <= 127:
                seat = part, staff, 16 * (staff - 1) + voice
                self.notes.append(_Note(seat, bar, offset, length, pitch, flags))
            else:
                reason = "notes outside MIDI range"
                self.lost[reason] = self.lost.get(reason, 0) + 1

    def _lengths(self) -> tuple[list[Fraction], list[tuple[int, int]]]:
        """Length in quarter notes and metre of each bar."""
        count = len(self.lead)
        lengths = [Fraction(0)] * count
        metres: list[tuple[int, int]] = []
        now = (4, 4)
        if not any(m.timeSignature for m in self.lead):
            self.assumed.append("no metre written: read as 4/4")
        for bar in range(count):
            here = [m[bar] for m in self.measures if bar < len(m)]
            signs = (m.timeSignature for m in here)
            sign = next((s for s in signs if s is not None and s.numerator), None)
            now = (sign.numerator, sign.denominator) if sign is not None else now
            metres.append(now)
            longest = max(_exact(m.highestTime) for m in here)
            lengths[bar] = longest or Fraction(4 * now[0], now[1])
        return lengths, metres

    def _resolution(
        self, path: Path, lengths: list[Fraction], metres: list[tuple[int, int]]
    ) -> int:
        """Ticks per quarter note such that every length and place is an integer."""
        found = {4} | {length.denominator for length in lengths}
        for note in self.notes:
            found |= {note.offset.denominator, note.length.denominator}
        found |= {Fraction(4, denominator).denominator for _, denominator in metres}
        ticks = lcm(*found)
        if ticks > _MOST_TICKS:
            raise ReadError(f"{path}: the note values have no common unit")
        return ticks

    def _bars(self, lengths: list[Fraction], metres: list[tuple[int, int]]) -> Bars:
        count = len(self.lead)
        full = [4 * self.ticks * over // under for over, under in metres]
        beat = [felt_beat(over, under, self.ticks) for over, under in metres]
        start, section = np.zeros(count, bool), np.zeros(count, bool)
        end = np.zeros(count, np.int64)
        marks: list[set[str]] = [set() for _ in range(count)]
        for bar, measure in enumerate(self.lead):
            left, right = measure.leftBarline, measure.rightBarline
            start[bar] = getattr(left, "direction", "") == "start"
            if getattr(right, "direction", "") == "end":
                end[bar] = right.times or 2
            if bar + 1 < count and right is not None and right.type in ("double", "final"):
                section[bar + 1] = True
            for element in measure.recurse().getElementsByClass("RepeatMark"):
                marks[bar] |= {_JUMPS[k] for k in (type(element).__name__,) if k in _JUMPS}
        signed = [bar for bar in range(count) if "coda" in marks[bar]]
        if len(signed) > 1:  # of two coda signs the first is where one leaves
            marks[signed[0]] = marks[signed[0]] - {"coda"} | {"tocoda"}
        return Bars.plain(
            [measure.measureNumberWithSuffix() for measure in self.lead],
            [int(length * self.ticks) for length in lengths],
            full,
            beat,
            repeat_start=start,
            repeat_end=end,
            section=section | start,
            endings=self._endings(),
            marks=tuple(map(frozenset, marks)),
        )

    def _endings(self) -> tuple[tuple[int, ...], ...]:
        place = {id(measure): bar for bar, measure in enumerate(self.lead)}
        endings: list[tuple[int, ...]] = [()] * len(self.lead)
        for bracket in self.stream.recurse().getElementsByClass("RepeatBracket"):
            bars = [place[id(m)] for m in bracket.getSpannedElements() if id(m) in place]
            for bar in range(min(bars, default=0), max(bars, default=-1) + 1):
                endings[bar] = tuple(max(1, number) for number in bracket.numberRange)
        return tuple(endings)

    def _row(self, note: _Note) -> tuple[Any, ...]:
        onset = int(self.start[note.bar]) + int(note.offset * self.ticks)
        length = int(note.length * self.ticks)
        return (*note.seat, note.bar, onset, length, note.pitch, -1, *note.flags)

    def _place(self, index: int, element: Any) -> int:
        """Tick of something that stands in a measure of a staff."""
        for bar, measure in enumerate(self.measures[index]):
            if element is measure:
                return int(self.start[bar])
            with contextlib.suppress(Exception):  # music21: element is not in here
                offset = _exact(element.getOffsetInHierarchy(measure))
                return int(self.start[bar] + offset * self.ticks)
        return -1

    def _dynamics(self, staves: list[Any]) -> Iterator[Dynamic]:
        for index, measures in enumerate(self.measures):
            part, staff = self.seats[index]
            for bar, measure in enumerate(measures):
                for sign in measure.recurse().getElementsByClass("Dynamic"):
                    at = _exact(sign.getOffsetInHierarchy(measure)) * self.ticks
                    tick = int(self.start[bar] + at)
                    yield Dynamic(part, tick, "mark", sign.value, staff=staff)
            for wedge in staves[index].recurse().getElementsByClass("DynamicWedge"):
                yield from self._wedge(index, wedge, part, staff)

    def _wedge(self, index: int, wedge: Any, part: int, staff: int) -> Iterator[Dynamic]:
        begin, last = wedge.getFirst(), wedge.getLast()
        if begin is None or last is None:
            return
        start, end = self._place(index, begin), self._place(index, last)
        if start < 0 or end < 0:
            self.lost["hairpins without a place"] = (
                self.lost.get("hairpins without a place", 0) + 1
            )
            return
        end += int(_exact(last.duration.quarterLength) * self.ticks)
        kind = "cresc" if type(wedge).__name__ == "Crescendo" else "dim"
        yield Dynamic(part, start, kind, end=end, staff=staff)

    def _tempos(self) -> Iterator[Tempo]:
        found: dict[int, float] = {}
        for measures in self.measures:
            for bar, measure in enumerate(measures):
                for mark in measure.recurse().getElementsByClass("MetronomeMark"):
                    at = _exact(mark.getOffsetInHierarchy(measure)) * self.ticks
                    if mark.number and not mark.numberImplicit:
                        found.setdefault(int(self.start[bar] + at), float(mark.getQuarterBPM()))
        for tick in sorted(found):
            yield Tempo(tick, found[tick])

    def _metadata(self, path: Path) -> dict[str, str]:
        given = self.stream.metadata
        if given is None:
            return dict(self.facts.metadata)
        found = {
            "title": given.title or given.movementName,
            "movement": given.movementName if given.title else None,
            "composer": given.composer,
            "lyricist": given.lyricist,
            "rights": given.copyright,
            "date": given.dateCreated,
        }
        found = {key: _clean(value) for key, value in found.items() if value}
        if found.get("title") == path.name:  # music21 puts the file's name there
            del found["title"]
        return self.facts.metadata | found


def _left_out(element: Any) -> str:
    """Why an element is no sounding note, '' when it is one."""
    kinds = element.classes
    if "ChordSymbol" in kinds or "NoChord" in kinds:
        return "chord symbol"
    if "Unpitched" in kinds or "PercussionChord" in kinds:
        return "unpitched"
    if element.hasStyleInformation and element.style.noteSize == "cue":
        return "cue"
    return ""


def _clean(text: Any) -> str:
    """One line of text without the quotation marks that NoteWorthy puts round it."""
    return " ".join(str(text or "").split()).strip('"')


def _part(staff: Any, name: str) -> Part:
    instrument = staff.getInstrument(returnDefault=False)
    if instrument is None:
        return Part(name or _clean(staff.partName), _clean(staff.partAbbreviation))
    return Part(
        name or _clean(staff.partName or instrument.partName or instrument.instrumentName),
        _clean(staff.partAbbreviation or instrument.partAbbreviation),
        sound_id=instrument.instrumentSound or "",
        program=instrument.midiProgram,
    )
