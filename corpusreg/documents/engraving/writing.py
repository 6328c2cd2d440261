"""Notation for files that hold none (MIDI), or that the engraver does not know.

The bars are written anew as MusicXML from the notes that were read. What such a file does
not say is guessed and said to be: key and spelling (the key with the fewest accidentals),
staves (two where a part spans both clefs, parted at middle C), voices and rests. Notes are
cut at barlines and into values that notation has, tied; where that takes more than three
values the notes were played rather than written, and nothing is drawn.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

from corpusreg.documents.engraving.completing import DOTTED, TYPES, complete
from corpusreg.score.notes import NOTE_DTYPE, Bars, Score, note_table
from corpusreg.system.errors import ReadError

__all__ = ["GUESSED", "cut_to_values", "write_bars"]

GUESSED = (
    "key, spelling, staves and rests are guessed: only what sounds is read from such a file"
)

_MOST_VALUES = 3  # tied values that one note or rest in a bar may take
_MOST_VOICES = 4  # of a staff
_LOW, _MIDDLE, _HIGH = 53, 60, 67  # F3, C4, G4
_LETTERS = "FCGDAEB"  # in fifths, F = -1


def cut_to_values(score: Score, bars: tuple[int, int]) -> Score:
    """The score with the notes of some bars only, cut at barlines and into written values.

    Its parts have as many staves as they are written on. Raises ReadError where a note
    has no such values.
    """
    names = NOTE_DTYPE.names or ()
    edges = [int(start) for start in score.bars.start]
    edges.append(edges[-1] + int(score.bars.length[-1]))
    rows = []
    start, end = score.notes["onset"], score.notes["onset"] + score.notes["duration"]
    near = (start < edges[bars[1]]) & (end >= edges[bars[0]])
    for note in score.notes[near]:
        begin, end = int(note["onset"]), int(note["onset"] + note["duration"])
        for bar in range(*bars):
            span = max(begin, edges[bar]), min(end, edges[bar + 1])
            pieces = None if note["grace"] else _values(*span, score.ticks)
            if pieces is None:
                raise ReadError(
                    f"bar {score.bars.labels[bar]} cannot be written: it was played rather "
                    "than written, or has grace notes"
                )
            for at, length in pieces:
                row = {name: note[name] for name in names} | {
                    "bar": bar,
                    "onset": at,
                    "duration": length,
                    "tie_in": at > begin or bool(note["tie_in"]),
                    "tie_out": at + length < end or bool(note["tie_out"]),
                }
                rows.append(tuple(row[name] for name in names))
    table = note_table(rows)
    parts = tuple(
        replace(part, staves=len(_clefs(table["pitch"][table["part"] == index].tolist())))
        for index, part in enumerate(score.parts)
    )
    return replace(score, notes=table, parts=parts)


def _values(begin: int, end: int, ticks: int) -> list[tuple[int, int]] | None:
    """(onset, length) of the written values that fill a time, longest first; None for no."""
    if begin < end and Fraction(3 * (end - begin), 2 * ticks) in TYPES:
        return [(begin, end - begin)]  # a note of a triplet
    found: list[tuple[int, int]] = []
    lengths = [int(value * ticks) for value in DOTTED if (value * ticks).denominator == 1]
    while begin < end:
        fitting = [length for length in lengths if length <= end - begin]
        if not fitting or len(found) == _MOST_VALUES:
            return None
        found.append((begin, max(fitting)))
        begin += max(fitting)
    return found


def write_bars(score: Score, bars: tuple[int, int], parts: tuple[int, ...]) -> str:
    """Some bars of a score of `cut_to_values` as MusicXML text. Raises ReadError."""
    from lxml import etree

    root = etree.Element("score-partwise", version="4.0")
    heads = etree.SubElement(root, "part-list")
    fifths = _key(score)
    for part in parts:
        head = etree.SubElement(heads, "score-part", id=f"P{part}")
        etree.SubElement(head, "part-name").text = score.parts[part].name[:40]
        body = etree.SubElement(root, "part", id=f"P{part}")
        notes = score.notes[score.notes["part"] == part]
        clefs = _clefs([int(pitch) for pitch in notes["pitch"]])
        for bar in range(*bars):
            measure = etree.SubElement(body, "measure", number=score.bars.labels[bar])
            if bar == bars[0] or _metre(score.bars, bar) != _metre(score.bars, bar - 1):
                first = clefs if bar == bars[0] else ()
                _attributes(measure, score, bar, fifths, first)
            here = notes[notes["bar"] == bar]
            for staff in range(len(clefs)):
                low = len(clefs) == 2 and staff == 1
                mine = [n for n in here if len(clefs) == 1 or (n["pitch"] < _MIDDLE) == low]
                _staff(measure, mine, score, bar, staff, fifths)
        complete(body)
    return str(etree.tostring(root, encoding="unicode"))


def _clefs(pitches: list[int]) -> tuple[str, ...]:
    """Clefs of a part, one a staff, from its notes in the passage."""
    if not pitches:
        return ("G",)
    if min(pitches) < _LOW and max(pitches) > _HIGH:
        return "G", "F"
    return ("G",) if sum(pitches) >= 57 * len(pitches) else ("F",)


def _key(score: Score) -> int:
    """Fifths of the key in which the fewest of the notes have accidentals."""
    classes = [int(pitch) % 12 for pitch in score.notes["pitch"]]

    def outside(fifths: int) -> int:
        scale = {7 * (fifths + step) % 12 for step in range(-1, 6)}
        return sum(each not in scale for each in classes)

    return min(range(-6, 7), key=lambda fifths: (outside(fifths), abs(fifths)))


def _spelled(pitch: int, fifths: int) -> tuple[str, int, int]:
    """Letter, alteration and octave of a pitch, near the middle of the key in fifths."""
    middle = fifths + 2
    place = min(
        (p for p in range(middle - 6, middle + 7) if 7 * p % 12 == pitch % 12),
        key=lambda p: abs(p - middle),
    )
    alter, index = divmod(place + 1, 7)
    return _LETTERS[index], alter, (pitch - alter) // 12 - 1


def _metre(bars: Bars, bar: int) -> tuple[int, int]:
    return int(bars.full[bar]), int(bars.beat[bar])


def _attributes(
    measure: Any, score: Score, bar: int, fifths: int, clefs: tuple[str, ...]
) -> None:
    from lxml import etree

    full, beat = _metre(score.bars, bar)
    unit = beat if 4 * score.ticks % beat == 0 else beat // 3  # of a dotted beat a third
    attributes = etree.SubElement(measure, "attributes")
    if clefs:
        etree.SubElement(attributes, "divisions").text = str(score.ticks)
        key = etree.SubElement(attributes, "key")
        etree.SubElement(key, "fifths").text = str(fifths)
    time = etree.SubElement(attributes, "time")
    etree.SubElement(time, "beats").text = str(full // unit)
    etree.SubElement(time, "beat-type").text = str(4 * score.ticks // unit)
    if len(clefs) > 1:
        etree.SubElement(attributes, "staves").text = str(len(clefs))
    for number, sign in enumerate(clefs, start=1):
        clef = etree.SubElement(attributes, "clef", number=str(number))
        etree.SubElement(clef, "sign").text = sign
        etree.SubElement(clef, "line").text = "2" if sign == "G" else "4"


def _staff(
    measure: Any, notes: list[Any], score: Score, bar: int, staff: int, fifths: int
) -> None:
    """Write the voices of a staff in a bar, each from its beginning to its end."""
    from lxml import etree

    start = int(score.bars.start[bar])
    end = start + int(score.bars.length[bar])
    for number, voice in enumerate(_voices(notes)):
        if number or staff:
            back = etree.SubElement(measure, "backup")
            etree.SubElement(back, "duration").text = str(end - start)
        place = (str(4 * staff + number + 1), str(staff + 1))
        at = start
        beams: dict[int, list[tuple[int, int, Any]]] = {}  # short notes by beat
        for chord in voice:
            onset, length = int(chord[0]["onset"]), int(chord[0]["duration"])
            _rest(measure, (at, onset), score.ticks, place, shown=not number)
            heads = [
                _note(measure, note, score.ticks, place, fifths, chord=index > 0)
                for index, note in enumerate(chord)
            ]
            if length < score.ticks:
                beat = (onset - start) // int(score.bars.beat[bar])
                beams.setdefault(beat, []).append((onset, length, heads[0]))
            at = onset + length
        _rest(measure, (at, end), score.ticks, place, shown=not number)
        for group in beams.values():
            _beam(group)


def _beam(group: list[tuple[int, int, Any]]) -> None:
    """Join the short notes of a beat that follow each other without a rest.

    group: (onset, length, element) of each.
    """
    from lxml import etree

    ends = [onset + length for onset, length, _ in group]
    joined = [i > 0 and ends[i - 1] == group[i][0] for i in range(len(group))]
    for index, (_, _, head) in enumerate(group):
        after = index + 1 < len(group) and joined[index + 1]
        if joined[index] or after:
            beam = etree.Element("beam", number="1")
            beam.text = "begin" if not joined[index] else "continue" if after else "end"
            head.find("staff").addnext(beam)


def _voices(notes: list[Any]) -> list[list[list[Any]]]:
    """Chords of a staff in voices that do not overlap; one empty voice where it rests."""
    chords: dict[tuple[int, int], list[Any]] = {}
    for note in sorted(notes, key=lambda n: (n["onset"], -n["pitch"])):
        chords.setdefault((int(note["onset"]), int(note["duration"])), []).append(note)
    voices: list[list[list[Any]]] = [[]]
    ends = [0]
    for (onset, length), chord in chords.items():
        free = next((v for v, end in enumerate(ends) if end <= onset), len(ends))
        if free == _MOST_VOICES:
            raise ReadError("its bars have more lines at once than a staff can show")
        if free == len(ends):
            voices.append([])
            ends.append(0)
        voices[free].append(chord)
        ends[free] = onset + length
    return voices


def _rest(
    measure: Any, span: tuple[int, int], ticks: int, place: tuple[str, str], *, shown: bool
) -> None:
    """Fill a time without notes: with rests in the first voice of a staff, else with space."""
    from lxml import etree

    if span[0] >= span[1]:
        return
    values = _values(*span, ticks)
    if values is None:
        raise ReadError("it was played rather than written: its rests have no written values")
    if not shown:
        skip = etree.SubElement(measure, "forward")
        etree.SubElement(skip, "duration").text = str(span[1] - span[0])
        return
    for _, length in values:
        rest = etree.SubElement(measure, "note")
        etree.SubElement(rest, "rest")
        _timed(rest, length, place)


def _note(
    measure: Any, note: Any, ticks: int, place: tuple[str, str], fifths: int, *, chord: bool
) -> Any:
    from lxml import etree

    step, alter, octave = _spelled(int(note["pitch"]), fifths)
    head = etree.SubElement(measure, "note")
    if chord:
        etree.SubElement(head, "chord")
    pitch = etree.SubElement(head, "pitch")
    for tag, text in (("step", step), ("alter", str(alter)), ("octave", str(octave))):
        etree.SubElement(pitch, tag).text = text
    _timed(head, int(note["duration"]), place)
    if Fraction(3 * int(note["duration"]), 2 * ticks) in TYPES:
        changed = etree.Element("time-modification")
        etree.SubElement(changed, "actual-notes").text = "3"
        etree.SubElement(changed, "normal-notes").text = "2"
        head.find("staff").addprevious(changed)
    ties = [k for k, name in (("stop", "tie_in"), ("start", "tie_out")) if note[name]]
    if ties:
        notations = etree.SubElement(head, "notations")
        for kind in ties:
            etree.SubElement(notations, "tied", type=kind)
    return head


def _timed(head: Any, length: int, place: tuple[str, str]) -> None:
    from lxml import etree

    for tag, text in (("duration", str(length)), ("voice", place[0]), ("staff", place[1])):
        etree.SubElement(head, tag).text = text
