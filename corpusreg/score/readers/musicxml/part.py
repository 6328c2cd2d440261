"""One part of a MusicXML file: the attributes in force, and its notes.

Conventions: pitch in MusicXML is as written, and `transpose` (per part or per
staff) makes it sounding. Octave-shift lines and octave clefs change nothing:
the pitch under them already sounds there (MusicXML 4.0, W3C Community Group
2021, "octave-shift", "clef-octave-change"). In a concert score the same holds;
its `for-part` elements describe other editions and are not read.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from math import floor
from typing import Any

from lxml import etree

from corpusreg.score.notes import NOTE_DTYPE, Sign
from corpusreg.score.readers.musicxml.directions import DirectionReader
from corpusreg.score.readers.musicxml.header import PartHead
from corpusreg.score.readers.musicxml.records import (
    MAX_QUARTERS,
    ROW,
    Cursor,
    Marks,
    Metre,
    PartRecord,
    Tally,
    integer,
    number,
    whole,
    written_pitch,
)
from corpusreg.score.readers.musicxml.wording import RUN, STACCATO, as_element, lyrics, said

__all__ = ["PartReader"]

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
        tally: Tally,
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
            found = said(notes[place])
            if found is None:
                return place
            sounds, looks, end = found
            grace, chord, rest, pitch, divisions, named, on, tie_in, tie_out, dot = sounds
            staff_on, look_in, look_out, look_dot = looks
            duration = 0 if grace else -1 if divisions is None else divisions * scale
            sung = lyrics(end) if end else ()
            doubt = sung is None or (pitch is None and not rest) or (on and staff_on)
            if doubt or not 0 <= duration <= longest:
                return place
            source, on = tally.notes, staff_on or on
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
            if dot or look_dot:
                self._dot_chord()
            if pitch is not None:
                pitch = self._in_range(pitch + shifts.get(staff, self._shift))
            if pitch is not None:
                ties = (tie_in or look_in, tie_out or look_out)
                when = (voice, index, onset, duration)
                flags = (grace, *ties, self._chord_dotted)
                extend((record.index, staff, *when, pitch, -1, *flags, source, unit))
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
