"""Directions, sounds and barlines: dynamics, hairpins, pedal, tempo, repeats, jumps.

Conventions: a direction stands at the cursor moved by its `offset`. Where a
`sound` element states a jump, its words and signs are not read again. Tempo is
in quarter notes per minute; `sound dynamics` is a percentage of velocity 90
(MusicXML 4.0, W3C Community Group 2021, "sound").
"""

from __future__ import annotations

import re
from fractions import Fraction

from lxml import etree

from corpusreg.readers.musicxml.cursor import Cursor
from corpusreg.readers.musicxml.header import plain_text
from corpusreg.readers.musicxml.raw import Position, RawDynamic, integer, number

__all__ = ["DirectionReader"]

_MARK = re.compile(r"\b(?:[msr]*[pf]+[pfz]*|s?fz|n)\b")
_CRESC = re.compile(r"(?<![a-z])cresc", re.IGNORECASE)
_DIM = re.compile(r"(?<![a-z])(decresc|dim(in)?(\.|uendo\b|(?=\s|$)))", re.IGNORECASE)
_JUMP_WORDS = (
    ("dacapo", re.compile(r"^\W*(D\. ?C\.?(?!\w)|DC(?!\w)|(?i:da capo))")),
    ("dalsegno", re.compile(r"^\W*(D\. ?S\.?(?!\w)|DS(?!\w)|(?i:dal segno))")),
    ("tocoda", re.compile(r"^\W*(to|alla) coda\b", re.IGNORECASE)),
    ("fine", re.compile(r"^\W*fine\W*$", re.IGNORECASE)),
    ("coda", re.compile(r"^\W*coda\W*$", re.IGNORECASE)),
)
_SOUND_JUMPS = ("dacapo", "segno", "dalsegno", "coda", "tocoda", "fine")
_BEATS = {
    "1024th": Fraction(1, 256),
    "512th": Fraction(1, 128),
    "256th": Fraction(1, 64),
    "128th": Fraction(1, 32),
    "64th": Fraction(1, 16),
    "32nd": Fraction(1, 8),
    "16th": Fraction(1, 4),
    "eighth": Fraction(1, 2),
    "quarter": Fraction(1),
    "half": Fraction(2),
    "whole": Fraction(4),
    "breve": Fraction(8),
    "long": Fraction(16),
    "maxima": Fraction(32),
}
_DOUBLE_BARS = ("light-light", "light-heavy", "heavy-light", "heavy-heavy")


class DirectionReader:
    """Reads what is not a note in one part, where its cursor stands."""

    def __init__(self, cursor: Cursor) -> None:
        self.cursor = cursor
        self._open: dict[tuple[str, str, int], RawDynamic] = {}
        self._pedal: Position | None = None
        self._damper = True

    def read_direction(self, element: etree._Element) -> None:
        """Everything in one `direction` element."""
        at, staff = self._place(element)
        types = [item for kind in element.iterchildren("direction-type") for item in kind]
        tempo: Fraction | None = None
        marks: list[RawDynamic] = []
        words = ""
        hairpin: RawDynamic | None = None
        pedal = False
        for item in types:
            tag = item.tag
            if tag == "dynamics":
                marks += self._read_marks(item, at, staff)
            elif tag == "wedge":
                self._read_wedge(item, at, staff)
            elif tag == "words":
                words = f"{words} {plain_text(item)}".strip()
            elif tag == "dashes" and words:
                hairpin = hairpin or self._words_hairpin(words, at, staff)
                self._read_dashes(item, at, staff, hairpin)
            elif tag == "dashes":
                self._read_dashes(item, at, staff, None)
            elif tag == "pedal":
                pedal = True
                self._read_pedal(item.get("type", ""), at)
            elif tag == "metronome":
                tempo = tempo or _metronome(item)
            elif tag == "rehearsal":
                self.cursor.marks.rehearsals.append(at)
        if words and hairpin is None:
            self._words_hairpin(words, at, staff)
        sound = element.find("sound")
        jumped = self._read_sound(sound, at, staff, marks, tempo, pedal)
        if not jumped:
            self._read_signs({item.tag for item in types}, words, at)

    def read_sound(self, element: etree._Element) -> None:
        """A `sound` directly in the measure."""
        at, staff = self._place(element)
        self._read_sound(element, at, staff, [], None, False)

    def read_note_dynamics(self, note: etree._Element, onset: int, staff: int) -> None:
        """Dynamic marks written in a note's notations."""
        for notations in note.iterchildren("notations"):
            for item in notations.iterchildren("dynamics"):
                self._read_marks(
                    item, Position(self.cursor.bar, onset, self.cursor.unit), staff
                )

    def _place(self, element: etree._Element) -> tuple[Position, int]:
        offset_text, staff_text = element.findtext("offset"), element.findtext("staff")
        offset = 0 if offset_text is None else self.cursor.units(offset_text)
        if offset is None:
            self.cursor.tally.lost["a direction offset that cannot be read"] += 1
        staff = integer(staff_text) or 0
        return self.cursor.here(offset or 0), staff if 0 <= staff <= 64 else 0

    def _read_marks(self, item: etree._Element, at: Position, staff: int) -> list[RawDynamic]:
        found = []
        for mark in item:
            if mark.tag == "other-dynamics":  # 'piu f', 'subito p', 'dolce'
                names = _MARK.findall(plain_text(mark).lower())
            else:
                names = _MARK.findall(str(mark.tag))
                if not names:
                    self.cursor.tally.lost["a dynamic mark of unknown meaning"] += 1
            found += [RawDynamic(at, "mark", mark=name, staff=staff) for name in names]
        self.cursor.record.dynamics += found
        return found

    def _read_wedge(self, item: etree._Element, at: Position, staff: int) -> None:
        kind, number_ = item.get("type", ""), item.get("number", "1")
        if kind in ("crescendo", "diminuendo"):
            hairpin = RawDynamic(at, "cresc" if kind == "crescendo" else "dim", staff=staff)
            self._start("wedge", number_, hairpin)
            self.cursor.record.dynamics.append(hairpin)
        elif kind == "stop" and not self._stop("wedge", number_, at, staff):
            self.cursor.tally.lost["a hairpin's end without its beginning"] += 1

    def _read_dashes(
        self, item: etree._Element, at: Position, staff: int, hairpin: RawDynamic | None
    ) -> None:
        if item.get("type") == "start" and hairpin is not None:
            self._start("dashes", item.get("number", "1"), hairpin)
        elif item.get("type") == "stop":
            self._stop("dashes", item.get("number", "1"), at, staff)

    def _start(self, sign: str, number_: str, hairpin: RawDynamic) -> None:
        self._open[sign, number_, hairpin.staff] = hairpin

    def _stop(self, sign: str, number_: str, at: Position, staff: int) -> bool:
        """Close the open line with this number, on the same staff where there is one."""
        keys = [key for key in self._open if key[:2] == (sign, number_)]
        if not keys:
            return False
        key = (sign, number_, staff) if (sign, number_, staff) in keys else keys[0]
        self._open.pop(key).end = at
        return True

    def _words_hairpin(self, words: str, at: Position, staff: int) -> RawDynamic | None:
        kind = "dim" if _DIM.search(words) else "cresc" if _CRESC.search(words) else ""
        if not kind:
            return None
        hairpin = RawDynamic(at, kind, staff=staff)
        self.cursor.record.dynamics.append(hairpin)
        return hairpin

    def _read_pedal(self, kind: str, at: Position) -> None:
        if kind == "sostenuto":
            self._damper = False
        elif kind == "start":
            self._damper = True
            self._pedal_up(at)
            self._pedal = at
        elif kind == "change" and self._damper:
            self._pedal_up(at)
            self._pedal = at
        elif kind == "stop":
            if self._damper:
                self._pedal_up(at)
            self._damper = True

    def _pedal_up(self, at: Position) -> None:
        if self._pedal is not None:
            self.cursor.record.pedals.append((self._pedal, at))
            self._pedal = None

    def finish(self) -> None:
        """Keep a pedal that is never lifted, with an open end."""
        if self._pedal is not None:
            self.cursor.record.pedals.append((self._pedal, None))

    def _read_sound(
        self,
        sound: etree._Element | None,
        at: Position,
        staff: int,
        marks: list[RawDynamic],
        written: Fraction | None,
        pedal: bool,
    ) -> bool:
        """Take a `sound` and a written tempo; True when the sound states a jump."""
        tempo = written
        jumped = False
        if sound is not None:
            tempo = written or number(sound.get("tempo"))
            self._sound_dynamics(sound.get("dynamics"), at, staff, marks)
            if not pedal and sound.get("damper-pedal") is not None:
                up = sound.get("damper-pedal") in ("no", "0")
                self._read_pedal("stop" if up else "start", at)
            if sound.get("forward-repeat") == "yes":
                self.cursor.marks.repeat_start.add(at.bar)
            for jump in _SOUND_JUMPS:
                if sound.get(jump, "no") not in ("no", ""):
                    self.cursor.marks.jumps.append((at, jump))
                    jumped = True
        if tempo is not None:
            if 1 <= tempo <= 2000:
                self.cursor.marks.tempos.append((self.cursor.record.index, at, float(tempo)))
            else:
                self.cursor.tally.lost["a tempo outside 1-2000 quarter notes a minute"] += 1
        return jumped

    def _sound_dynamics(
        self, text: str | None, at: Position, staff: int, marks: list[RawDynamic]
    ) -> None:
        percent = number(text)
        if percent is None or percent <= 0:
            return
        velocity = float(min(Fraction(127), percent * 90 / 100))
        if marks:
            marks[-1].velocity = velocity
        else:
            self.cursor.record.dynamics.append(
                RawDynamic(at, "mark", velocity=velocity, staff=staff)
            )

    def _read_signs(self, tags: set[object], words: str, at: Position) -> None:
        """Jumps from signs and words, where no `sound` states one."""
        jumps = self.cursor.marks.jumps
        named = [name for name, pattern in _JUMP_WORDS if pattern.search(words)]
        if "segno" in tags and "dalsegno" not in named:
            jumps.append((at, "segno"))
        if "coda" in tags and not named:
            self.cursor.marks.coda_signs.append(at)
        jumps += [(at, name) for name in named[:1]]

    def read_barline(self, element: etree._Element) -> None:
        """Repeats, endings, signs and double bars of one `barline` element."""
        location, bar, marks = (
            element.get("location", "right"),
            self.cursor.bar,
            self.cursor.marks,
        )
        after = bar if location == "left" else bar + 1
        if location == "middle":
            if element.find("repeat") is not None:
                self.cursor.tally.lost["a repeat sign inside a bar"] += 1
            return
        if plain_text(element.find("bar-style")) in _DOUBLE_BARS:
            marks.sections.add(after)
        for sign in ("segno", "coda"):
            if element.find(sign) is not None or element.get(sign) is not None:
                marks.jumps.append((Position(after, 0, 1), sign))
        ending, repeat = element.find("ending"), element.find("repeat")
        if ending is not None:
            self._read_ending(ending, bar)
        if repeat is not None and repeat.get("direction") == "forward":
            marks.repeat_start.add(after)
        elif repeat is not None and after > 0:
            times = integer(repeat.get("times")) or 0
            marks.repeat_end[after - 1] = times if 0 < times <= 100 else 0

    def _read_ending(self, ending: etree._Element, bar: int) -> None:
        if ending.get("type") != "start":
            self.cursor.marks.ending_stop.add(bar)
            return
        text = ending.get("number") or ""
        passes = _passes(text) or _passes(plain_text(ending))
        if passes:
            self.cursor.marks.ending_start[bar] = passes
        else:
            self.cursor.tally.lost["an ending without a number"] += 1


def _passes(text: str) -> tuple[int, ...]:
    """Numbers of an ending, '1, 2' or '1-3'.

    >>> _passes("1, 2"), _passes("1.-3."), _passes("")
    ((1, 2), (1, 2, 3), ())
    """
    found: set[int] = set()
    for first, last in re.findall(r"(\d{1,2})(?:\W*-\W*(\d{1,2}))?", text):
        found.update(range(int(first), int(last or first) + 1))
    return tuple(sorted(found - {0}))


def _metronome(element: etree._Element) -> Fraction | None:
    """Quarter notes per minute of a metronome mark; None where it names no number."""
    beat, dots = None, 0
    for child in element:
        if child.tag == "beat-unit" and beat is None:
            beat = _BEATS.get((child.text or "").strip())
        elif child.tag == "beat-unit-dot":
            dots += 1
    digits = re.search(r"\d+(\.\d+)?", element.findtext("per-minute") or "")
    if beat is None or digits is None or len(digits.group()) > 12:
        return None
    return beat * (2 - Fraction(1, 2 ** min(dots, 4))) * Fraction(digits.group())
