"""One part of a MusicXML file: attributes in force, notes, directions, sounds, barlines.

Conventions: a direction stands at the cursor moved by its `offset`. Where a
`sound` element states a jump, its words and signs are not read again. Tempo is
in quarter notes per minute; `sound dynamics` is a percentage of velocity 90
(MusicXML 4.0, W3C Community Group 2021, "sound").

Pitch in MusicXML is as written, and `transpose` (per part or per
staff) makes it sounding. Octave-shift lines and octave clefs change nothing:
the pitch under them already sounds there (MusicXML 4.0, W3C Community Group
2021, "octave-shift", "clef-octave-change"). In a concert score the same holds;
its `for-part` elements describe other editions and are not read.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import floor
from typing import Any

from lxml import etree

from corpusreg.score.notes import NOTE_DTYPE, Sign
from corpusreg.score.readers.musicxml.records import (
    MAX_QUARTERS,
    ROW,
    Cursor,
    Marks,
    Metre,
    PartHead,
    PartRecord,
    Position,
    RawDynamic,
    ReadTally,
    integer,
    number,
    plain_text,
    whole,
    written_pitch,
)
from corpusreg.score.readers.musicxml.wording import (
    RUN,
    STACCATO,
    as_element,
    lyrics,
    note_words,
)

__all__ = ["PartReader"]

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
        text = " ".join((item.text or "").split())[:_LETTERS]
        self.cursor.marks.rehearsals.append((direction.at, text))

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


_LETTERS = 12  # of a rehearsal mark
_MAX_STAVES = 64
_MAX_VOICES = 1000
_FORTE_VELOCITY = 90  # `dynamics` attributes are a percentage of it (MusicXML 4.0)
_STACCATO = list(NOTE_DTYPE.names or ()).index("staccato")


class PartReader:
    """Reads the measures of one part in order into a `PartRecord`."""

    def __init__(
        self,
        head: PartHead,
        record: PartRecord,
        marks: Marks,
        tally: ReadTally,
        runs: Sequence[Sequence[bytes]] = (),
    ) -> None:
        self.head, self.record, self.marks, self.tally = head, record, marks, tally
        self.cursor = Cursor(record, marks, tally)
        self._runs = runs  # notes that were cut out of the text
        self._chord_voice, self._chord_staff = 0, 1
        self._chord_row, self._chord_dotted = 0, False
        self._staff_of: dict[str | None, int] = {}
        self._shift: Fraction | int = 0
        self._staff_shift: dict[int, Fraction | int] = {}
        self._percussion_staves: set[int] = set()
        unpitched = head.unpitched.values()
        self._all_unpitched = bool(unpitched) and all(unpitched)
        self._some_unpitched = any(unpitched)
        self.directions = DirectionReader(self.cursor)
        self._handlers: dict[Any, Callable[[etree._Element], None]] = {
            "note": self._read_note,
            "backup": self._read_backup,
            "forward": self._read_forward,
            "attributes": self._read_attributes,
            "direction": self.directions.read_direction,
            "sound": self.directions.read_sound,
            "barline": self.directions.read_barline,
            "print": self._read_print,
        }
        if runs:
            self._handlers[RUN] = self._read_run

    def read_bar(self, element: etree._Element, label: str, implicit: bool) -> None:
        """Read one measure; `element` holds its notes and directions."""
        self.cursor.begin_bar(label, implicit)
        handlers = self._handlers
        for child in element:
            handler = handlers.get(child.tag)
            if handler is not None:
                handler(child)

    def finish(self) -> None:
        """Close what is open at the end of the file."""
        self.directions.finish()

    def _read_print(self, element: etree._Element) -> None:
        if element.get("new-page") == "yes":
            self.marks.signs[Sign(self.cursor.bar, "page")] = None

    def _read_backup(self, element: etree._Element) -> None:
        units = self.cursor.units(element.findtext("duration"))
        if units is None or units < 0:
            self.tally.lost["a backup without a readable duration"] += 1
        else:
            self.cursor.back(units)

    def _read_forward(self, element: etree._Element) -> None:
        units = self.cursor.units(element.findtext("duration"))
        if units is None or units < 0:
            self.tally.lost["a forward without a readable duration"] += 1
        else:
            self.cursor.advance(units)

    def _read_attributes(self, element: etree._Element) -> None:
        for child in element:
            tag = child.tag
            if tag == "divisions":
                self.cursor.set_divisions(child.text)
            elif tag == "time":
                self._read_time(child)
            elif tag == "key":
                self.record.keys.append((self.cursor.bar, child.findtext("fifths") or ""))
            elif tag == "clef":
                staff = integer(child.get("number")) or 1
                percussion = (child.findtext("sign") or "").strip().lower() == "percussion"
                staves = self._percussion_staves
                (staves.add if percussion else staves.discard)(staff)
            elif tag == "transpose":
                self._read_transpose(child)
            elif tag == "staves":
                self._staff(child.text)
            elif tag == "measure-style" and child.find("measure-repeat") is not None:
                self.tally.assumed[
                    "bars under a bar-repeat sign: read as the file has them"
                ] = None

    def _read_time(self, element: etree._Element) -> None:
        """A metre; the summands of '3+2' stay apart, because each is felt by itself."""
        pairs: list[tuple[int, int]] = []
        beats = ""
        for child in element:
            if child.tag == "beats":
                beats = child.text or ""
            elif child.tag == "beat-type":
                bottom = integer(child.text) or 0
                pairs += [(integer(top) or 0, bottom) for top in beats.split("+")]
        sane = all(0 < top <= 1000 and 0 < bottom <= 1024 for top, bottom in pairs)
        if not sane or (not pairs and element.find("senza-misura") is None):
            self.tally.lost["a metre that cannot be read"] += 1
            return
        bar = self.cursor.bar + (self.cursor.offset > 0)
        self.record.metres.append((bar, Metre(tuple(pairs))))

    def _read_transpose(self, element: etree._Element) -> None:
        chromatic = number(element.findtext("chromatic") or "0")
        octaves = number(element.findtext("octave-change") or "0")
        if chromatic is None or octaves is None:
            self.tally.lost["a transposition that cannot be read"] += 1
            return
        if element.find("double") is not None:
            self.tally.assumed[
                "a part doubled at the octave: only the written octave is read"
            ] = None
        shift = whole(chromatic + 12 * octaves)
        staff = integer(element.get("number"))
        if staff is None:
            self._shift = shift
            self._staff_shift.clear()
        else:
            self._staff_shift[staff] = shift

    def _staff(self, text: str | None) -> int:
        """Staff number from its text; raises the part's number of staves."""
        staff = self._staff_of.get(text)
        if staff is None:
            staff = integer(text)
            if staff is None or not 1 <= staff <= _MAX_STAVES:
                self.tally.lost["a staff number that cannot be read, taken as 1"] += 1
                return 1
            self._staff_of[text] = staff
            self.record.staves = max(self.record.staves, staff)
        return staff

    def _voice(self, text: str | None) -> int:
        """Voice number from its text, in order of appearance."""
        voices = self.record.voices
        voice = voices.get(text)
        if voice is None:
            if len(voices) >= _MAX_VOICES:
                self.tally.lost["a voice beyond the first 1000, joined to the first"] += 1
                return 0
            voice = voices[text] = len(voices)
        return voice

    def _read_run(self, element: etree._Element) -> None:
        """Notes that were cut out of the text: by their wording, or as elements."""
        notes = self._runs[int(element.text or "")]
        at = 0
        while at < len(notes):
            at = self._read_words(notes, at)
            if at < len(notes):
                self._read_note(as_element(notes[at]))
                at += 1

    def _read_words(self, notes: Sequence[bytes], at: int) -> int:
        """Read notes from `at` on, as `_read_note` does, up to the first unusual one.

        Returns its place. One loop with everything at hand: this is where reading spends
        its time.
        """
        cursor, tally, record, bar = self.cursor, self.tally, self.record, self.record.bars[-1]
        scale, unit, extend, index = cursor.scale, cursor.unit, record.rows.extend, cursor.bar
        longest = MAX_QUARTERS * unit
        staves, voices, shifts = self._staff_of, record.voices, self._staff_shift
        if self._percussion_staves or self._some_unpitched or type(scale) is not int:
            return at
        for place in range(at, len(notes)):
            found = note_words(notes[place])
            if found is None:
                return place
            wording, end = found
            grace, chord, rest, pitch, divisions, named, on, tie_in, tie_out, dot = wording
            duration = 0 if grace else -1 if divisions is None else divisions * scale
            sung = lyrics(end) if end else ()
            if sung is None or not 0 <= duration <= longest:
                return place
            source = tally.notes
            tally.notes = source + 1
            if chord:
                onset, staff, voice = cursor.chord_onset, self._chord_staff, self._chord_voice
            else:
                onset, staff, voice = cursor.offset, 1, -1
                self._chord_row, self._chord_dotted = len(record.rows), False
            if on:
                staff = staves.get(on) or self._staff(on)
            if named or voice < 0:
                named = named or "1"
                voice = voices[named] if named in voices else self._voice(named)
            cursor.chord_onset, self._chord_staff, self._chord_voice = onset, staff, voice
            if sung:
                self._add_verses(sung)
            if dot:
                self._dot_chord()
            if pitch is not None:
                pitch = self._in_range(pitch + shifts.get(staff, self._shift))
            if pitch is not None:
                extend(
                    (
                        *(record.index, staff, voice, index, onset, duration, pitch, -1),
                        *(grace, tie_in, tie_out, self._chord_dotted, source, unit),
                    )
                )
            if chord:
                if onset + duration > bar.extent:
                    bar.extent = onset + duration
            elif rest:
                cursor.rest(duration, not onset or rest > 1)
            elif duration:
                cursor.advance(duration)
        return len(notes)

    def _read_note(self, note: etree._Element) -> None:
        child = {c.tag: c for c in note}
        cursor, source = self.cursor, self.tally.notes
        self.tally.notes += 1
        grace, chord = "grace" in child, "chord" in child
        duration = 0 if grace else self._duration(child)
        if duration is None:
            return
        if chord:
            onset, staff, voice = cursor.chord_onset, self._chord_staff, self._chord_voice
        else:
            onset, staff, voice = cursor.offset, 1, -1
            self._chord_row, self._chord_dotted = len(self.record.rows), False
        if "staff" in child:
            staff = self._staff(child["staff"].text)
        if "voice" in child or voice < 0:
            voice = self._voice(child["voice"].text if "voice" in child else "1")
        cursor.chord_onset, self._chord_staff, self._chord_voice = onset, staff, voice
        if "lyric" in child:
            self._count_verses(note)
        ties = (False, False)
        if "notations" in child or "tie" in child:
            ties = self._ties_and_dots(note, onset, staff)
        pitch = self._pitch(child, staff)
        if pitch is not None:
            velocity = self._velocity(note)
            place = (self.record.index, staff, voice, cursor.bar, onset, duration)
            dotted = self._chord_dotted
            self.record.rows.extend(
                (*place, pitch, velocity, grace, *ties, dotted, source, cursor.unit)
            )
        self._move_on(child, onset, duration, chord)

    def _duration(self, child: dict[Any, etree._Element]) -> int | None:
        units = self.cursor.units(child["duration"].text) if "duration" in child else None
        if units is None or units < 0:
            kind = "rest" if "rest" in child else "note"
            self.tally.lost[f"a {kind} without a readable duration"] += 1
            return None
        return units

    def _move_on(self, child: dict[Any, Any], onset: int, duration: int, chord: bool) -> None:
        if chord:
            self.cursor.reach(onset + duration)
        elif "rest" in child:
            from_barline = not onset or child["rest"].get("measure") == "yes"
            self.cursor.rest(duration, from_barline)
        elif duration:
            self.cursor.advance(duration)

    def _count_verses(self, note: etree._Element) -> None:
        lyrics = [
            (each.get("number", "1"), each.findtext("text"))
            for each in note.iterchildren("lyric")
        ]
        self._add_verses(
            [
                (number, any(map(str.isalpha, text)))
                for number, text in lyrics
                if text is not None
            ]
        )

    def _add_verses(self, lyrics: Sequence[tuple[str, bool]]) -> None:
        """Take the number of each lyric of a note, and whether it has letters."""
        verses = self.marks.verses[self.cursor.bar]
        for number_, _ in lyrics:
            verses[number_] += 1
        # Figures of a thorough bass are set as lyrics too.
        self.record.lyrics += any(letters for _, letters in lyrics)

    def _pitch(self, child: dict[Any, etree._Element], staff: int) -> int | None:
        """Sounding pitch of a note; None, and counted, where it is not to be placed."""
        if "pitch" not in child:
            if "unpitched" in child:
                self.tally.left_out["cue" if "cue" in child else "unpitched"] += 1
            elif "rest" not in child:
                self.tally.lost["a note with neither pitch nor rest"] += 1
            return None
        if "cue" in child:
            self.tally.left_out["cue"] += 1
            return None
        if staff in self._percussion_staves or (
            self._some_unpitched and self._plays_unpitched(child)
        ):
            self.tally.left_out["unpitched"] += 1
            return None
        return self._sounding(child["pitch"], staff)

    def _plays_unpitched(self, child: dict[Any, etree._Element]) -> bool:
        if "instrument" in child:
            return self.head.unpitched.get(child["instrument"].get("id", ""), False)
        return self._all_unpitched

    def _sounding(self, element: etree._Element, staff: int) -> int | None:
        texts = {c.tag: c.text or "" for c in element}
        written = written_pitch(
            texts.get("step", ""), texts.get("alter"), texts.get("octave", "")
        )
        if written is None:
            self.tally.lost["a note whose pitch cannot be read"] += 1
            return None
        return self._in_range(written + self._staff_shift.get(staff, self._shift))

    def _in_range(self, pitch: Fraction | int) -> int | None:
        """A sounding pitch as a MIDI number; None, and counted, where there is none."""
        if isinstance(pitch, int):
            sounding = pitch
        else:
            self.tally.lost["a microtone rounded to the semitone"] += 1
            sounding = floor(pitch + Fraction(1, 2))
        if not 0 <= sounding <= 127:
            self.tally.lost["a note outside the MIDI range 0-127"] += 1
            return None
        return sounding

    def _velocity(self, note: etree._Element) -> int:
        text = note.get("dynamics")
        percent = number(text) if text is not None else None
        if percent is None:
            return -1
        return min(127, max(1, round(percent * _FORTE_VELOCITY / 100)))

    def _ties_and_dots(self, note: etree._Element, onset: int, staff: int) -> tuple[bool, bool]:
        """Ties from `tie` (sound) and `tied` (notation) alike.

        Dots and dynamic marks among the notations are read on the way.
        """
        kinds: list[str | None] = []
        for child in note:
            if child.tag == "tie":
                kinds.append(child.get("type"))
            elif child.tag == "notations":
                for notation in child:
                    if notation.tag == "tied":
                        kinds.append(notation.get("type"))
                    elif notation.tag == "articulations":
                        if any(mark.tag in STACCATO for mark in notation):
                            self._dot_chord()
                    elif notation.tag == "dynamics":
                        self.directions.read_note_dynamics(notation, onset, staff)
        tie_in = "stop" in kinds or "continue" in kinds
        return tie_in, "start" in kinds or "continue" in kinds

    def _dot_chord(self) -> None:
        """A dot is the whole chord's, whichever note has it (common practice, no source)."""
        rows = self.record.rows
        for row in range(self._chord_row, len(rows), ROW):
            rows[row + _STACCATO] = True
        self._chord_dotted = True
