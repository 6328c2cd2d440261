"""Demo pieces as MusicXML 4.0, plain or compressed."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator

from lxml import etree
from notation import CLEFS, MARKS, Bar, Note, Part, Piece, Pitch, Sign, parse_voice

__all__ = ["compressed", "musicxml"]

_DIVISIONS = 2  # per quarter note: one division is an eighth
_TYPES = {"w": "whole", "h": "half", "q": "quarter", "e": "eighth"}
_SHARPS = "FCGDAEB"
_STEPS = "CDEFGAB"
_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_ACCIDENTALS = {-1: "flat", 0: "natural", 1: "sharp"}
_DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">'
)


def _add(
    parent: etree._Element, tag: str, text: object = None, **attributes: object
) -> etree._Element:
    names = {key.replace("_", "-"): str(value) for key, value in attributes.items()}
    child = etree.SubElement(parent, tag, names)
    if text is not None:
        child.text = str(text)
    return child


def musicxml(piece: Piece) -> bytes:
    """The piece as an uncompressed MusicXML file."""
    root = etree.Element("score-partwise", version="4.0")
    _add(_add(root, "work"), "work-title", piece.title)
    identification = _add(root, "identification")
    _add(identification, "creator", piece.student, type="composer")
    _add(identification, "rights", "CC0 1.0")
    _add(_add(identification, "encoding"), "software", "demo/make_pieces.py")
    part_list = _add(root, "part-list")
    if len(piece.parts) > 1:
        group = _add(part_list, "part-group", type="start", number=1)
        _add(group, "group-symbol", "bracket")
        _add(group, "group-barline", "yes")
    for number, part in enumerate(piece.parts, 1):
        _score_part(part_list, part, number)
    if len(piece.parts) > 1:
        _add(part_list, "part-group", type="stop", number=1)
    for number, part in enumerate(piece.parts, 1):
        _part(_add(root, "part", id=f"P{number}"), piece, part, first=number == 1)
    return bytes(
        etree.tostring(
            root, xml_declaration=True, encoding="UTF-8", doctype=_DOCTYPE, pretty_print=True
        )
    )


def compressed(document: bytes, name: str) -> bytes:
    """An .mxl holding `document` as `name`, stored so that the bytes never vary."""
    container = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
        f'<rootfile full-path="{name}" media-type="application/vnd.recordare.musicxml+xml"/>'
        "</rootfiles></container>\n"
    )
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
        for path, content in (("META-INF/container.xml", container.encode()), (name, document)):
            entry = zipfile.ZipInfo(path, (1980, 1, 1, 0, 0, 0))
            entry.create_system = 3  # the same on every platform
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content)
    return buffer.getvalue()


def _score_part(part_list: etree._Element, part: Part, number: int) -> None:
    entry = _add(part_list, "score-part", id=f"P{number}")
    _add(entry, "part-name", part.name)
    _add(entry, "part-abbreviation", part.short)
    instrument = _add(entry, "score-instrument", id=f"P{number}-I1")
    _add(instrument, "instrument-name", part.name)
    _add(instrument, "instrument-sound", part.sound)
    midi = _add(entry, "midi-instrument", id=f"P{number}-I1")
    _add(midi, "midi-channel", number)
    _add(midi, "midi-program", part.program)


def _part(parent: etree._Element, piece: Piece, part: Part, first: bool) -> None:
    """All bars of a part; a staff's n-th voice is numbered 4 x staff + n - 3 as usual."""
    voices = [
        (staff, 4 * (staff - 1) + n, parse_voice(text, piece.bar_length, piece.upbeat))
        for staff, content in enumerate(part.staves, 1)
        for n, text in enumerate(content.voices, 1)
    ]
    count = len(voices[0][2])
    for index in range(count):
        label = index if piece.upbeat else index + 1
        measure = _add(parent, "measure", number=label)
        if piece.upbeat and index == 0:
            measure.set("implicit", "yes")
        _barline(measure, piece, index + 1, count, "left")
        if index == 0:
            _attributes(measure, piece, part)
            if first:
                _tempo(measure, piece)
        written = _Written(piece, part)
        sounding = [
            (staff, voice, bars[index]) for staff, voice, bars in voices if bars[index].length
        ]
        for turn, (staff, voice, bar) in enumerate(sounding):
            shared = sum(other == staff for other, _, _ in sounding) > 1
            written.bar(measure, bar, staff, voice, shared)
            if turn + 1 < len(sounding):
                _add(_add(measure, "backup"), "duration", bar.length)
        _barline(measure, piece, index + 1, count, "right")


def _attributes(measure: etree._Element, piece: Piece, part: Part) -> None:
    attributes = _add(measure, "attributes")
    _add(attributes, "divisions", _DIVISIONS)
    steps, semitones = part.written_up
    key = _add(attributes, "key")
    _add(key, "fifths", piece.fifths + 7 * semitones - 12 * steps)
    _add(key, "mode", piece.mode)
    time = _add(attributes, "time")
    _add(time, "beats", piece.metre[0])
    _add(time, "beat-type", piece.metre[1])
    if len(part.staves) > 1:
        _add(attributes, "staves", len(part.staves))
    for number, staff in enumerate(part.staves, 1):
        _clef(attributes, staff.clef, number)
    if steps:
        transpose = _add(attributes, "transpose")
        _add(transpose, "diatonic", -steps)
        _add(transpose, "chromatic", -semitones)


def _clef(attributes: etree._Element, name: str, staff: int) -> None:
    clef = _add(attributes, "clef", number=staff)
    _add(clef, "sign", CLEFS[name][0])
    _add(clef, "line", CLEFS[name][1])


def _tempo(measure: etree._Element, piece: Piece) -> None:
    words, beat, rate = piece.tempo
    direction = _add(measure, "direction", placement="above")
    kind = _add(direction, "direction-type")
    _add(kind, "words", f"{words} ", font_weight="bold")
    metronome = _add(_add(direction, "direction-type"), "metronome", parentheses="yes")
    _add(metronome, "beat-unit", "quarter")
    if beat == 3:
        _add(metronome, "beat-unit-dot")
    _add(metronome, "per-minute", rate)
    _add(direction, "sound", tempo=rate * beat // 2)


def _barline(measure: etree._Element, piece: Piece, bar: int, count: int, side: str) -> None:
    """Repeat signs, endings and the final barline, where this side of the bar has one."""
    last_number = max((n for _, _, n in piece.endings), default=0)
    style, ending, repeat = "", None, ""
    for first, last, number in piece.endings:
        if side == "left" and bar == first:
            ending = (number, "start")
        elif side == "right" and bar == last:
            ending = (number, "discontinue" if number == last_number else "stop")
            if number < last_number:
                style, repeat = "light-heavy", "backward"
            else:
                style = "light-light"
    if side == "left" and bar == piece.repeat_from:
        style, repeat = "heavy-light", "forward"
    if side == "right" and bar == count:
        style = "light-heavy"
    if not (style or ending or repeat):
        return
    barline = _add(measure, "barline", location=side)
    if style:
        _add(barline, "bar-style", style)
    if ending:
        _add(barline, "ending", number=ending[0], type=ending[1])
    if repeat:
        _add(barline, "repeat", direction=repeat)


def beam_groups(bar: Bar, piece: Piece) -> Iterator[list[int]]:
    """Indices of eighths joined by a beam: within a beat, or a half bar of 4/4 in eighths."""
    span: dict[int, list[int]] = {}
    for index, note in enumerate(bar.notes):
        if note.letter == "e" and note.pitches:
            span.setdefault(note.start // piece.beat, []).append(index)
    if piece.metre == (4, 4):
        for half in (0, 2):
            if len(span.get(half, ())) == len(span.get(half + 1, ())) == 2:
                span[half] += span.pop(half + 1)
    yield from (group for group in span.values() if len(group) > 1)


class _Written:
    """One bar of one part on the page: spelling, accidentals, stems and beams."""

    def __init__(self, piece: Piece, part: Part) -> None:
        self.piece, self.part = piece, part
        steps, semitones = part.written_up
        fifths = piece.fifths + 7 * semitones - 12 * steps
        sign = 1 if fifths > 0 else -1
        altered = _SHARPS[:fifths] if fifths > 0 else _SHARPS[7 + fifths :] if fifths else ""
        self.key = dict.fromkeys(altered, sign)
        self.seen: dict[tuple[int, str, int], int] = {}

    def bar(
        self, measure: etree._Element, bar: Bar, staff: int, voice: int, shared: bool
    ) -> None:
        """Write one voice, its signs before the note they belong to."""
        beams: dict[int, str] = {}
        for group in beam_groups(bar, self.piece):
            states = ["begin"] + ["continue"] * (len(group) - 2) + ["end"]
            beams.update(zip(group, states, strict=True))
        signs = list(bar.signs)
        for index, note in enumerate(bar.notes):
            while signs and signs[0].start <= note.start:
                self.sign(measure, signs.pop(0), staff)
            stem = ("up" if voice % 4 == 1 else "down") if shared else ""
            for member, pitch in enumerate(note.pitches or (None,)):
                self.note(
                    measure, note, pitch, member, staff, voice, stem, beams.get(index, "")
                )
        for sign in signs:
            self.sign(measure, sign, staff)

    def sign(self, measure: etree._Element, sign: Sign, staff: int) -> None:
        """A clef change or a direction."""
        name = sign.text[1:]
        if name in CLEFS:
            _clef(_add(measure, "attributes"), name, staff)
            return
        ottava = {"8va": "down", "8vb": "up", "loco": "stop"}
        direction = _add(
            measure, "direction", placement="above" if name in ("8va", "loco") else "below"
        )
        kind = _add(direction, "direction-type")
        if name in ottava:
            _add(kind, "octave-shift", type=ottava[name], size=8, number=1)
        elif name in MARKS:
            _add(_add(kind, "dynamics"), name)
        else:
            wedge = {"<": "crescendo", ">": "diminuendo", "=": "stop"}[name]
            _add(kind, "wedge", type=wedge, number=1)
        if len(self.part.staves) > 1:
            _add(direction, "staff", staff)
        if name in MARKS:
            # MusicXML counts in per cent of the default forte velocity, 90.
            _add(direction, "sound", dynamics=f"{MARKS[name] / 0.9:.2f}")

    def note(
        self,
        measure: etree._Element,
        note: Note,
        pitch: Pitch | None,
        member: int,
        staff: int,
        voice: int,
        stem: str,
        beam: str,
    ) -> None:
        """One note head, or the rest where `pitch` is None; in the schema's order."""
        element = _add(measure, "note")
        if member:
            _add(element, "chord")
        accidental = self.pitch(element, note, pitch, staff)
        _add(element, "duration", note.eighths)
        if note.tied_back:
            _add(element, "tie", type="stop")
        if note.tied:
            _add(element, "tie", type="start")
        _add(element, "voice", voice)
        if not note.whole_bar:
            _add(element, "type", _TYPES[note.letter])
            for _ in range(note.dots):
                _add(element, "dot")
        if accidental:
            _add(element, "accidental", accidental)
        if stem and pitch and note.letter != "w":
            _add(element, "stem", stem)
        if len(self.part.staves) > 1:
            _add(element, "staff", staff)
        if beam and not member:
            _add(element, "beam", beam, number=1)
        self.notations(element, note, member)

    def pitch(
        self, element: etree._Element, note: Note, pitch: Pitch | None, staff: int
    ) -> str:
        """Write the pitch or rest; return the accidental sign it needs, or ''."""
        if pitch is None:
            rest = _add(element, "rest")
            if note.whole_bar:
                rest.set("measure", "yes")
            return ""
        step, alter, octave = self.written(pitch)
        child = _add(element, "pitch")
        _add(child, "step", step)
        if alter:
            _add(child, "alter", alter)
        _add(child, "octave", octave)
        place = (staff, step, octave)
        before = self.seen.get(place, self.key.get(step, 0))
        self.seen[place] = alter
        return "" if alter == before or note.tied_back else _ACCIDENTALS[alter]

    def written(self, pitch: Pitch) -> tuple[str, int, int]:
        """Step, alteration and octave on the page of a transposing instrument."""
        steps, semitones = self.part.written_up
        place = 7 * pitch.octave + _STEPS.index(pitch.step) + steps
        octave, step = divmod(place, 7)
        natural = 12 * (octave + 1) + _SEMITONES[step]
        return _STEPS[step], pitch.midi + semitones - natural, octave

    @staticmethod
    def notations(element: etree._Element, note: Note, member: int) -> None:
        """Ties on every member of a chord, slurs and staccato once."""
        notations = etree.Element("notations")
        if note.tied_back:
            _add(notations, "tied", type="stop")
        if note.tied:
            _add(notations, "tied", type="start")
        if note.slur_close and not member:
            _add(notations, "slur", type="stop", number=1)
        if note.slur_open and not member:
            _add(notations, "slur", type="start", number=1)
        if note.staccato and not member:
            _add(_add(notations, "articulations"), "staccato")
        if len(notations):
            element.append(notations)
