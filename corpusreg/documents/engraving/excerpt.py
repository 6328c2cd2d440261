"""Some bars of a score as a small MusicXML score that the engraver can read.

What a file may leave out is completed: a note without <type> gets the value that its
duration says, dots included; a tie that begins and has no end written at the note it leads
to gets one; notes of changed value (<time-modification>) without a bracket are grouped into
tuplets.

What holds at the cut is written again at its beginning: divisions, key, metre, staves,
clefs, transposition, and octave lines, hairpins and voltas that are open. What is open at
the end is closed. Titles, credits, layout, playback and metronome marks are left out: they
are said beside the picture, or not at all. Source: MusicXML 4.0, W3C Community Group 2021.

Of files that hold no notation (MIDI), or none that the engraver knows, the bars are written
anew as MusicXML from the notes that were read. What such a file does not say is guessed and
said to be: key and spelling (the key with the fewest accidentals), staves (two where a part
spans both clefs, parted at middle C), voices and rests. Notes are cut at barlines and into
values that notation has, tied; where that takes more than three values the notes were
played rather than written, and nothing is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
from lxml import etree

from corpusreg.score.notes import NOTE_DTYPE, Bars, Score, note_table
from corpusreg.score.pitch import Spelling, signature, spelled, written_note
from corpusreg.system.errors import ReadError

__all__ = ["GUESSED", "cut", "cut_to_values", "parsed", "write_bars"]

TYPES = {
    Fraction(8): "breve",
    Fraction(4): "whole",
    Fraction(2): "half",
    Fraction(1): "quarter",
    Fraction(1, 2): "eighth",
    Fraction(1, 4): "16th",
    Fraction(1, 8): "32nd",
    Fraction(1, 16): "64th",
    Fraction(1, 32): "128th",
}
DOTTED = {
    value * (2 - Fraction(1, 2**dots)): (name, dots)
    for dots in (2, 1, 0)
    for value, name in TYPES.items()
}
# Elements of a <note> that come after its <type> and dots.
_AFTER = frozenset(
    ("accidental", "time-modification", "stem", "notehead", "notehead-text", "staff", "beam",
     "notations", "lyric", "play", "listen")
)  # fmt: skip


def complete(part: Any) -> None:
    """Write the missing values and ends of ties into a <part>."""
    divisions = Fraction(1)
    waiting: set[tuple[str, ...]] = set()  # ties that are open, by voice and pitch
    for measure in part.iterfind("measure"):
        alone = len(measure.findall("note")) == 1
        for child in measure:
            if child.tag == "attributes" and (text := child.findtext("divisions")):
                divisions = _number(text) or divisions
            elif child.tag == "note":
                if not (alone and child.find("rest") is not None):  # a whole-bar rest
                    _value(child, divisions)
                _tie(child, waiting)
        _group(measure)


def _value(note: Any, divisions: Fraction) -> None:
    if note.find("type") is not None or note.find("duration") is None:
        return
    length = (_number(note.findtext("duration")) or Fraction(0)) / divisions
    changed = note.find("time-modification")
    if changed is not None:
        actual = _number(changed.findtext("actual-notes"))
        normal = _number(changed.findtext("normal-notes"))
        if actual and normal:
            length = length * actual / normal
    if length not in DOTTED:
        return
    name, dots = DOTTED[length]
    place = next((i for i, c in enumerate(note) if c.tag in _AFTER), len(note))
    value = etree.Element("type")
    value.text = name
    note[place:place] = [value, *(etree.Element("dot") for _ in range(dots))]


def _tie(note: Any, waiting: set[tuple[str, ...]]) -> None:
    pitch = note.find("pitch")
    if pitch is None or note.find("grace") is not None:
        return
    key = (
        note.findtext("voice") or "",
        *(pitch.findtext(tag) or "" for tag in ("step", "alter", "octave")),
    )
    kinds = {tied.get("type") for tied in note.iterfind("notations/tied")}
    if key in waiting and not kinds & {"stop", "continue"}:
        _notations(note).append(etree.Element("tied", type="stop"))
    waiting.discard(key)
    if kinds & {"start", "continue"}:
        waiting.add(key)


def _group(measure: Any) -> None:
    """Mark the first and last note of each tuplet in a bar that marks none."""
    if measure.find("note/notations/tuplet") is not None:
        return
    runs: dict[str, list[Any]] = {}  # notes of the tuplet that is open, by voice
    lengths: dict[str, Fraction] = {}
    for note in measure.iterfind("note"):
        if note.find("chord") is not None or note.find("grace") is not None:
            continue
        voice = note.findtext("voice") or ""
        actual = _number(note.findtext("time-modification/actual-notes"))
        if actual is None:
            _bracket(runs.pop(voice, []))
            continue
        run = runs.setdefault(voice, [])
        run.append(note)
        length = _written(note) + (lengths[voice] if len(run) > 1 else 0)
        lengths[voice] = length
        # Full when as many equal notes as the tuplet counts would be as long.
        if length / actual in TYPES:
            _bracket(runs.pop(voice))
    for run in runs.values():
        _bracket(run)


def _written(note: Any) -> Fraction:
    names = {name: value for value, name in TYPES.items()}
    value = names.get(note.findtext("type") or "", Fraction(0))
    return value * (2 - Fraction(1, 2 ** len(note.findall("dot"))))


def _bracket(run: list[Any]) -> None:
    if not run:
        return
    for note, kind in ((run[0], "start"), (run[-1], "stop")):
        _notations(note).append(etree.Element("tuplet", type=kind, bracket="no"))


def _notations(note: Any) -> Any:
    """The <notations> of a note, made where there are none."""
    found = note.find("notations")
    if found is None:
        found = etree.Element("notations")
        note.insert(next((i for i, c in enumerate(note) if c.tag == "lyric"), len(note)), found)
    return found


def _number(text: str | None) -> Fraction | None:
    try:
        value = Fraction((text or "").strip()[:24])
    except (ValueError, ZeroDivisionError):
        return None
    return value if value > 0 else None


# Children of <attributes> in the order of the schema.
_ORDER = (
    "divisions", "key", "time", "staves", "part-symbol", "instruments", "clef",
    "staff-details", "transpose", "for-part",
)  # fmt: skip
_TREBLE = "<clef><sign>G</sign><line>2</line></clef>"  # where a part has no clef
_LONGEST_NAME = 40  # characters of a player's name
_LINES = ("octave-shift", "wedge")
_NOT_DRAWN = frozenset(("print", "sound", "listening", "link", "bookmark"))


def parsed(data: bytes, name: str) -> Any:
    """Root of a part-wise score; `name` is the file's. Raises ReadError for anything else."""
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, remove_comments=True,
        remove_pis=True, remove_blank_text=True,
    )  # fmt: skip
    try:
        root = etree.fromstring(data, parser)
    except etree.XMLSyntaxError as error:
        raise ReadError(f"{name}: damaged XML; export the score again") from error
    if root.tag == "score-timewise":
        return _partwise(root)
    if root.tag != "score-partwise":
        raise ReadError(f"{name}: no MusicXML score; export the score as MusicXML")
    return root


def _partwise(root: Any) -> Any:
    whole = etree.Element("score-partwise")
    heads = root.find("part-list")
    if heads is not None:
        whole.append(heads)
    parts: dict[str, Any] = {}
    for measure in root.iterfind("measure"):
        for part in list(measure.iterfind("part")):
            name = part.get("id", "")
            if name not in parts:
                parts[name] = etree.SubElement(whole, "part", id=name)
            bar = etree.SubElement(parts[name], "measure", dict(measure.attrib))
            bar.extend(list(part))
    return whole


def cut(root: Any, bars: tuple[int, int], parts: tuple[int, ...], names: Sequence[str]) -> str:
    """Some bars (positions from 0, half-open) and players of a score as MusicXML text.

    parts: positions of the players to keep. names: of all players, '' for none. `root`
    stays as it is.
    """
    whole = etree.Element("score-partwise", version="4.0")
    listed = etree.SubElement(whole, "part-list")
    named = {head.get("id"): head for head in root.iterfind("part-list/score-part")}
    places = {name: place for place, name in enumerate(named)}
    found = sorted(root.iterfind("part"), key=lambda p: places.get(p.get("id"), len(places)))
    for index, part in enumerate(found):
        if index in parts:
            name = names[index] if index < len(names) else ""
            listed.append(_head(named.get(part.get("id")), f"P{index}", name))
            whole.append(_cut_part(part, f"P{index}", *bars))
    return str(etree.tostring(whole, encoding="unicode"))


def _head(found: Any, identity: str, name: str) -> Any:
    """A <score-part> with its names, and nothing to play."""
    short = "" if found is None or not name else found.findtext("part-abbreviation") or ""
    head = etree.Element("score-part", id=identity)
    for tag, text in (("part-name", name), ("part-abbreviation", short)):
        etree.SubElement(head, tag).text = " ".join(text.split())[:_LONGEST_NAME]
    return head


def _cut_part(part: Any, name: str, first: int, last: int) -> Any:
    result = etree.Element("part", id=name)
    state = _State()
    for index, measure in enumerate(part.iterfind("measure")):
        if index >= last:
            break
        if index < first:
            state.read(measure)
            continue
        bar = deepcopy(measure)
        _strip(bar)
        if index == first:
            _open(bar, state)
        state.read(bar, lines_only=True)
        result.append(bar)
    if len(result):
        result[-1].extend(state.ends())
    complete(result)
    return result


class _State:
    """What holds in a part: attributes by kind and staff, and lines that are open."""

    def __init__(self) -> None:
        self.attributes: dict[tuple[str, str], Any] = {}
        self.lines: dict[tuple[str, str], Any] = {}  # the <direction> that opened each
        self.ending: Any = None  # the <ending> of a volta that is open

    def read(self, measure: Any, *, lines_only: bool = False) -> None:
        """Take in what a measure changes."""
        for child in measure:
            if child.tag == "attributes" and not lines_only:
                for item in child:
                    self._attribute(item)
            elif child.tag == "direction":
                for kind in _LINES:
                    for line in child.iterfind(f"direction-type/{kind}"):
                        self._line(kind, line, child)
            elif child.tag == "barline" and (ending := child.find("ending")) is not None:
                self.ending = ending if ending.get("type") == "start" else None

    def _attribute(self, item: Any) -> None:
        staff = item.get("number") or ""
        if item.tag in ("key", "time", "transpose") and not staff:
            # One for all staves takes the place of those for single ones.
            for known in [key for key in self.attributes if key[0] == item.tag]:
                del self.attributes[known]
        if item.tag == "clef":
            staff = staff or "1"
        if item.tag in _ORDER:
            self.attributes[(item.tag, staff)] = item

    def _line(self, kind: str, line: Any, direction: Any) -> None:
        key = (kind, line.get("number") or "1")
        if line.get("type") == "stop":
            self.lines.pop(key, None)
        elif line.get("type") != "continue":
            self.lines[key] = direction

    def begins(self) -> list[Any]:
        """Elements that write what holds again: <attributes>, and directions."""
        attributes = etree.Element("attributes")
        if not any(tag == "clef" for tag, _ in self.attributes):
            self.attributes[("clef", "1")] = etree.fromstring(_TREBLE)
        for tag in _ORDER:
            for key in sorted(key for key in self.attributes if key[0] == tag):
                attributes.append(deepcopy(self.attributes[key]))
        found = [attributes] if len(attributes) else []
        if self.ending is not None:
            found.insert(0, _volta(self.ending, "left", "start"))
        return found + [_direction(kind, line) for (kind, _), line in self.lines.items()]

    def ends(self) -> list[Any]:
        """Elements that close what is open."""
        found = [_direction(kind, line, stop=True) for (kind, _), line in self.lines.items()]
        if self.ending is not None:
            found.append(_volta(self.ending, "right", "discontinue"))
        return found


def _volta(opened: Any, location: str, kind: str) -> Any:
    """A barline that begins or leaves a volta."""
    barline = etree.Element("barline", location=location)
    ending = deepcopy(opened)
    ending.set("type", kind)
    barline.append(ending)
    return barline


def _direction(kind: str, opened: Any, *, stop: bool = False) -> Any:
    """A direction with one line of that which opened it, or with its end."""
    result = etree.Element("direction", dict(opened.attrib))
    inside = etree.SubElement(result, "direction-type")
    line = deepcopy(opened.find(f"direction-type/{kind}"))
    if stop:
        line.set("type", "stop")
    inside.append(line)
    for tag in ("voice", "staff"):
        if (child := opened.find(tag)) is not None:
            result.append(deepcopy(child))
    return result


def _strip(bar: Any) -> None:
    """Take out what is not drawn, or needs signs that no text font has."""
    for child in list(bar):
        if child.tag in _NOT_DRAWN:
            bar.remove(child)
        elif child.tag == "direction":
            for kind in list(child.iterfind("direction-type")):
                if kind.find("metronome") is not None:
                    child.remove(kind)
            if child.find("direction-type") is None:
                bar.remove(child)


def _open(bar: Any, state: _State) -> None:
    """Begin a bar with all that holds there, its own leading attributes included."""
    for child in list(bar):
        if child.tag in ("note", "backup", "forward"):
            break
        if child.tag == "attributes":
            for item in list(child):
                state._attribute(item)
            bar.remove(child)
    opening = state.begins()
    left = [c for c in bar if c.tag == "barline" and c.get("location") == "left"][:1]
    for barline in left:
        bar.remove(barline)
    bar[:0] = [*left, *opening]


GUESSED = (
    "key, spelling, staves and rests are guessed: only what sounds is read from such a file"
)
_MOST_VALUES = 3  # tied values that one note or rest in a bar may take
_MOST_VOICES = 4  # of a staff
_LOW, _MIDDLE, _HIGH = 53, 60, 67  # F3, C4, G4


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


def write_bars(
    score: Score, bars: tuple[int, int], parts: tuple[int, ...], whole: Score
) -> str:
    """Some bars of a score of `cut_to_values` as MusicXML text, in the key of the whole.

    Raises ReadError.
    """
    root = etree.Element("score-partwise", version="4.0")
    heads = etree.SubElement(root, "part-list")
    fifths = signature(whole.notes["pitch"].astype(np.int64), whole.keys)
    spelling = spelled(whole.notes, whole.keys)
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
                _staff(measure, mine, score, bar, staff, spelling)
        complete(body)
    return str(etree.tostring(root, encoding="unicode"))


def _clefs(pitches: list[int]) -> tuple[str, ...]:
    """Clefs of a part, one a staff, from its notes in the passage."""
    if not pitches:
        return ("G",)
    if min(pitches) < _LOW and max(pitches) > _HIGH:
        return "G", "F"
    return ("G",) if sum(pitches) >= 57 * len(pitches) else ("F",)


def _metre(bars: Bars, bar: int) -> tuple[int, int]:
    return int(bars.full[bar]), int(bars.beat[bar])


def _attributes(
    measure: Any, score: Score, bar: int, fifths: int, clefs: tuple[str, ...]
) -> None:
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
    measure: Any, notes: list[Any], score: Score, bar: int, staff: int, spelling: Spelling
) -> None:
    """Write the voices of a staff in a bar, each from its beginning to its end."""
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
                _note(measure, note, score.ticks, place, spelling, chord=index > 0)
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
    measure: Any,
    note: Any,
    ticks: int,
    place: tuple[str, str],
    spelling: Spelling,
    *,
    chord: bool,
) -> Any:
    step, alter, octave = written_note(note["pitch"], spelling)
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
    for tag, text in (("duration", str(length)), ("voice", place[0]), ("staff", place[1])):
        etree.SubElement(head, tag).text = text
