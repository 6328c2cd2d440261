"""Directions, sounds and barlines: dynamics, hairpins, pedal, tempo, repeats, jumps.

Conventions: a direction stands at the cursor moved by its `offset`. Where a
`sound` element states a jump, its words and signs are not read again. Tempo is
in quarter notes per minute; `sound dynamics` is a percentage of velocity 90
(MusicXML 4.0, W3C Community Group 2021, "sound").
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from lxml import etree

from corpusreg.score.notes import Sign
from corpusreg.score.readers.musicxml.header import plain_text
from corpusreg.score.readers.musicxml.records import (
    Cursor,
    Position,
    RawDynamic,
    integer,
    number,
)

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


@dataclass
class _Direction:
    """What one `direction` has said so far."""

    at: Position
    staff: int
    tags: set[object] = field(default_factory=set)
    words: str = ""
    marks: list[RawDynamic] = field(default_factory=list)
    hairpin: RawDynamic | None = None
    tempo: Fraction | None = None


class DirectionReader:
    """Reads what is not a note in one part, where its cursor stands."""

    def __init__(self, cursor: Cursor) -> None:
        self.cursor = cursor
        self._line_starts: list[tuple[str, RawDynamic]] = []  # (kind and number, hairpin)
        self._line_stops: list[tuple[str, Position, int]] = []
        self._pedal: Position | None = None
        self._damper = True
        self._handlers: dict[Any, Callable[[etree._Element, _Direction], None]] = {
            "dynamics": self._read_dynamics,
            "wedge": self._read_wedge,
            "words": self._read_words,
            "dashes": self._read_dashes,
            "pedal": self._read_pedal_sign,
            "metronome": self._read_metronome,
            "rehearsal": self._read_rehearsal,
        }

    def read_direction(self, element: etree._Element) -> None:
        """Everything in one `direction` element."""
        child = {c.tag: c for c in element}
        direction = self._place(child)
        handlers = self._handlers
        for kind in element.iterchildren("direction-type"):
            for item in kind:
                direction.tags.add(item.tag)
                handler = handlers.get(item.tag)
                if handler is not None:
                    handler(item, direction)
        jumped = "sound" in child and self._read_sound(child["sound"], direction)
        self._add_tempo(direction)
        if direction.words:
            self._hairpin_in_words(direction)
            if not direction.at.offset:
                sign = Sign(direction.at.bar, "heading", direction.words[:200])
                self.cursor.marks.signs[sign] = None
        if not jumped:
            self._read_signs(direction)

    def read_sound(self, element: etree._Element) -> None:
        """A `sound` directly in the measure."""
        direction = self._place({c.tag: c for c in element})
        self._read_sound(element, direction)
        self._add_tempo(direction)

    def read_note_dynamics(self, item: etree._Element, onset: int, staff: int) -> None:
        """Dynamic marks written in a note's notations."""
        self._read_dynamics(
            item, _Direction(Position(self.cursor.bar, onset, self.cursor.unit), staff)
        )

    def _place(self, child: dict[Any, etree._Element]) -> _Direction:
        offset: int | None = 0
        if "offset" in child:
            offset = self.cursor.units(child["offset"].text)
            if offset is None:
                self.cursor.tally.lost["a direction offset that cannot be read"] += 1
        staff = (integer(child["staff"].text) or 0) if "staff" in child else 0
        return _Direction(self.cursor.here(offset or 0), staff if 0 <= staff <= 64 else 0)

    def _read_dynamics(self, item: etree._Element, direction: _Direction) -> None:
        for mark in item:
            if mark.tag == "other-dynamics":  # 'piu f', 'subito p', 'dolce'
                names = _MARK.findall(plain_text(mark).lower())
            else:
                names = _MARK.findall(str(mark.tag))
                if not names:
                    self.cursor.tally.lost["a dynamic mark of unknown meaning"] += 1
            direction.marks += [
                RawDynamic(direction.at, "mark", mark=name, staff=direction.staff)
                for name in names
            ]
        self.cursor.record.dynamics += direction.marks

    def _read_wedge(self, item: etree._Element, direction: _Direction) -> None:
        kind, line = item.get("type", ""), f"wedge {item.get('number', '1')}"
        if kind in ("crescendo", "diminuendo"):
            hairpin = self._add_hairpin("cresc" if kind == "crescendo" else "dim", direction)
            self._line_starts.append((line, hairpin))
        elif kind == "stop":
            self._line_stops.append((line, direction.at, direction.staff))

    def _read_words(self, item: etree._Element, direction: _Direction) -> None:
        direction.words = f"{direction.words} {plain_text(item)}".strip()

    def _read_dashes(self, item: etree._Element, direction: _Direction) -> None:
        """The line after 'cresc.' or 'dim.': its end is the hairpin's."""
        line = f"dashes {item.get('number', '1')}"
        if item.get("type") == "stop":
            self._line_stops.append((line, direction.at, direction.staff))
        elif item.get("type") == "start":
            self._hairpin_in_words(direction)
            if direction.hairpin is not None:
                self._line_starts.append((line, direction.hairpin))

    def _hairpin_in_words(self, direction: _Direction) -> None:
        words = direction.words
        kind = "dim" if _DIM.search(words) else "cresc" if _CRESC.search(words) else ""
        if kind and direction.hairpin is None:
            direction.hairpin = self._add_hairpin(kind, direction)

    def _add_hairpin(self, kind: str, direction: _Direction) -> RawDynamic:
        hairpin = RawDynamic(direction.at, kind, staff=direction.staff)
        self.cursor.record.dynamics.append(hairpin)
        return hairpin

    def _pair_lines(self) -> None:
        """Give hairpins their ends, in order of time: a file may have the end first."""
        events: list[tuple[Any, ...]] = [
            (_when(at), 0, line, staff, at) for line, at, staff in self._line_stops
        ]
        events += [(_when(h.at), 1, line, h.staff, h) for line, h in self._line_starts]
        open_: dict[tuple[str, int], RawDynamic] = {}
        for _, _, line, staff, what in sorted(events, key=lambda e: e[:2]):
            if isinstance(what, RawDynamic):
                open_[line, staff] = what
                continue
            same = [key for key in open_ if key[0] == line]
            near = [key for key in open_ if key[0][:5] == line[:5] and key[1] == staff]
            if (line, staff) in open_:
                open_.pop((line, staff)).end = what
            elif same or near:  # another staff, or a number that does not agree
                open_.pop((same or near)[0]).end = what
            elif line.startswith("wedge"):
                self.cursor.tally.lost["a hairpin's end without its beginning"] += 1

    def _read_metronome(self, item: etree._Element, direction: _Direction) -> None:
        direction.tempo = direction.tempo or _metronome(item)

    def _read_rehearsal(self, item: etree._Element, direction: _Direction) -> None:
        self.cursor.marks.rehearsals.append(direction.at)

    def _read_pedal_sign(self, item: etree._Element, direction: _Direction) -> None:
        self._read_pedal(item.get("type", ""), direction.at)

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
        """Pair hairpins with their ends; keep a pedal never lifted, with an open end."""
        self._pair_lines()
        if self._pedal is not None:
            self.cursor.record.pedals.append((self._pedal, None))

    def _read_sound(self, sound: etree._Element, direction: _Direction) -> bool:
        """Everything a `sound` says; True when it states a jump."""
        given, at, marks = sound.attrib, direction.at, self.cursor.marks
        if "tempo" in given:
            direction.tempo = direction.tempo or number(given["tempo"])
        if "dynamics" in given:
            self._sound_dynamics(number(given["dynamics"]), direction)
        if "damper-pedal" in given and "pedal" not in direction.tags:
            self._read_pedal("stop" if given["damper-pedal"] in ("no", "0") else "start", at)
        if given.get("forward-repeat") == "yes":
            marks.repeat_start.add(at.bar)
        jumps = [jump for jump in _SOUND_JUMPS if given.get(jump, "no") not in ("no", "")]
        marks.jumps += [(at, jump) for jump in jumps]
        return bool(jumps)

    def _add_tempo(self, direction: _Direction) -> None:
        if direction.tempo is None:
            return
        if 1 <= direction.tempo <= 2000:
            tempo = (self.cursor.record.index, direction.at, float(direction.tempo))
            self.cursor.marks.tempos.append(tempo)
        else:
            self.cursor.tally.lost["a tempo outside 1-2000 quarter notes a minute"] += 1

    def _sound_dynamics(self, percent: Fraction | None, direction: _Direction) -> None:
        if percent is None or percent <= 0:
            return
        velocity = float(min(Fraction(127), percent * 90 / 100))
        if direction.marks:
            direction.marks[-1].velocity = velocity
        else:
            self.cursor.record.dynamics.append(
                RawDynamic(direction.at, "mark", velocity=velocity, staff=direction.staff)
            )

    def _read_signs(self, direction: _Direction) -> None:
        """Jumps from signs and words, where no `sound` states one."""
        marks, at, tags = self.cursor.marks, direction.at, direction.tags
        words = direction.words
        named = [name for name, pattern in _JUMP_WORDS if words and pattern.search(words)]
        if "segno" in tags and "dalsegno" not in named:
            marks.jumps.append((at, "segno"))
        if "coda" in tags and not named:
            marks.coda_signs.append(at)
        marks.jumps += [(at, name) for name in named[:1]]

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
        style = plain_text(element.find("bar-style"))
        if style in _DOUBLE_BARS:
            marks.sections.add(after)
        if style == "light-heavy" and location == "right":
            marks.signs[Sign(bar, "final")] = None
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
            stated = marks.repeat_end.get(after - 1, 0)  # by a part before this one
            marks.repeat_end[after - 1] = max(stated, times if 0 < times <= 100 else 0)

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


def _when(at: Position) -> tuple[int, Fraction]:
    return at.bar, Fraction(at.offset, at.unit)


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
