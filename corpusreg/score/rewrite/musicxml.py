"""A changed score written into its own MusicXML file; all else stays as it is written.

What is changed: `octave` of moved notes; notes taken out (a member leaves its chord, with
the chord's `staccato` dot left to the others; a lone note becomes a rest). What hangs on
these: octave-shift lines, accidentals and clefs, slurs that would lose an end, and placing
that was computed for the old height: `stem` of moved notes where one voice is alone on its
staff, and their vertical offsets (`default-y`). Source: MusicXML 4.0, W3C Community Group
2021 (order of the elements in `note`).

An accidental holds for its staff, step and octave until the barline (common practice,
no source). Only what the page did not lack before is added; nothing is taken away.

The pitch under an octave-shift line already sounds (MusicXML 4.0, W3C Community Group 2021,
"octave-shift"): where everything under it moves the way the line shows, the line becomes
shorter by as many octaves or goes. Lines over notes that move apart stay.

A clef is set, from one barline to another, where the moved notes of a staff would need
more than LEDGERS ledger lines on average and the treble or bass clef needs less than half
as many. It is kept through rests, and while moved notes need no more ledger lines in it
than in their own, so that clefs do not come and go. Parts with octave-shift lines are left:
what is printed there lies elsewhere.
"""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import takewhile
from pathlib import Path

import numpy as np
from lxml import etree

from corpusreg.score.notes import Score
from corpusreg.score.readers.musicxml.container import file_name, score_bytes
from corpusreg.score.readers.musicxml.records import integer, number
from corpusreg.score.readers.musicxml.wording import STACCATO
from corpusreg.score.rewrite.change import Change, Exchange, carried
from corpusreg.system.errors import ReadError

__all__ = ["edited", "parsed", "slurs"]


def slurs(path: Path, score: Score) -> list[tuple[int, int]]:
    """First and last row of `score.notes` under each slur; none in other formats.

    score: as read from `path`. A slur without its end binds nothing.
    """
    if score.format != "musicxml":
        return []
    root = parsed(path)
    rows = dict(
        zip(score.notes["source"].tolist(), range(len(score.notes)), strict=True)
    )  # fmt: skip
    row_of = {note: rows.get(at) for at, note in enumerate(note_elements(root))}
    found = []
    for part in parts(root):
        begun: dict[tuple[str, str], etree._Element] = {}
        for note in (n for bar in part for n in bar.iterchildren("note")):
            for slur in note.iterfind("notations/slur"):
                key = note.findtext("voice", "1"), slur.get("number", "1")
                if slur.get("type") == "start":
                    begun[key] = note
                elif slur.get("type") == "stop" and key in begun:
                    first, last = row_of[begun.pop(key)], row_of[note]
                    if first is not None and last is not None:
                        found.append((first, last))
    return found


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


_ORDER = (
    "grace", "cue", "chord", "pitch", "unpitched", "rest", "duration", "tie", "instrument",
    "footnote", "level", "voice", "type", "dot", "accidental", "time-modification", "stem",
    "notehead", "notehead-text", "staff", "beam", "notations", "lyric", "play", "listen",
)  # fmt: skip
_RANK = {tag: rank for rank, tag in enumerate(_ORDER)}


def parsed(path: Path) -> etree._Element:
    """The root of a MusicXML file, in the bounds of the reader.

    Raises ReadError where the XML is damaged: the reader passes over damage beside the notes.
    """
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False
    )
    try:
        for piece in score_bytes(path):
            parser.feed(piece)
        return parser.close()
    except etree.XMLSyntaxError as error:
        raise ReadError(
            f"{path}: damaged XML at line {error.lineno or 1}; export the score again"
        ) from error


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


_HIGHEST_OCTAVE = 9
_STALE = ("default-y", "bezier-y", "bezier-y2")
# Children of a note that a rest in its place keeps, and of its notations.
_KEPT = frozenset(
    ("grace", "duration", "instrument", "footnote", "level", "voice", "type", "dot",
     "time-modification", "staff", "beam", "notations", "lyric", "play", "listen")
)  # fmt: skip
_KEPT_NOTATIONS = ("tuplet", "fermata")


def edited(path: Path, score: Score, change: Change) -> bytes:
    """The file's text with the change in it, as UTF-8.

    Raises ReadError where the file is no longer the one that the score was read from.
    """
    root = parsed(path)
    notes = note_elements(root)
    source = score.notes["source"]
    if len(source) and not 0 <= int(source.min()) <= int(source.max()) < len(notes):
        raise ReadError(f"{file_name(path)}: changed since it was read; try again")
    moving = (change.octaves != 0) & ~change.silent
    if change.exchange is not None:
        moving |= change.exchange.rows(score.notes)
        _exchange(root, score, notes, change.exchange)
    moves = {
        notes[at]: octaves
        for at, octaves in zip(
            source[moving].tolist(), change.octaves[moving].tolist(), strict=True
        )
    }
    _move_all(root, moves)
    gone = [notes[at] for at in source[change.silent].tolist()]
    _cut_slurs(root, set(gone))
    for note in gone:
        _take_out(note, set(gone))
    return bytes(etree.tostring(root.getroottree(), encoding="UTF-8", xml_declaration=True))


def _exchange(
    root: etree._Element, score: Score, notes: list[etree._Element], swap: Exchange
) -> None:
    """Two parts take each other's notes, and what is written at these, for some bars."""
    several = parts(root)
    lines = [_bars_of(several, score, notes, part) for part in (swap.one, swap.other)]
    for own in lines:
        if len({note.findtext("staff", "1") for bar in own for note in bar.iter("note")}) > 1:
            raise ReadError("a line on several staves cannot be given to another part")
    here = [_in_force(own, swap.first) for own in lines]
    if here[0].divisions != here[1].divisions:
        raise ReadError("these parts count time differently in the file: re-export it")
    for bar in range(swap.first, swap.last):
        one, other = (_line_of(own[bar]) for own in lines)
        _set_line(lines[0][bar], other, here[1], here[0])
        _set_line(lines[1][bar], one, here[0], here[1])
    for each in carried(score, swap):
        own = lines[0] if each.part == swap.one else lines[1]
        _mark(own[int(np.searchsorted(score.bars.start, each.tick))], each.mark)
    if here[0].steps != here[1].steps:
        for own in lines:
            for bar, keys in list(zip(own, keys_of(own), strict=True))[swap.first : swap.last]:
                add_accidentals(bar, keys, set())


@dataclass(frozen=True)
class _Force:
    """What is in force in a part: divisions of a quarter note, and how much lower or higher its
    notes sound than they are written, in steps and semitones."""

    divisions: str
    steps: int
    semitones: int


def _bars_of(
    several: list[list[etree._Element]], score: Score, notes: list[etree._Element], part: int
) -> list[etree._Element]:
    """Bars of a part of the score, from the score's first on."""
    row = int(np.flatnonzero(score.notes["part"] == part)[0])
    home = notes[int(score.notes["source"][row])].getparent()
    for own in several:
        if home in own:
            return own[own.index(home) - int(score.notes["bar"][row]) :]
    raise ReadError("a part of the score is not where it was read")


def _in_force(bars: list[etree._Element], at: int) -> _Force:
    now = _Force("", 0, 0)
    for bar in bars[: at + 1]:
        for attributes in bar.iterchildren("attributes"):
            now = replace(
                now, divisions=attributes.findtext("divisions", now.divisions).strip()
            )
            for each in attributes.iterchildren("transpose"):
                steps, semitones, octaves = (
                    integer(each.findtext(name) or "0") or 0
                    for name in ("diatonic", "chromatic", "octave-change")
                )
                now = replace(
                    now, steps=steps + 7 * octaves, semitones=semitones + 12 * octaves
                )
    return now


_OF_THE_PART = ("print", "attributes", "barline", "sound", "listening")


def _line_of(bar: etree._Element) -> list[etree._Element]:
    """Notes of a bar with all that is written at them."""
    line = [e for e in bar if isinstance(e.tag, str) and e.tag not in _OF_THE_PART]
    if line and any(True for _ in line[0].itersiblings("attributes")):
        raise ReadError("a clef or key changes inside a bar: the line cannot be given away")
    if any(True for e in line for _ in e.iter("octave-shift")):
        raise ReadError("a line under an octave sign cannot be given to another part")
    return line


def _set_line(
    bar: etree._Element, line: list[etree._Element], before: _Force, now: _Force
) -> None:
    """Put a line in the place of a bar's own, written as its new part reads it."""
    for old in _line_of(bar):
        if old.getparent() is bar and old not in line:
            bar.remove(old)
    ahead = [e for e in bar if e.tag in _OF_THE_PART and e.get("location") != "right"]
    at = bar.index(ahead[-1]) + 1 if ahead else 0
    for place, element in enumerate(line):
        bar.insert(at + place, element)
        for name in element.findall("instrument"):
            remove(name)
        if element.tag == "note" and before.steps != now.steps:
            _respell(element, before.steps - now.steps, before.semitones - now.semitones)


def _mark(bar: etree._Element, mark: str) -> None:
    """Write a dynamic at the beginning of a bar."""
    direction = etree.Element("direction", placement="below")
    kind = etree.SubElement(etree.SubElement(direction, "direction-type"), "dynamics")
    etree.SubElement(kind, mark)
    line = _line_of(bar)
    if line:
        line[0].addprevious(direction)


def _respell(note: etree._Element, steps: int, semitones: int) -> None:
    """Write a note as many steps and semitones higher."""
    pitch = note.find("pitch")
    if pitch is None:
        return
    old = _place(note)
    alter = integer(pitch.findtext("alter") or "0") or 0
    was, now = (12 * (each // 7) + _SEMITONES[each % 7] for each in (old, old + steps))
    for tag in ("pitch", "accidental"):
        for element in note.findall(tag):
            remove(element)
    fresh = insert(note, etree.Element("pitch"))
    etree.SubElement(fresh, "step").text = _STEPS[(old + steps) % 7]
    if was + alter + semitones != now:
        etree.SubElement(fresh, "alter").text = str(was + alter + semitones - now)
    etree.SubElement(fresh, "octave").text = str((old + steps) // 7)


_SEMITONES = (0, 2, 4, 5, 7, 9, 11)


def _move_all(root: etree._Element, moves: Mapping[etree._Element, int]) -> None:
    bars = [
        (bar, keys)
        for part in parts(root)
        for bar, keys in zip(part, keys_of(part), strict=True)
        if any(note in moves for note in bar)
    ]
    before = {note for bar, keys in bars for note in missing(bar, keys)}
    shift_lines(root, moves)
    for note, octaves in moves.items():
        _move(note, octaves)
    for bar, keys in bars:
        _free_stems(bar, moves)
        add_accidentals(bar, keys, before)
    for part in parts(root) if moves else ():
        set_clefs(part, moves)


def _move(note: etree._Element, octaves: int) -> None:
    octave = note.find("pitch/octave")
    height = integer(octave.text) if octave is not None else None
    if octave is None or height is None:
        raise ReadError("a note without an octave cannot be moved")
    if not 0 <= height + octaves <= _HIGHEST_OCTAVE:
        raise ReadError("a note would leave the octaves 0 to 9 that MusicXML has")
    octave.text = str(height + octaves)
    for element in (note, *note.iterfind("notations//*"), *note.iterfind("stem")):
        for name in _STALE:
            element.attrib.pop(name, None)


def _free_stems(bar: etree._Element, moves: Mapping[etree._Element, int]) -> None:
    """Let stems point as they come where one voice has a staff with moved notes alone."""
    notes = [note for note in bar.iterchildren("note") if note.find("pitch") is not None]
    seats = {(note.findtext("staff", "1"), note.findtext("voice", "1")) for note in notes}
    moved = {note.findtext("staff", "1") for note in notes if note in moves}
    for note in notes:
        staff, voice = note.findtext("staff", "1"), note.findtext("voice", "1")
        shared = any((s == staff) != (v == voice) for s, v in seats)
        stem = note.find("stem")
        if staff in moved and not shared and stem is not None and stem.text in ("up", "down"):
            remove(stem)


def _head(note: etree._Element) -> etree._Element:
    """The first note of the chord, which carries its marks."""
    while note.find("chord") is not None:
        before = next(note.itersiblings("note", preceding=True), None)
        if before is None:
            break
        note = before
    return note


def _dotted(note: etree._Element) -> bool:
    return any(e.tag in STACCATO for e in note.iterfind("notations/articulations/*"))


def _shorten(note: etree._Element) -> None:
    """A staccato dot, where the note is not short already; it is the whole chord's."""
    if not _dotted(note):
        notations = _notations(note)
        marks = notations.find("articulations")
        if marks is None:
            marks = etree.SubElement(notations, "articulations")
        etree.SubElement(marks, "staccato")


def _notations(note: etree._Element) -> etree._Element:
    found = note.find("notations")
    return found if found is not None else insert(note, etree.Element("notations"))


def _take_out(note: etree._Element, gone: set[etree._Element]) -> None:
    """A note leaves its chord; where the whole chord goes, a rest stays."""
    heir, head = _heir(note, gone), _head(note)
    if head is not note:
        if _dotted(note) and head.find("rest") is None:
            _shorten(head)
        remove(note)
    elif heir is not None:
        _inherit(note, heir)
    else:
        _rest(note)


def _heir(head: etree._Element, gone: set[etree._Element]) -> etree._Element | None:
    """The first of the other notes of a chord that stays."""
    following = (each for each in head.itersiblings() if isinstance(each.tag, str))
    members = takewhile(lambda n: n.tag == "note" and n.find("chord") is not None, following)
    return next((note for note in members if note not in gone), None)


def _inherit(head: etree._Element, heir: etree._Element) -> None:
    """The first note of a chord goes: its beams, words and slurs are the heir's now."""
    for tag in ("pitch", "tie", "accidental", "notehead"):
        for old in head.findall(tag):
            remove(old)
        for new in heir.findall(tag):
            insert(head, new)
    for old in head.findall("notations/tied"):
        remove(old)
    for new in heir.findall("notations/tied"):
        _notations(head).append(new)
    if _dotted(heir):
        _shorten(head)
    remove(heir)


def _rest(note: etree._Element) -> None:
    for child in list(note):
        if child.tag not in _KEPT:
            remove(child)
    insert(note, etree.Element("rest"))
    for notation in note.findall("notations/*"):
        if notation.tag not in _KEPT_NOTATIONS:
            remove(notation)


def _cut_slurs(root: etree._Element, gone: set[etree._Element]) -> None:
    """Take away slurs that would lose one end, or both."""
    lost = {
        note
        for note in gone
        if note.find("chord") is not None or _heir(note, gone) is None
    }  # fmt: skip
    for part in parts(root) if lost else ():
        begun: dict[str, etree._Element] = {}
        for bar in part:
            for slur in bar.iterfind("note/notations/slur"):
                number = slur.get("number", "1")
                if slur.get("type") == "start":
                    begun[number] = slur
                elif slur.get("type") == "stop" and number in begun:
                    ends = (begun.pop(number), slur)
                    if any(next(end.iterancestors("note")) in lost for end in ends):
                        for end in ends:
                            remove(end)
