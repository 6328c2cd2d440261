"""ABC: one `Score` a tune, notes by lytk, the rest by `abc_source`.

Read from the library's tree in whole ticks: bars with their numbers, metres, repeats,
endings and jumps, then parts and notes. Signs come from the first voice that has markers.

Conventions
-----------
- A bar is what stands between bar lines. A short first bar is bar 0. A short bar
  that completes the short bar before it (an upbeat after a repeat) is that bar's
  second half, '8a' (common practice, no source).
- Sounding pitch: the written note, moved by octave clefs, `octave=`, `-8va` and
  `transpose=`, or where there is no octave mark by `%%MIDI transpose`. Old tunes
  in the bass clef are written two octaves up; they are known by their height.
- `P:` before the key gives the played order of the parts named in the tune;
  repeat signs inside a part are followed each time.
- Metadata 'phrase_ticks': tick where each line of music begins in the first
  voice, with commas between (a line is a phrase in the Essen collection).
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import accumulate, pairwise
from math import gcd, lcm
from pathlib import Path
from typing import Any

import numpy as np

from corpusreg.score.notes import (
    NOTE_DTYPE,
    Bars,
    Dynamic,
    Part,
    ReadResult,
    Score,
    Tempo,
    felt_beat,
    note_table,
)
from corpusreg.score.order import played_order
from corpusreg.score.readers.abc_source import (
    MARK,
    Marker,
    Source,
    Voice,
    decode,
    read_source,
    split_tunes,
)
from corpusreg.system.errors import ReadError

__all__ = ["read_abc_file"]

_MOST_TICKS = 2**40
_OURS = re.compile(re.escape(MARK) + r"(\d{1,9})", re.ASCII)


def parts_of(tree: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The parts of a tree, whatever groups they stand in."""
    for child in tree.get("children", ()):
        for kind, content in child.items():
            if kind == "Part":
                yield content
            else:
                yield from parts_of(content)


def written_length(duration: dict[str, Any]) -> tuple[int, int]:
    """A written length as a fraction of a whole note."""
    over, under = duration["base"]
    dots = duration.get("dots", 0)
    over, under = over * (2 ** (dots + 1) - 1), under * 2**dots
    over *= duration.get("tuplet_normal", 1)
    under *= duration.get("tuplet_actual", 1)
    common = gcd(over, under) or 1
    return over // common, under // common


def content_of(element: dict[str, Any]) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The element itself and the notes it sounds."""
    ((kind, content),) = element.items()
    if kind == "Chord":
        return content, content["notes"]
    return content, [content] if kind == "Note" else []


def is_grace(content: dict[str, Any], heads: list[dict[str, Any]]) -> bool:
    """Whether an element takes no time: its own flag, or that of a chord's first note."""
    return bool(content.get("is_grace") or (heads and heads[0].get("is_grace")))


@dataclass
class Tree:
    """Parts of a tune as the library gives them.

    whole: ticks in a whole note. start, length: ticks of each measure, laid side
    by side; a measure is as long as its longest part, `start` has one entry more.
    """

    parts: list[dict[str, Any]]
    markers: list[Marker]
    whole: int = field(init=False)
    start: list[int] = field(init=False)
    length: list[int] = field(init=False)

    def __post_init__(self) -> None:
        self.whole = self._resolution()
        self.length = [0] * max(len(part["measures"]) for part in self.parts)
        for _, bar, measure in self.measures():
            for voice in measure.get("voices", ()):
                total = sum(ticks for _, ticks, _, _ in self.elements(voice))
                self.length[bar] = max(self.length[bar], total)
        self.start = list(accumulate(self.length, initial=0))
        if self.start[-1] > 2**62:
            raise ReadError("the tune is too long; look for a mistyped length")

    def measures(self) -> Iterator[tuple[int, int, dict[str, Any]]]:
        """(part, bar, measure) of every measure."""
        for index, part in enumerate(self.parts):
            for bar, measure in enumerate(part["measures"]):
                yield index, bar, measure

    def to_ticks(self, fraction: tuple[int, int] | list[int]) -> int:
        """A fraction of a whole note in ticks."""
        return fraction[0] * self.whole // fraction[1]

    def elements(
        self, voice: dict[str, Any]
    ) -> Iterator[tuple[int, int, dict[str, Any], list[dict[str, Any]]]]:
        """(place in the measure, ticks, element, its notes) of a voice's elements."""
        at = 0
        for element in voice["elements"]:
            content, heads = content_of(element)
            grace = is_grace(content, heads)
            ticks = 0 if grace else self.to_ticks(written_length(content["duration"]))
            yield at, ticks, content, heads
            at += ticks

    def marks_of(self, part: dict[str, Any]) -> Iterator[tuple[tuple[int, int], Marker]]:
        """((bar, tick), marker) of the markers that came back in a part."""
        for bar, measure in enumerate(part["measures"]):
            for direction in measure.get("directions", ()):
                found = _OURS.fullmatch(direction.get("text", {}).get("text", ""))
                # A tune can hold text that only looks like one of our marks.
                if found and int(found[1]) < len(self.markers):
                    offset = self.to_ticks(direction.get("offset", (0, 1)))
                    yield (bar, self.start[bar] + offset), self.markers[int(found[1])]

    def marks(self) -> Iterator[tuple[int, int, int, Marker]]:
        """(part, bar, tick, marker) of every marker that came back."""
        for index, part in enumerate(self.parts):
            for (bar, tick), marker in self.marks_of(part):
                yield index, bar, tick, marker

    def _resolution(self) -> int:
        """Ticks per whole note such that every length and place is an integer."""
        found = {16}
        for _, _, measure in self.measures():
            for voice in measure.get("voices", ()):
                found |= {
                    written_length(content_of(e)[0]["duration"])[1] for e in voice["elements"]
                }
            found |= {d["offset"][1] for d in measure.get("directions", ()) if "offset" in d}
            if time := measure.get("attributes", {}).get("time"):
                found.add(time["beat_type"])
        whole = lcm(*found)
        if whole > _MOST_TICKS:
            raise ReadError("the note values have no common unit; look for a mistyped length")
        return whole


_MOST_PARTS_PLAYED = 1000


def bars_of(tree: Tree, source: Source, assumed: list[str], lost: dict[str, int]) -> Bars:
    """The bars of a tune; what had to be assumed or was lost is added to the lists given."""
    if not any(m.strip().lower() not in ("", "none") for m in source.fields.get("M", [])):
        assumed.append("no metre written: read as 4/4")
    bars, labels = _signed(tree, _plain(tree))
    return replace(bars, order=_order(source, bars, labels, lost))


def _plain(tree: Tree) -> Bars:
    """Bars with the signs that the library gives."""
    full, beat = _metre(tree)
    count = len(tree.length)
    repeat_start, section = np.zeros(count, bool), np.zeros(count, bool)
    repeat_end = np.zeros(count, np.int64)
    endings: list[tuple[int, ...]] = [()] * count
    lead = max(tree.parts, key=lambda part: len(part["measures"]))
    open_ending: tuple[int, ...] = ()
    for bar, measure in enumerate(lead["measures"]):
        left, right = measure.get("left_barline", {}), measure.get("right_barline", {})
        repeat_start[bar] = left.get("repeat_direction") == "Forward"
        repeat_end[bar] = 2 * (right.get("repeat_direction") == "Backward")
        if left.get("ending_type") == "start":
            open_ending = (left.get("ending_number", 1),)
        endings[bar] = open_ending
        if "ending_type" in right:
            open_ending = ()
        if bar + 1 < count and right.get("style") in ("Double", "Final", "RepeatBackward"):
            section[bar + 1] = True
    return Bars.plain(
        _labels(tree.length, full),
        tree.length,
        full,
        beat,
        repeat_start=repeat_start,
        repeat_end=repeat_end,
        section=section | repeat_start,
        endings=tuple(endings),
    )


def _metre(tree: Tree) -> tuple[list[int], list[int]]:
    """Full length and felt beat of each bar."""
    full, beat = [], []
    now = tree.whole, felt_beat(4, 4, tree.whole // 4)
    changes = tree.parts[0]["measures"]
    for bar in range(len(tree.length)):
        attributes = changes[bar].get("attributes", {}) if bar < len(changes) else {}
        if time := attributes.get("time"):
            beats = sum(int(n) for n in re.findall(r"\d{1,3}", str(time["beats"]))) or 4
            unit = time["beat_type"] or 4
            now = beats * tree.whole // unit, felt_beat(beats, unit, tree.whole // 4)
        full.append(now[0])
        beat.append(now[1])
    return full, beat


def _signed(tree: Tree, bars: Bars) -> tuple[Bars, dict[str, int]]:
    """Bars with endings of several numbers and jumps, and the bar of each part (`P:`)."""
    endings, jumps = list(bars.endings), [set(m) for m in bars.marks]
    section = bars.section.copy()
    labels: dict[str, int] = {}
    found = list(tree.marks())
    first = min((index for index, *_ in found), default=0)
    marks = [(bar, tick, marker) for index, bar, tick, marker in found if index == first]
    codas = [marker for _, _, marker in marks if marker.value == "coda"]
    for bar, tick, marker in marks:
        if marker.kind == "ending" and endings[bar]:
            _renumber(endings, bar, _numbers(marker.value))
        elif marker.kind == "jump":
            # Of two coda signs the first is where one leaves.
            leaves = len(codas) > 1 and marker is codas[0]
            value = "tocoda" if leaves else marker.value
            jumps[_bar_of_jump(tree, bar, tick, value, marker)].add(value)
        elif marker.kind == "part":
            labels.setdefault(marker.value, bar)
            section[bar] = True
    marked = tuple(map(frozenset, jumps))
    return replace(bars, endings=tuple(endings), marks=marked, section=section), labels


def _bar_of_jump(tree: Tree, bar: int, tick: int, value: str, marker: Marker) -> int:
    """Segno and coda count at a bar's beginning, the others at its end."""
    if not marker.closes:
        return bar
    if value in ("segno", "coda"):
        return min(bar + (tick > tree.start[bar]), len(tree.length) - 1)
    return max(0, bar - (tick == tree.start[bar]))


def _order(
    source: Source, bars: Bars, labels: dict[str, int], lost: dict[str, int]
) -> tuple[int, ...] | None:
    """Played order of `P:` in the header, None where it gives none."""
    wanted = _expand(" ".join(source.fields.get("P", [])))
    if not wanted or not labels:
        return None
    missing = sum(label not in labels for label in wanted)
    if missing:
        lost["parts of P: that the tune does not have"] = missing
        return None
    edges = sorted({0, *labels.values(), len(bars)})
    until = dict(pairwise(edges))
    order: list[int] = []
    for label in wanted:
        begin = labels[label]
        inner, _ = played_order(_slice(bars, begin, until[begin]))
        order += [begin + bar for bar in inner]
    return tuple(order)


def _labels(length: list[int], full: list[int]) -> list[str]:
    """Printed bar numbers (see the module's conventions)."""
    labels: list[str] = []
    number, halved = 0, False
    for bar, (ticks, whole) in enumerate(zip(length, full, strict=True)):
        if bar == 0 and 0 < ticks < whole and len(length) > 1:
            labels.append("0")
            continue
        short = 0 < ticks < whole
        if short and not halved and bar > 1 and length[bar - 1] + ticks == whole:
            labels.append(f"{number}a")
            halved = True
            continue
        number, halved = number + 1, False
        labels.append(str(number))
    return labels


def _numbers(text: str) -> tuple[int, ...]:
    """Passes that an ending names: '1,3' or '1-3'."""
    found: list[int] = []
    for piece in filter(None, text.split(",")):
        ends = [int(n) for n in re.findall(r"\d{1,2}", piece)]
        if ends:
            found += range(ends[0], ends[-1] + 1)
    return tuple(dict.fromkeys(found)) or (1,)


def _renumber(endings: list[tuple[int, ...]], bar: int, passes: tuple[int, ...]) -> None:
    old = endings[bar]
    while bar < len(endings) and endings[bar] == old:
        endings[bar] = passes
        bar += 1


def _expand(text: str) -> list[str]:
    """Parts in order: 'A2(BC)2' is A A B C B C; dots and blanks only separate."""
    tokens = (
        re.findall(r"[A-Z(]|\)\d{0,4}|\d{1,4}", text)
        if re.fullmatch(r"[A-Z\d().\s]+", text)
        else []
    )
    stack: list[list[str]] = [[]]
    for token in tokens:
        if token == "(":
            stack.append([])
        elif token[0] == ")":
            if len(stack) > 1:
                group = stack.pop()
                stack[-1] += group * min(int(token[1:] or 1), _MOST_PARTS_PLAYED)
        elif token.isdigit():
            stack[-1] += stack[-1][-1:] * (min(int(token), _MOST_PARTS_PLAYED) - 1)
        else:
            stack[-1].append(token)
        if sum(map(len, stack)) > _MOST_PARTS_PLAYED:
            return []
    return [label for group in stack for label in group]


def _slice(bars: Bars, begin: int, end: int) -> Bars:
    return Bars.plain(
        bars.labels[begin:end],
        bars.length[begin:end],
        bars.full[begin:end],
        bars.beat[begin:end],
        repeat_start=bars.repeat_start[begin:end],
        repeat_end=bars.repeat_end[begin:end],
        endings=bars.endings[begin:end],
    )


_STEP = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_BEATS = {"breve": 2, "whole": 1, "half": 1 / 2, "quarter": 1 / 4, "eighth": 1 / 8}


_BEATS |= {"16th": 1 / 16, "32nd": 1 / 32, "64th": 1 / 64}


_DOTS = frozenset(("staccato", "staccatissimo", "spiccato"))
_HYMN = 20  # syllables of its first verse: the short metre has 26
_HYMN_VOICES = range(3, 9)
_DIVIDED = 0.1  # of the notes are struck with another at most: voices divide now and then
_TREBLE = 66  # a mean pitch above which no line in the bass clef lies


def read_abc_file(path: Path) -> ReadResult:
    """All tunes of an ABC file, and the number and reason of each that cannot be read.

    Raises ReadError where there is no tune.
    """
    head, tunes = split_tunes(decode(path.read_bytes()))
    if not tunes:
        raise ReadError(f"{path}: no ABC tune found; a tune has the fields X: and K:")
    scores: list[Score] = []
    failures: list[tuple[str, str]] = []
    for number, tune in tunes:
        try:
            scores.append(_read_tune(head, number, tune))
        except ReadError as error:
            failures.append((number, str(error)))
    return ReadResult(tuple(scores), tuple(failures))


def _read_tune(head: str, number: str, tune: str) -> Score:
    import lytk

    source = read_source(head, tune)
    try:
        found = lytk.from_abc_tunes_string(source.text)
        tree = found[0].to_dict() if found else {}
    except (lytk.LytkError, ValueError, OverflowError, RecursionError) as error:
        reason = " ".join(str(error).split())
        raise ReadError(f"the tune cannot be read ({reason})") from error
    parts = list(parts_of(tree))
    if not any(part["measures"] for part in parts):
        raise ReadError("the tune has no music after its K: field")
    return _Tune(source, Tree(parts, source.markers), number).score()


@dataclass
class _Seat:
    """Where a voice sits: its part and staff."""

    part: int
    staff: int


@dataclass
class _Tune:
    """One tune on its way from the library's tree to a Score."""

    source: Source
    tree: Tree
    number: str
    lost: dict[str, int] = field(default_factory=dict)
    left_out: dict[str, int] = field(default_factory=dict)
    assumed: list[str] = field(default_factory=list)

    def score(self) -> Score:
        self.assumed += self.source.assumed
        self.lost |= self.source.lost
        bars = bars_of(self.tree, self.source, self.assumed, self.lost)
        self.voices = self._voices()
        parts, seats = self._seats()
        marks = list(self.tree.marks())
        rows = self._rows(seats, marks)
        table = _join_ties(note_table(rows), self.lost)
        parts = self._sung(parts, table)
        dynamics, tempos = self._directions(seats)
        return Score(
            ticks=self.tree.whole // 4,
            parts=parts,
            bars=bars,
            notes=table,
            dynamics=tuple(dynamics),
            tempos=tuple(tempos),
            metadata=self._metadata(marks),
            assumed=tuple(self.assumed),
            lost=self.lost,
            left_out=self.left_out,
            number=self.number,
            format="abc",
        )

    def _voices(self) -> list[str]:
        """The source's voice of each part, from the markers that came back in it."""
        named = list(self.source.voices) or [""]
        if len(named) > 1 and "" in named:
            named.remove("")
        found = []
        for index, part in enumerate(self.tree.parts):
            back = (
                m.voice for _, m in self.tree.marks_of(part) if m.kind == "line" and m.voice
            )
            found.append(next(back, named[index] if index < len(named) else ""))
        return found

    def _seats(self) -> tuple[tuple[Part, ...], list[_Seat]]:
        """Parts, and the part and staff of each voice; a brace makes one player."""
        seats = [_Seat(-1, 1) for _ in self.tree.parts]
        parts: list[Part] = []
        place = {name: index for index, name in enumerate(self.voices)}
        for staves, braced in self.source.staves:
            voices = [(v, n) for n, staff in enumerate(staves, 1) for v in staff if v in place]
            if braced and len(staves) > 1 and voices:
                for name, staff in voices:
                    seats[place[name]] = _Seat(len(parts), staff)
                parts.append(replace(self._part(voices[0][0]), staves=len(staves)))
                self.assumed.append("staves joined by a brace are one player")
        for index, seat in enumerate(seats):
            if seat.part < 0:
                seat.part = len(parts)
                parts.append(self._part(self.voices[index]))
        return tuple(parts), seats

    def _part(self, name: str) -> Part:
        voice = self.source.voices.get(name, Voice())
        return Part(
            voice.name or name,
            voice.abbreviation,
            program=voice.program,
            lyrics=voice.syllables,
        )

    def _sung(self, parts: tuple[Part, ...], notes: np.ndarray[Any, Any]) -> tuple[Part, ...]:
        """The parts of a hymn, whose words stand under one voice and are sung by all.

        A hymn has three to eight voices without names, of one note at a time, played back
        alike (common practice, no source).
        """
        words = max(part.lyrics for part in parts)
        named = any(voice.name for voice in self.source.voices.values())
        if (
            words < _HYMN
            or named
            or len(parts) not in _HYMN_VOICES
            or any(part.staves > 1 for part in parts)
            or len({part.program for part in parts}) > 1  # players of their own
            or _has_chords(notes)
        ):
            return parts
        # The sound that plays them back says nothing of who sings.
        return tuple(replace(part, lyrics=words, program=None) for part in parts)

    def _rows(
        self, seats: list[_Seat], marks: list[tuple[int, int, int, Marker]]
    ) -> list[tuple[Any, ...]]:
        rows: list[tuple[Any, ...]] = []
        read = 0
        by_part: list[list[tuple[int, int]]] = [[] for _ in self.tree.parts]
        for index, _, tick, marker in marks:
            if marker.kind == "transpose":
                by_part[index].append((tick, int(marker.value)))
        printed = [0] * len(self.tree.parts)
        drums = [self._drums(name) for name in self.voices]
        for index, bar, measure in self.tree.measures():
            attributes = measure.get("attributes", {})
            if "transpose" in attributes:
                printed[index] = attributes["transpose"].get("chromatic", 0)
            for clef in attributes.get("clefs", {}).values():
                drums[index] = clef["sign"] == "Percussion" or self._drums(self.voices[index])
            for place, element, heads in self._sounding(measure, bar):
                read += len(heads)
                if drums[index]:
                    self.left_out["unpitched"] = self.left_out.get("unpitched", 0) + len(heads)
                    continue
                shift = printed[index] + self._playback(index, place[1], by_part[index])
                rows += [self._row(seats[index], bar, place, element, h, shift) for h in heads]
        rows = self._lowered(rows, seats)
        if read < self.source.notes:
            self.lost["notes in the text that were not read"] = self.source.notes - read
        return [row for row in rows if self._playable(row)]

    def _lowered(
        self, rows: list[tuple[Any, ...]], seats: list[_Seat]
    ) -> list[tuple[Any, ...]]:
        """Voices in the bass clef that are written as for the treble, in their place."""
        for index, part in enumerate(self.tree.parts):
            clefs = (part["measures"] or [{}])[0].get("attributes", {}).get("clefs", {})
            own = [r[6] for r in rows if r[:2] == (seats[index].part, seats[index].staff)]
            bass = any(clef["sign"] == "F" for clef in clefs.values())
            if not bass or not own or min(own) < 60 or sum(own) < _TREBLE * len(own):
                continue
            self.assumed.append("bass clef over notes of the treble: read two octaves lower")
            place = (seats[index].part, seats[index].staff)
            rows = [(*r[:6], r[6] - 24, *r[7:]) if r[:2] == place else r for r in rows]
        return rows

    def _drums(self, name: str) -> bool:
        return self.source.voices.get(name, Voice()).percussion

    def _playback(self, index: int, tick: int, changes: list[tuple[int, int]]) -> int:
        if self.source.octave_marked:
            return 0
        voice = self.source.voices.get(self.voices[index], Voice())
        later = bisect_right(changes, (tick, 2**31))
        return changes[later - 1][1] if later else voice.transpose

    def _playable(self, row: tuple[Any, ...]) -> bool:
        if 0 <= row[6] <= 127:
            return True
        self.lost["notes outside MIDI range"] = self.lost.get("notes outside MIDI range", 0) + 1
        return False

    def _sounding(
        self, measure: dict[str, Any], bar: int
    ) -> Iterator[tuple[tuple[int, int, int], dict[str, Any], list[dict[str, Any]]]]:
        """((voice, onset, duration), element, its notes) for what sounds in a measure."""
        for voice in measure.get("voices", ()):
            for at, ticks, content, heads in self.tree.elements(voice):
                if heads:
                    yield (voice["number"], self.tree.start[bar] + at, ticks), content, heads

    def _row(
        self,
        seat: _Seat,
        bar: int,
        place: tuple[int, int, int],
        element: dict[str, Any],
        head: dict[str, Any],
        shift: int,
    ) -> tuple[Any, ...]:
        voice, onset, ticks = place
        written = head["pitch"]
        alter = written.get("alter", (0, 1))
        pitch = 12 * (written["octave"] + 1) + _STEP[written["step"]] + alter[0] // alter[1]
        ties = {tie["tie_type"] for tie in head.get("ties", ())}
        signs = {
            a["name"]
            for a in (*element.get("articulations", ()), *head.get("articulations", ()))
        }
        return (
            seat.part,
            seat.staff,
            16 * (seat.staff - 1) + voice - 1,
            bar,
            onset,
            ticks,
            pitch + shift,
            -1,
            is_grace(element, [head]),
            False,
            bool(ties & {"Start", "Continue"}),
            bool(signs & _DOTS),
        )

    def _directions(self, seats: list[_Seat]) -> tuple[list[Dynamic], list[Tempo]]:
        dynamics: list[Dynamic] = []
        tempos: dict[int, Tempo] = {}
        hairpins: dict[int, int] = {}
        for index, bar, measure in self.tree.measures():
            seat = seats[index]
            for direction in measure.get("directions", ()):
                tick = self.tree.start[bar] + self.tree.to_ticks(
                    direction.get("offset", (0, 1))
                )
                if "dynamic" in direction:
                    sign = direction["dynamic"]["sign"]
                    dynamics.append(Dynamic(seat.part, tick, "mark", sign))
                elif "wedge" in direction:
                    _hairpin(
                        direction["wedge"]["wedge_type"], seat.part, tick, dynamics, hairpins
                    )
                elif "per_minute" in direction.get("tempo", {}):
                    tempo = direction["tempo"]
                    unit = 4 * _BEATS.get(tempo.get("beat_unit", "quarter"), 1 / 4)
                    unit *= 2 - 0.5 ** tempo.get("dots", 0)
                    if (tempo["per_minute"] or 0) > 0:  # None: a number beyond bounds
                        tempos.setdefault(tick, Tempo(tick, unit * tempo["per_minute"]))
        return dynamics, [tempos[tick] for tick in sorted(tempos)]

    def _metadata(self, marks: list[tuple[int, int, int, Marker]]) -> dict[str, str]:
        fields = self.source.fields
        data = {f"abc:{key}": "; ".join(values) for key, values in fields.items()}
        for key, letter in (("title", "T"), ("composer", "C"), ("encoder", "Z")):
            if fields.get(letter):
                data[key] = fields[letter][0]
        data["number"] = self.number
        lines = sorted({t for i, _, t, m in marks if i == 0 and m.kind == "line"})
        data["phrase_ticks"] = ",".join(map(str, lines))
        return data


def _hairpin(
    kind: str, part: int, tick: int, dynamics: list[Dynamic], running: dict[int, int]
) -> None:
    """Begin a hairpin, or close the one that is open in the part."""
    if kind == "stop":
        if (at := running.pop(part, None)) is not None:
            dynamics[at] = replace(dynamics[at], end=tick)
        return
    running[part] = len(dynamics)
    dynamics.append(Dynamic(part, tick, "cresc" if kind == "crescendo" else "dim"))


def _has_chords(notes: np.ndarray[Any, Any]) -> bool:
    """Whether parts strike many of their notes with another: hands, and no voices."""
    key = np.stack([notes["part"], notes["onset"]])[:, ~notes["grace"]]
    return bool(key.shape[1] - np.unique(key, axis=1).shape[1] > _DIVIDED * key.shape[1])


def _join_ties(table: np.ndarray[Any, Any], lost: dict[str, int]) -> np.ndarray[Any, Any]:
    """Flag what a tie leads to; a tie between different pitches is a slur."""
    waiting: dict[tuple[int, int, int], list[int]] = {}
    if not len(table):
        return np.zeros(0, NOTE_DTYPE)
    for row in np.argsort(table["onset"], kind="stable").tolist():
        note = table[row]
        key = (int(note["part"]), int(note["pitch"]), int(note["onset"]))
        if waiting.get(key):
            waiting[key].pop()
            table["tie_in"][row] = True
        if note["tie_out"]:
            end = (*key[:2], key[2] + int(note["duration"]))
            waiting.setdefault(end, []).append(row)
    loose = [row for rows in waiting.values() for row in rows]
    table["tie_out"][loose] = False
    if loose:
        lost["ties that lead to no note of the same pitch"] = len(loose)
    return table
