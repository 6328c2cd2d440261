"""Reads MusicXML (.musicxml, .xml, .mxl; part-wise and time-wise) in a single pass.

Conventions as in `corpusreg.score.notes`. Bar i of the score is the i-th measure of every
part; it is as long as the longest content any part has in it, or as its metre says where no
part has any. Ticks are the least common multiple of all units, bounded by MAX_UNIT. Segno
and coda count at a bar's beginning, the other jumps at its end, so a segno or coda written at
the very end of a bar belongs to the next one. An open hairpin (in words, or without its end)
lasts until the next mark or hairpin of its part and staff.

Aim: everything on the page that later measures need, nothing dropped silently,
at little more than the cost of parsing. Source: MusicXML 4.0, W3C Community
Group 2021. Of a large file each measure is forgotten once read, so that memory is
bounded; a file of ordinary size is parsed whole, which is faster, and its notes are read by
their wording (`wording`), which is faster still. Entities are not
resolved, nothing is loaded from elsewhere, and size, depth and numbers are bounded.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import chain, islice
from math import gcd, lcm
from pathlib import Path
from typing import Any

import numpy as np
from lxml import etree
from numpy.typing import NDArray

from corpusreg.score.notes import (
    NOTE_DTYPE,
    Bars,
    Dynamic,
    Part,
    Pedal,
    Score,
    Sign,
    Tempo,
    felt_beat,
)
from corpusreg.score.readers.musicxml.container import file_name, score_bytes
from corpusreg.score.readers.musicxml.part import PartReader
from corpusreg.score.readers.musicxml.records import (
    MAX_UNIT,
    ROW,
    Header,
    Marks,
    Metre,
    PartRecord,
    Position,
    RawDynamic,
    ReadTally,
    hand_pairs,
    integer,
)
from corpusreg.score.readers.musicxml.wording import PARSING, UnusualError, cut
from corpusreg.system.errors import ReadError

__all__ = ["read_musicxml"]

_COMMON_TIME = Metre(((4, 4),))
_ROUNDED_TICKS = 60480  # 2^6 x 3^3 x 5 x 7, where nothing exact is small enough


@dataclass(frozen=True)
class Layout:
    """Bars in time; arrays as in `Bars`."""

    ticks: int
    labels: tuple[str, ...]
    start: NDArray[np.int64]
    length: NDArray[np.int64]
    full: NDArray[np.int64]
    beat: NDArray[np.int64]
    metres: tuple[Metre, ...]

    def tick(self, at: Position) -> int:
        """A moment in ticks from the beginning of the file, never before it."""
        offset = _rescaled(at.offset, at.unit, self.ticks)
        if at.bar < len(self.start):
            return max(0, int(self.start[at.bar]) + offset)
        return int(self.start[-1] + self.length[-1]) if len(self.start) else 0

    def bar_of(self, at: Position, end_counts_next: bool) -> int:
        """Bar that a sign at a moment belongs to, at most the last."""
        last = len(self.start) - 1
        bar = min(at.bar, last)
        after = self.tick(at) >= self.start[bar] + self.length[bar]
        return min(last, bar + 1) if end_counts_next and after else bar


def lay_out(records: Sequence[PartRecord], tally: ReadTally) -> Layout:
    """Common ticks and the bars of the whole score."""
    n = max((len(record.bars) for record in records), default=0)
    choices = _metres(records, n, tally)
    ticks = _common_ticks(records, choices)
    fulls = {metre: int(metre.quarters * ticks) for found in set(choices) for metre in found}
    metres: list[Metre] = []
    length, full = np.zeros(n, np.int64), np.zeros(n, np.int64)
    beat = np.full(n, ticks, np.int64)
    for i, found in enumerate(choices):
        metre = found[0]
        content = _content(records, i, ticks, max(fulls[m] for m in found))
        metre = next((m for m in found if fulls[m] == content), metre)
        metres.append(metre)
        length[i] = content or fulls[metre] or ticks
        full[i] = fulls[metre] or length[i]
        if metre.pairs:
            beat[i] = min(felt_beat(top, bottom, ticks) for top, bottom in metre.pairs)
    start = np.concatenate(([0], np.cumsum(length)[:-1])).astype(np.int64)[:n]
    _say_what_differs(records, int(np.count_nonzero(length > full)), tally)
    labels = _labels(records, n, tally)
    return Layout(ticks, labels, start, length, full, beat, tuple(metres))


def _say_what_differs(records: Sequence[PartRecord], longer: int, tally: ReadTally) -> None:
    if longer:
        tally.assumed[f"bars longer than their metre ({longer}): kept as long as they are"] = (
            None
        )
    counts = [len(record.bars) for record in records]
    if counts and min(counts) != max(counts):
        tally.assumed[
            f"parts have {min(counts)} to {max(counts)} bars: the shorter ones end early"
        ] = None


def _common_ticks(records: Sequence[PartRecord], choices: Sequence[tuple[Metre, ...]]) -> int:
    units = {bar.unit for record in records for bar in record.bars}
    metres = {metre for found in set(choices) for metre in found}
    units |= {bottom // gcd(bottom, 4) for metre in metres for _, bottom in metre.pairs}
    ticks = 1
    for unit in sorted(units):
        ticks = lcm(ticks, unit)
        if ticks > MAX_UNIT:
            return _ROUNDED_TICKS
    return ticks


def _metres(records: Sequence[PartRecord], n: int, tally: ReadTally) -> list[tuple[Metre, ...]]:
    """The metres in force in each bar, in the order of parts, each once."""
    changes = [dict(record.metres) for record in records if record.metres] or [{}]
    if n and all(0 not in change for change in changes):
        tally.assumed["no metre written at the beginning: read as 4/4"] = None
    now = [_COMMON_TIME for _ in changes]
    choices = []
    for i in range(n):
        now = [change.get(i, metre) for change, metre in zip(changes, now, strict=True)]
        choices.append(tuple(dict.fromkeys(now)))
    if any(len(found) > 1 for found in choices):
        tally.assumed["parts in different metres: bars take the one that fills them"] = None
    if any(not metre.pairs for found in choices for metre in found):
        tally.assumed["bars without metre: beats taken as quarter notes"] = None
    return choices


def _content(records: Sequence[PartRecord], i: int, ticks: int, full: int) -> int:
    """Longest content of bar i in any part, in ticks; 0 where there is none.

    Rests never make a bar longer than its metre (a whole rest in 2/4, a rest
    too many in one part) unless its notes do. A rest from the barline on may have
    the length of a full bar in a pickup (implicit): there it counts only where
    nothing else is in the bar.
    """
    played = rested = whole = 0
    implicit = False
    for record in records:
        if i < len(record.bars):
            bar = record.bars[i]
            implicit = implicit or bar.implicit
            played = max(played, _rescaled(bar.extent, bar.unit, ticks))
            rested = max(rested, _rescaled(bar.rest_extent, bar.unit, ticks))
            whole = max(whole, _rescaled(bar.whole_extent, bar.unit, ticks))
    if not (implicit and (played or rested)):
        rested = max(rested, whole)
    if full and played <= full:
        rested = min(rested, full)
    return max(played, rested)


def _rescaled(units: int, unit: int, ticks: int) -> int:
    whole, rest = divmod(units * ticks, unit)
    return whole if not rest else round(Fraction(units * ticks, unit))


def _labels(records: Sequence[PartRecord], n: int, tally: ReadTally) -> tuple[str, ...]:
    """Printed numbers; a bar without one counts on from the bar before."""
    labels: list[str] = []
    counted = 0
    for i in range(n):
        written = (record.bars[i].label for record in records if i < len(record.bars))
        label = next((text for text in written if text), "")
        if not label:
            tally.assumed["bars without a number: counted on from the bar before"] = None
            label = str(counted + 1)
        digits = "".join(c for c in label if c in "0123456789")[:9]
        counted = int(digits) if digits else counted + 1
        labels.append(label)
    return tuple(labels)


def note_rows(record: PartRecord, layout: Layout, tally: ReadTally) -> NDArray[np.void]:
    """A part's notes with onsets and durations in ticks, shape (n,), NOTE_DTYPE."""
    read = np.frombuffer(record.rows, np.int64).reshape(-1, ROW)
    rows: NDArray[Any] = np.empty(len(read), NOTE_DTYPE)
    for column, name in enumerate(NOTE_DTYPE.names or ()):
        rows[name] = read[:, column]
    units = read[:, -1]
    if len(rows):
        for name in ("onset", "duration"):
            rows[name] = _scaled(rows[name], units, layout.ticks, tally)
        rows["onset"] += layout.start[rows["bar"]]
    return rows


def _scaled(
    values: NDArray[np.int64], units: NDArray[np.int64], ticks: int, tally: ReadTally
) -> NDArray[np.int64]:
    if not (ticks % units).any():
        return values * (ticks // units)
    exact = values / units * ticks
    rounded = np.rint(exact).astype(np.int64)
    inexact = int(np.count_nonzero(np.abs(exact - rounded) > 1e-6))
    if inexact:
        tally.lost["a time rounded, divisions too fine to be exact"] += inexact
    return rounded


def read_form(
    layout: Layout, marks: Marks, records: Sequence[PartRecord], tally: ReadTally
) -> Bars:
    """The score's bars with everything that says in which order they are played."""
    n = len(layout.labels)
    endings = _endings(marks, n)
    repeat_start = np.zeros(n, bool)
    repeat_start[[i for i in marks.repeat_start if i < n]] = True
    return Bars(
        labels=layout.labels,
        start=layout.start,
        length=layout.length,
        full=layout.full,
        beat=layout.beat,
        section=_sections(layout, marks, records, endings),
        repeat_start=repeat_start,
        repeat_end=_repeat_ends(layout, marks, endings, tally),
        endings=endings,
        marks=_jumps(layout, marks),
    )


def _endings(marks: Marks, n: int) -> tuple[tuple[int, ...], ...]:
    """Passes of each bar: from an ending's beginning to its end."""
    endings: list[tuple[int, ...]] = [()] * n
    for first in sorted(marks.ending_start):
        for i in range(first, _ending_end(first, marks, n)):
            endings[i] = marks.ending_start[first]
    return tuple(endings)


def _ending_end(first: int, marks: Marks, n: int) -> int:
    """One past the last bar of an ending; a lone bracket covers its first bar only."""
    for i in range(first, n):
        if i > first and i in marks.ending_start:
            break
        if i in marks.ending_stop or i in marks.repeat_end:
            return i + 1
    return min(first + 1, n)


def _repeat_ends(
    layout: Layout, marks: Marks, endings: tuple[tuple[int, ...], ...], tally: ReadTally
) -> NDArray[np.int64]:
    """How many times the passage before each repeat sign is played."""
    n = len(layout.labels)
    ends = np.zeros(n, np.int64)
    for last in sorted(i for i in marks.repeat_end if i < n):
        times = marks.repeat_end[last]
        if not times and endings[last]:
            following = endings[last + 1] if last + 1 < n else ()
            times = max(endings[last] + following)
        elif not times:
            first = _passage_start(last, marks)
            times = _verses(marks, first, last)
            if times > 2:
                tally.assumed[
                    f"bars {layout.labels[first]}-{layout.labels[last]}: "
                    f"{times} verses are written, so played {times} times"
                ] = None
        ends[last] = max(2, times) if marks.repeat_end[last] != 1 else 1
    return ends


def _passage_start(last: int, marks: Marks) -> int:
    """First bar of the passage that a repeat sign at the end of bar `last` repeats."""
    starts = [i for i in marks.repeat_start if i <= last]
    starts += [i + 1 for i in marks.repeat_end if i < last]
    return max(starts, default=0)


def _verses(marks: Marks, first: int, last: int) -> int:
    """Verses written under most of a passage's sung notes."""
    found: Counter[str] = Counter()
    for i in range(first, last + 1):
        if i in marks.verses:
            found.update(marks.verses[i])
    most = max(found.values(), default=0)
    return sum(1 for count in found.values() if 2 * count >= most)


def _sections(
    layout: Layout,
    marks: Marks,
    records: Sequence[PartRecord],
    endings: tuple[tuple[int, ...], ...],
) -> NDArray[np.bool_]:
    """Bars that begin a section; a second ending begins none."""
    n = len(layout.labels)
    section = np.zeros(n, bool)
    repeated = {i + 1 for i in marks.repeat_end if i + 1 < n}
    first = set(marks.sections) | set(marks.repeat_start) | repeated
    first -= {i for i in repeated if endings[i] and endings[i - 1]}
    first |= {layout.bar_of(at, end_counts_next=True) for at, _ in marks.rehearsals}
    first |= _new_keys(records) & {
        i for i in range(1, n) if layout.metres[i] != layout.metres[i - 1]
    }
    section[[i for i in first if i < n]] = True
    return section


def _new_keys(records: Sequence[PartRecord]) -> set[int]:
    """Bars in which some part's key signature becomes another one."""
    changed: set[int] = set()
    for record in records:
        before = ""
        for bar, fifths in record.keys:
            if before and fifths != before:
                changed.add(bar)
            before = fifths
    return changed


def _jumps(layout: Layout, marks: Marks) -> tuple[frozenset[str], ...]:
    found: list[set[str]] = [set() for _ in layout.labels]
    for at, name in marks.jumps:
        bar = layout.bar_of(at, end_counts_next=name in ("segno", "coda"))
        found[bar].add(name)
    signs = sorted({layout.bar_of(at, end_counts_next=True) for at in marks.coda_signs})
    stated = {name for names in found for name in names}
    for k, bar in enumerate(signs):
        # Two bare coda signs: the first is where one leaves, the second where one goes on.
        leaves = k == 0 and len(signs) > 1 and "tocoda" not in stated
        found[bar].add("tocoda" if leaves else "coda")
    return tuple(frozenset(names) for names in found)


def assemble(
    header: Header, records: Sequence[PartRecord], marks: Marks, tally: ReadTally
) -> Score:
    """The score; `records` are the parts that have music, by index in the header."""
    layout = lay_out(records, tally)
    bars = read_form(layout, marks, records, tally)
    rows = [note_rows(record, layout, tally) for record in records]
    dynamics = [_dynamics(record, layout) for record in records]
    pedals = [_pedals(record, layout) for record in records]
    parts, moves = _players(header, records, tally)
    for i, record in enumerate(records):
        part, staff, voice = moves[record.index]
        rows[i]["part"], rows[i]["staff"] = part, rows[i]["staff"] + staff
        rows[i]["voice"] += voice
        dynamics[i] = [_moved(d, part, staff) for d in dynamics[i]]
        pedals[i] = [replace(p, part=part) for p in pedals[i]]
    return Score(
        ticks=layout.ticks,
        parts=parts,
        bars=bars,
        notes=np.concatenate(rows),
        dynamics=tuple(d for found in dynamics for d in found),
        pedals=tuple(p for found in pedals for p in found),
        tempos=_tempos(marks, layout),
        metadata=header.metadata(),
        assumed=tuple(tally.assumed),
        lost=dict(tally.lost),
        left_out=dict(tally.left_out),
        format="musicxml",
        signs=_signs(records, marks, layout),
        keys=_keys(records),
    )


def _keys(records: Sequence[PartRecord]) -> tuple[tuple[int, int], ...]:
    """The signatures that most parts have where one changes."""
    found: dict[int, Counter[str]] = {}
    for record in records:
        for bar, fifths in record.keys:
            found.setdefault(bar, Counter())[fifths] += 1
    said = ((bar, integer(found[bar].most_common(1)[0][0])) for bar in sorted(found))
    return tuple((bar, fifths) for bar, fifths in said if fifths is not None)


def _signs(records: Sequence[PartRecord], marks: Marks, layout: Layout) -> tuple[Sign, ...]:
    """Rehearsal marks, and what shows where movements end and begin, in any part."""
    changes = {Sign(bar, "metre") for record in records for bar, _ in record.metres}
    changes |= {Sign(bar, "key") for record in records for bar, _ in record.keys}
    changes |= {
        Sign(layout.bar_of(at, end_counts_next=True), "rehearsal", text)
        for at, text in marks.rehearsals
        if text
    }
    return (*marks.signs, *sorted(changes, key=lambda sign: (sign.bar, sign.kind, sign.text)))


def _players(
    header: Header, records: Sequence[PartRecord], tally: ReadTally
) -> tuple[tuple[Part, ...], list[tuple[int, int, int]]]:
    """Parts as players, and for each file part its player and staff and voice shifts."""
    staves, voices = [1] * len(header.heads), [0] * len(header.heads)
    lyrics = [0] * len(header.heads)
    for record in records:
        staves[record.index], voices[record.index] = record.staves, len(record.voices)
        # Words under fewer than a tenth of the notes are marks, such as the letters of
        # themes in orchestral scores (1 to 3 %); of 327 sung parts each has 17 % or more.
        sung = 10 * record.lyrics >= record.notes
        lyrics[record.index] = record.lyrics if sung else 0
    uppers = hand_pairs([head.part for head in header.heads], staves, header.braces)
    parts: list[Part] = []
    moves: list[tuple[int, int, int]] = []
    for i, head in enumerate(header.heads):
        if i - 1 in uppers:
            name = uppers[i - 1]
            parts[-1] = replace(
                parts[-1], staves=2, name=name, lyrics=parts[-1].lyrics + lyrics[i]
            )
            moves.append((len(parts) - 1, 1, voices[i - 1]))
            tally.assumed[f"two braced parts read as the two hands of one player: {name}"] = (
                None
            )
        else:
            parts.append(replace(head.part, staves=staves[i], lyrics=lyrics[i]))
            moves.append((len(parts) - 1, 0, 0))
    return tuple(parts), moves


def _moved(dynamic: Dynamic, part: int, shift: int) -> Dynamic:
    """A dynamic in its player's numbering; what the left hand has is its own staff's."""
    staff = (dynamic.staff or 1) + shift if shift else dynamic.staff
    return replace(dynamic, part=part, staff=staff)


def _dynamics(record: PartRecord, layout: Layout) -> list[Dynamic]:
    """A part's dynamics in order of time, open hairpins closed at the next sign."""
    timed = sorted(((layout.tick(raw.at), raw) for raw in record.dynamics), key=lambda p: p[0])
    found = []
    for i, (tick, raw) in enumerate(timed):
        end = None
        if raw.kind != "mark":
            end = max(tick, layout.tick(raw.end)) if raw.end else _next_sign(timed, i)
        found.append(
            Dynamic(record.index, tick, raw.kind, raw.mark, raw.velocity, end, raw.staff)
        )
    return found


def _next_sign(timed: Sequence[tuple[int, RawDynamic]], i: int) -> int | None:
    tick, open_ = timed[i]
    for later, other in timed[i + 1 :]:
        if later > tick and (not other.staff or not open_.staff or other.staff == open_.staff):
            return later
    return None


def _pedals(record: PartRecord, layout: Layout) -> list[Pedal]:
    end = int(layout.start[-1] + layout.length[-1])
    spans = [
        (layout.tick(down), end if up is None else layout.tick(up))
        for down, up in record.pedals
    ]
    return [Pedal(record.index, down, up) for down, up in spans if up > down]


def _tempos(marks: Marks, layout: Layout) -> tuple[Tempo, ...]:
    """Tempos in order of time; where parts disagree at a moment, the first part's."""
    found: dict[int, tuple[int, float]] = {}
    for part, at, tempo in marks.tempos:
        tick = layout.tick(at)
        if tick not in found or found[tick][0] == part:
            found[tick] = (part, tempo)
    return tuple(Tempo(tick, found[tick][1]) for tick in sorted(found))


_MAX_PARTS = 1000
_MAX_PENDING = 16_000_000  # bytes of XML in one measure, or before the first
_LARGE = 128  # pieces of a file that is not parsed whole: 8 MB
_METADATA = ("work", "identification", "movement-title", "movement-number", "credit")
_TAGS = ("measure", "part", "part-list", *_METADATA)


def read_musicxml(path: Path) -> Score:
    """The score in a MusicXML file, as written.

    Raises ReadError, in one line with the file's name and the next step, when
    the file cannot be opened, is empty, damaged, too large or no MusicXML, or
    has no pitched notes.
    """
    name = file_name(path)
    try:
        pieces = score_bytes(path)
        start = list(islice(pieces, _LARGE))
        if len(start) < _LARGE:
            return _read(b"".join(start), name)
        reader = _FileReader(name)
        return reader.finish(reader.read_in_pieces(chain(start, pieces)))
    except etree.XMLSyntaxError as error:
        reason = re.sub(r", line \d+, column \d+$", "", " ".join(str(error.msg).split()))
        raise ReadError(
            f"{name}: damaged XML at line {error.lineno or 1} ({reason}); "
            "export the score again"
        ) from None


def _read(data: bytes, name: str) -> Score:
    """A score that is in memory: its notes by their wording, or all of it as elements."""
    try:
        text, runs = cut(data)
        reader = _FileReader(name, runs)
        return reader.finish(reader.read_whole(text))
    except (UnusualError, etree.XMLSyntaxError):
        reader = _FileReader(name)
        return reader.finish(reader.read_whole(data))


class _FileReader:
    """Hands every measure to the part it belongs to; runs: notes cut out of the text."""

    def __init__(self, name: str, runs: Sequence[Sequence[bytes]] = ()) -> None:
        self.name = name
        self.runs = runs
        self.header, self.marks, self.tally = Header(), Marks(), ReadTally()
        self.parts: dict[tuple[str, int], PartReader] = {}
        self.seen: Counter[str] = Counter()  # parts ended so far, by id

    def read_whole(self, text: bytes) -> str:
        """Parse a text, then read it; its outermost tag."""
        root = etree.fromstring(text, etree.XMLParser(**PARSING))
        for element in root:
            if element.tag in ("measure", "part"):
                for inner in element.iterchildren("measure", "part"):
                    self._take(inner, element)
            self._take(element, root)
        return str(root.tag)

    def read_in_pieces(self, pieces: Iterable[bytes]) -> str:
        """Read what each piece of a file completes, and forget it; its outermost tag."""
        parser = etree.XMLPullParser(events=("end",), tag=_TAGS, **PARSING)
        pending = 0
        for piece in pieces:
            pending += len(piece)
            parser.feed(piece)
            for _, element in parser.read_events():
                parent = element.getparent()
                if parent is not None:
                    self._take(element, parent)
                    _forget(element, parent)
                pending = 0
            if pending > _MAX_PENDING:
                raise ReadError(
                    f"{self.name}: a single bar takes more than {_MAX_PENDING // 1_000_000} "
                    "MB; export the score again"
                )
        return str(parser.close().tag)

    def _take(self, element: etree._Element, parent: etree._Element) -> None:
        """Read an element of one of the tags _TAGS, after what is inside it."""
        tag, timewise = element.tag, parent.tag == "measure"
        if tag == "measure" and parent.tag == "part":
            self._part(parent).read_bar(element, *_label(element))
        elif tag == "measure":
            self.seen.clear()
        elif tag == "part":
            if timewise:
                self._part(element).read_bar(element, *_label(parent))
            self.seen[element.get("id", "")] += 1
        elif tag == "part-list":
            self.header.read_part_list(element)
        elif tag in _METADATA:
            self.header.read_metadata(element)

    def _part(self, element: etree._Element) -> PartReader:
        """Reader of the part an element belongs to; parts of one id by their order."""
        identity = element.get("id", "")
        key = (identity, self.seen[identity])
        if key not in self.parts:
            index = self.header.index(*key)
            if index >= _MAX_PARTS:
                raise ReadError(f"{self.name}: more than {_MAX_PARTS} parts; split the score")
            record = PartRecord(index)
            head = self.header.heads[index]
            self.parts[key] = PartReader(head, record, self.marks, self.tally, self.runs)
        return self.parts[key]

    def finish(self, root: str) -> Score:
        """The whole score, once the file is read to its end."""
        if root not in ("score-partwise", "score-timewise"):
            raise ReadError(
                f"{self.name}: no MusicXML score (its outermost element is "
                f"'{root[:40]}'); export the score as MusicXML"
            )
        for part in self.parts.values():
            part.finish()
        records = sorted((p.record for p in self.parts.values()), key=lambda r: r.index)
        if not any(record.rows for record in records):
            percussion = self.tally.left_out["unpitched"]
            reason = f", only percussion ({percussion} strokes)" if percussion else ""
            raise ReadError(
                f"{self.name}: no pitched notes{reason}; choose a score with pitched parts"
            )
        return assemble(self.header, records, self.marks, self.tally)


def _forget(element: etree._Element, parent: etree._Element) -> None:
    """Free what has been read."""
    element.clear()
    while parent[0] is not element:
        del parent[0]


def _label(measure: etree._Element) -> tuple[str, bool]:
    """Printed number of a measure ('' where it has none) and whether it is implicit."""
    printed = measure.get("text") or measure.get("number") or ""
    return " ".join(printed.split())[:32], measure.get("implicit") == "yes"
