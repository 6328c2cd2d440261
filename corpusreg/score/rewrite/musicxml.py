"""A changed score written into its own MusicXML file; all else stays as it is written.

What is changed: `octave` of moved notes; notes taken out (a member leaves its chord, with
the chord's `staccato` dot left to the others; a lone note becomes a rest). What hangs on these:
octave-shift lines, accidentals and clefs (modules of their own), slurs that would lose
an end, and placing that was computed for the old height: `stem` of moved notes where
one voice is alone on its staff, and their vertical offsets (`default-y`).
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import takewhile
from pathlib import Path

from lxml import etree

from corpusreg.score.notes import Score
from corpusreg.score.readers.musicxml.container import file_name
from corpusreg.score.readers.musicxml.records import integer
from corpusreg.score.readers.musicxml.wording import STACCATO
from corpusreg.score.rewrite.accidentals import add_accidentals, keys_of, missing
from corpusreg.score.rewrite.change import Change
from corpusreg.score.rewrite.clefs import set_clefs
from corpusreg.score.rewrite.ottava import shift_lines
from corpusreg.score.rewrite.tree import insert, note_elements, parsed, parts, remove
from corpusreg.system.errors import ReadError

__all__ = ["edited"]

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
