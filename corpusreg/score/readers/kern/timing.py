"""From the rows of a kern table to notes, bars, and what stands between them.

Every row has one time. Where the strands with a token in a row disagree about it,
the time that most of them give is taken (of equals, the earliest after the row
before), the others are set to it, and the disagreement is counted in `lost`.
A strand that has just split off takes its time from the others. Rows with no
**kern token at all (dynamics between notes) are spread evenly.

A barline is '=', an optional number with a letter, and a style: '||' double, '='
final, '-' invisible, ':' on the left ends a repeat, on the right begins one.
Two barlines with no time between them are one. A barline, or a section label,
inside a bar cuts it; both pieces keep the printed number.
A label *>A begins a section at its place; *>A1 and *>A2 with a section A before
them are first and second endings. The list *>[A,A1,A,A2] is the played order;
*>norep[...] and other named lists are alternatives and are not used."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

import numpy as np

from corpusreg.score.notes import Bars, felt_beat
from corpusreg.score.readers.kern.spines import (
    KernLayout,
    KernPlace,
    KernRow,
    KernTable,
    Spine,
    Track,
    denominators,
    parse_token,
    ticks_for,
)

__all__ = ["KernMeasure", "Timeline", "bar_table", "expansion_list", "run_table"]


_BARLINE = re.compile(r"=+(\d+[a-z]*)?(.*)")
_LABEL = re.compile(r"(.*?)(?:yy)?")
_MAX_PLAYED = 100_000  # bars in played order; more is a damaged list
_ENDING = re.compile(r"(.*\D)(\d+)('*)")


@dataclass(frozen=True, slots=True)
class BarLine:
    """What a barline token says about what begins and ends there."""

    label: str
    double: bool
    repeat_end: bool
    repeat_start: bool


@dataclass(frozen=True, slots=True)
class KernMetre:
    """A metre; `unit` is its lower number, 0 for a breve."""

    count: int
    unit: int

    def bar(self, ticks: int) -> int:
        """Ticks of a whole bar."""
        return self.count * (4 * ticks // self.unit if self.unit else 8 * ticks)

    def beat(self, ticks: int) -> int:
        """Felt beat in ticks."""
        return felt_beat(self.count, self.unit, ticks) if self.unit else 8 * ticks


@dataclass(slots=True)
class KernMeasure:
    """A bar while the file is read; ticks from the beginning of the file."""

    start: int
    end: int = 0
    label: str = ""
    metre: KernMetre | None = None
    section: bool = False
    repeat_start: bool = False
    repeat_end: bool = False
    marks: set[str] = field(default_factory=set)  # as in Bars.marks
    final: bool = False  # a final barline ends it
    cut: bool = False  # goes on with the bar before it (a label inside that bar)


@lru_cache(maxsize=1 << 12)
def parse_barline(token: str) -> BarLine:
    """Read a barline token.

    >>> parse_barline("=12:|!|:")
    BarLine(label='12', double=True, repeat_end=True, repeat_start=True)
    """
    match = _BARLINE.match(token)
    label, style = match.groups() if match else (None, "")
    style = style or ""
    strokes = [place for place, sign in enumerate(style) if sign in "|!"]
    end = bool(strokes) and ":" in style[: strokes[-1]]
    start = bool(strokes) and ":" in style[strokes[-1] :]
    double = token.startswith("==") or len(strokes) > 1
    return BarLine(label or "", double, end, start)


@lru_cache(maxsize=1 << 12)
def parse_metre(record: str) -> KernMetre | None:
    """The metre of a record such as *M3/4; None for any other record.

    >>> parse_metre("*M6/8")
    KernMetre(count=6, unit=8)
    """
    match = re.fullmatch(r"\*M(\d{1,3}(?:\+\d{1,2})*)/(\d{1,3})", record)
    if match is None:
        return None
    count, unit = sum(map(int, match.group(1).split("+"))), int(match.group(2))
    good = count > 0 and unit in (0, 1, 2, 4, 8, 16, 32, 64, 128, 3, 6, 12, 24)
    return KernMetre(count, unit) if good else None


_TEXT = re.compile(r"!LO:TX.*?:t=([^:]*)")
_MARKS = {
    "segno": r"segno",
    "coda": r"coda",
    "fine": r"fine",
    "dacapo": r"da ?capo(?: al fine)?|d\. ?c(?:\. al fine)?",
    "dalsegno": r"d?[a']*l segno(?: al fine)?|d\. ?s",
}


@lru_cache(maxsize=1 << 12)
def parse_mark(comment: str) -> str:
    """The mark of `Bars.marks` that a layout comment shows, else ''; whole words only,
    since 'Trio da capo' names a place that the bar numbers do not tell.

    >>> parse_mark("!LO:TX:a:t=Da Capo."), parse_mark("!LO:TX:a:t=Trio Da Capo")
    ('dacapo', '')
    """
    match = _TEXT.match(comment)
    if match is None:
        return ""
    words = match.group(1).split("|")[0].strip("[]. ").lower()
    return next((mark for mark, form in _MARKS.items() if re.fullmatch(form, words)), "")


def _labels(measures: list[KernMeasure], fulls: list[int]) -> tuple[tuple[str, ...], int]:
    """Printed numbers, and how many had to be counted."""
    labels: list[str] = []
    counted = 0
    for index, measure in enumerate(measures):
        if measure.label:
            labels.append(measure.label)
            continue
        if index == 0:
            labels.append(_first_label(measures, fulls))
            continue
        before = measures[index - 1]
        together = measure.end - before.start
        if measure.cut or (
            together <= fulls[index] and before.end - before.start < fulls[index]
        ):
            labels.append(labels[-1])  # a barline inside the bar, such as a repeat sign
        else:
            following = next((later.label for later in measures[index:] if later.label), "")
            halved = index + 1 < len(measures) and measures[index + 1].label == following
            whole = halved and measures[index + 1].end - measure.start <= fulls[index]
            labels.append(_next_label(labels[-1], "" if whole else following))
            counted += 1
    return tuple(labels), counted


def _next_label(label: str, following: str) -> str:
    """A number for a bar without one; '12a' where the next bar is printed as 13."""
    number, letters = re.fullmatch(r"(\d*)(.*)", label).groups()  # type: ignore[union-attr]
    if letters:
        return number + letters[:-1] + chr(ord(letters[-1]) + 1)
    onward = str(int(number) + 1)
    return f"{number}a" if onward == following else onward


def _first_label(measures: list[KernMeasure], fulls: list[int]) -> str:
    """Number of an opening bar without one: one less than the next number."""
    for index, measure in enumerate(measures):
        number = re.match(r"\d+", measure.label)
        if number:
            return str(max(int(number.group()) - index, 0))
    return "0" if measures[0].end - measures[0].start < fulls[0] else "1"


def section_label(record: str) -> str:
    """The label of a record *>A or *>A1yy; '' for an expansion list."""
    match = _LABEL.fullmatch(record[2:])
    return "" if "[" in record or match is None else match.group(1)


def expansion_list(record: str) -> list[str] | None:
    """Labels of a default expansion list *>[A,B,A]; None for any other record."""
    match = re.fullmatch(r"\*>\[(.*)\]", record)
    if match is None:
        return None
    return [label.strip() for label in match.group(1).split(",") if label.strip()]


def _without_commas(text: str, at: dict[str, list[int]]) -> list[str]:
    """Labels of a list written as one word; the word itself where it is no such list."""
    longest_first = sorted(at, key=len, reverse=True)
    found: list[str] = []
    place = 0
    while place < len(text):
        label = next((name for name in longest_first if text.startswith(name, place)), "")
        if not label:
            return [text]
        found.append(label)
        place += len(label)
    return found


def _played_order(
    wanted: list[str], at: dict[str, list[int]], bars: int
) -> tuple[tuple[int, ...] | None, str]:
    """Played order of bars from an expansion list.

    at: for each label the bars where it stands. Of several places with one label the
    one that comes next on the page counts, else the one played last. Returns the
    order, or None and the reason why the list cannot be followed.
    """
    if len(wanted) == 1 and wanted[0] not in at:
        wanted = _without_commas(wanted[0], at)
    if wanted and wanted[0] not in at and all(0 not in places for places in at.values()):
        at = at | {wanted[0]: [0]}  # the first section needs no label
    missing = [label for label in wanted if label not in at]
    if missing or not wanted:
        return None, f"expansion list names a section that is not marked: {missing[:1]}"
    sections = [(bar, label) for label, places in at.items() for bar in places]
    sections.sort(key=lambda section: section[0])
    starts = [bar for bar, _ in sections] + [bars]
    order = list(range(starts[0]))  # music before the first label is played first
    used: dict[str, int] = {}
    present = -1
    for label in wanted:
        onward = present + 1 < len(sections) and sections[present + 1][1] == label
        first = next(index for index, section in enumerate(sections) if section[1] == label)
        present = present + 1 if onward else used.get(label, first)
        used[label] = present
        order.extend(range(starts[present], starts[present + 1]))
        if len(order) > _MAX_PLAYED:
            return None, f"expansion list plays more than {_MAX_PLAYED} bars"
    return tuple(order), ""


def _endings(at: dict[str, list[int]], bars: int) -> tuple[tuple[int, ...], ...]:
    """Passes of each bar: from labels A1, A2 where a section A is marked too."""
    starts = sorted({bar for places in at.values() for bar in places} | {bars})
    endings: list[tuple[int, ...]] = [()] * bars
    for label, places in at.items():
        match = _ENDING.fullmatch(label)
        if match is None or match.group(1) not in at:
            continue
        for first in places:
            for bar in range(first, starts[starts.index(first) + 1]):
                endings[bar] = (int(match.group(2)),)
    return tuple(endings)


def bar_table(
    measures: list[KernMeasure],
    labels: list[tuple[int, str]],
    wanted: list[str] | None,
    ticks: int,
) -> tuple[Bars, list[str]]:
    """Bars of the file, and what was taken for granted.

    labels: (bar index, section label) in file order.
    """
    assumed: list[str] = []
    if any(measure.metre is None for measure in measures):
        assumed.append("no metre written: read as 4/4")
    metres = [measure.metre or KernMetre(4, 4) for measure in measures]
    fulls = [metre.bar(ticks) for metre in metres]
    printed, counted = _labels(measures, fulls)
    if counted:
        assumed.append(f"{counted} bars without a printed number: counted on")
    at: dict[str, list[int]] = {}
    for bar, label in labels:
        at.setdefault(label, []).append(bar)
    order, problem = (None, "") if wanted is None else _played_order(wanted, at, len(measures))
    if problem:
        assumed.append(f"played order from repeat signs: {problem}")
    section = [measure.section for measure in measures]
    for label, places in at.items():
        if _ENDING.fullmatch(label) is None:
            for bar in places:
                section[bar] = True
    section[0] = True
    bars = Bars.plain(
        printed,
        [measure.end - measure.start for measure in measures],
        fulls,
        [metre.beat(ticks) for metre in metres],
        section=np.array(section, bool),
        repeat_start=np.array([measure.repeat_start for measure in measures], bool),
        repeat_end=np.array([2 if measure.repeat_end else 0 for measure in measures], np.int64),
        endings=_endings(at, len(measures)),
        marks=tuple(frozenset(measure.marks) for measure in measures),
        order=order,
    )
    return bars, assumed


_STRANDS = 32  # voice numbers kept for each staff
_LOOK_AHEAD = 200  # rows searched for the next notes after a barline
_TIME_LOST = "tokens whose time disagrees with the other spines of the line"

# (duration, pitch, grace, tie_in, tie_out, staccato) in ticks, ready for a row.
_NoteEnd = tuple[int, int, int, bool, bool, bool, bool]


@dataclass(frozen=True, slots=True)
class _Cell:
    """A token in ticks; advance -1 where it is not known."""

    advance: int
    notes: tuple[_NoteEnd, ...]
    grace: bool
    lost: tuple[str, ...]


@dataclass(slots=True)
class Timeline:
    """Everything found, times in ticks. dynam: (track, time, row's end, token)."""

    ticks: int = 1
    rows: list[tuple[int | bool, ...]] = field(default_factory=list)
    measures: list[KernMeasure] = field(default_factory=list)
    labels: list[tuple[int, str]] = field(default_factory=list)
    dynam: list[tuple[Track, int, int, str]] = field(default_factory=list)
    pedals: list[tuple[Track, int, bool]] = field(default_factory=list)
    tempos: list[tuple[int, float]] = field(default_factory=list)
    keys: list[tuple[int, int]] = field(default_factory=list)  # (measure, sharps or -flats)
    lost: Counter[str] = field(default_factory=Counter)
    left_out: Counter[str] = field(default_factory=Counter)
    assumed: list[str] = field(default_factory=list)
    end: int = 0


def _cells(table: KernTable) -> tuple[int, dict[str, _Cell]]:
    """Ticks per quarter for the whole table, and each distinct token read once."""
    tokens: set[str] = set()
    found: set[int] = set()
    for row in table.rows:
        if row.kind == "data":
            fields = row.fields
            tokens.update([fields[column] for column, _, _ in row.layout.kern])
        elif row.kind == "record":
            for metre in filter(None, map(parse_metre, set(row.fields))):
                found.add(Fraction(4, metre.unit or 1).denominator)
    tokens.discard(".")
    ticks, refused = ticks_for(found.union(*map(denominators, tokens)))
    return ticks, {token: _cell(token, ticks, refused) for token in tokens}


@lru_cache(maxsize=1 << 16)
def _cell(token: str, ticks: int, refused: frozenset[int]) -> _Cell:
    event = parse_token(token)
    lost = list(event.lost)
    ends: list[_NoteEnd] = []
    for note in event.notes:
        if note.duration.denominator in refused:
            lost.append("note without a readable duration")
            continue
        length = int(note.duration * ticks)
        ties = (note.tie_in, note.tie_out, note.staccato)
        ends.append((length, note.pitch, -1, note.grace, *ties))
    known = event.advance is not None and event.advance.denominator not in refused
    advance = int((event.advance or 0) * ticks) if known else -1
    return _Cell(advance, tuple(ends), event.grace, tuple(lost))


class _Run:
    """One pass over the rows."""

    def __init__(self, table: KernTable, places: dict[Track, KernPlace]) -> None:
        ticks, self.cells = _cells(table)
        self.out = Timeline(ticks=ticks)
        self.places = places
        self.rows = table.rows
        self.index = 0  # place of the present row
        self.bar = KernMeasure(0)
        self.now = 0  # time of the last timed row
        self.metre: KernMetre | None = None
        self.soonest = 0  # earliest time the next row can have
        self.filled = False  # the bar has a data row
        self.last: KernLayout | None = None  # the last row's with kern columns
        self.pending: list[tuple[Track, str]] = []  # records waiting for a time
        self.marks: set[str] = set()  # segno, fine ... waiting for their bar
        self.waiting: list[list[tuple[Track, str]]] = []  # rows without kern tokens

    def born(self, layout: KernLayout) -> None:
        for spine in layout.born:
            parents = spine.parents
            spine.clock = max((parent.clock for parent in parents), default=self.now)
            spine.cue = any(parent.cue for parent in parents)
            spine.fresh = spine.fresh or any(parent.fresh for parent in parents)

    def row(self, row: KernRow) -> None:
        if row.layout.kern:
            self.last = row.layout
        if row.kind == "data":
            self.data(row)
        elif row.kind == "record":
            self.record(row)
        elif row.kind == "bar":
            self.barline(row)
        elif row.kind == "text":
            self.marks.update(filter(None, map(parse_mark, row.fields)))
        else:
            self.born(row.layout)

    # -- time ---------------------------------------------------------------

    def time_of(self, hits: list[tuple[Spine, int, _Cell]], layout: KernLayout) -> int:
        """Time of a row from the strands that have a token in it."""
        clocks = [spine.clock for spine, _, _ in hits if not spine.fresh]
        first = clocks[0] if clocks else -1
        if clocks and clocks.count(first) == len(clocks) and first >= self.now:
            return first
        counts = Counter(clock for clock in clocks if clock >= self.soonest)
        if not counts:  # only new strands: the next moment at which any strand is free
            counts.update(
                spine.clock for _, spine, _ in layout.kern if spine.clock >= self.soonest
            )
            time = min(counts, default=self.now)
        else:
            most = max(counts.values())
            time = min(clock for clock, count in counts.items() if count == most)
        late = sum(clock != time for clock in clocks)
        if late:
            self.out.lost[_TIME_LOST] += late
        return time

    def reach(self, time: int) -> None:
        """Settle what waited for the next timed row."""
        gap = len(self.waiting) + 1
        for step, marks in enumerate(self.waiting, 1):
            at = self.now + (time - self.now) * step // gap
            self.out.dynam.extend((track, at, time, text) for track, text in marks)
        self.waiting.clear()
        self.now = self.soonest = time

    def settle(self, time: int) -> None:
        """Give the records before this row their time."""
        pending, self.pending = self.pending, []
        seen: set[str] = set()
        for track, text in pending:
            if text in ("*ped", "*Xped", "*lift"):
                self.out.pedals.append((track, time, text == "*ped"))
            elif text not in seen:
                seen.add(text)
                self.once(text, time)

    def once(self, text: str, time: int) -> None:
        """A record that holds for all parts, wherever it stands."""
        if text.startswith("*MM"):
            if 0 < float(text[3:]) < 10_000:
                self.out.tempos.append((time, float(text[3:])))
            return
        if time > self.bar.start:
            self.close_bar(time, cut=True)
        self.out.labels.append((len(self.out.measures), section_label(text)))

    # -- rows ---------------------------------------------------------------

    def data(self, row: KernRow) -> None:
        fields = row.fields
        hits = []
        for column, spine, strand in row.layout.kern:
            token = fields[column]
            if token != ".":
                hits.append((spine, strand, self.cells[token]))
        if hits:
            time = self.time_of(hits, row.layout)
            self.reach(time)
            if self.pending:
                self.settle(time)
            if self.marks:
                self.bar.marks |= self.marks
                self.marks.clear()
            if not self.filled:
                self.filled = True
                self.bar.metre = self.metre
            self.sound(hits, time)
        marks = [(s.track, fields[c]) for c, s in row.layout.dynam if fields[c] != "."]
        if not hits:
            self.waiting.append(marks)
        elif marks:
            ends = min(spine.clock for spine, _, _ in hits)
            self.out.dynam.extend((track, self.now, ends, text) for track, text in marks)

    def sound(self, hits: list[tuple[Spine, int, _Cell]], time: int) -> None:
        rows = self.out.rows
        bar = len(self.out.measures)
        for spine, strand, cell in hits:
            if cell.lost:
                self.out.lost.update(cell.lost)
            if cell.notes:
                if spine.cue:
                    self.out.left_out["cue"] += len(cell.notes)
                else:
                    place = self.places[spine.track]
                    staff = place.staff
                    voice = (staff - 1) * _STRANDS + strand
                    head = (place.part, staff, voice, bar, time)
                    notes = self.moved(cell.notes, place.shift) if place.shift else cell.notes
                    for note in notes:
                        rows.append(head + note)
            if cell.advance < 0:
                spine.fresh = True  # its end is not known
                spine.clock = time
            elif not cell.grace:
                spine.clock = time + cell.advance
                spine.fresh = False
                self.soonest = time + 1
            elif spine.fresh:
                spine.clock = time

    def moved(self, notes: tuple[_NoteEnd, ...], shift: int) -> list[_NoteEnd]:
        """Notes of a transposed encoding at their sounding pitch."""
        moved = [(note[0], note[1] + shift, *note[2:]) for note in notes]
        kept = [note for note in moved if 0 <= note[1] <= 127]
        if len(kept) < len(moved):
            self.out.lost["note outside MIDI 0-127"] += len(moved) - len(kept)
        return kept

    def barline(self, row: KernRow) -> None:
        strands = [spine for _, spine, _ in row.layout.kern]
        time = self.bar_time(strands)
        self.reach(time)
        texts = [row.fields[column] for column, _, _ in row.layout.kern] or row.fields
        line = parse_barline(next((text for text in texts if text[:1] == "="), "="))
        if self.filled:
            ending = self.marks - {"segno", "coda"}  # written at the barline that ends the bar
            self.bar.marks |= ending
            self.marks -= ending
            self.close_bar(time)
        bar = self.bar
        bar.start = time
        bar.label = line.label or bar.label
        before = self.out.measures[-1] if self.out.measures else None
        if before is not None:
            before.repeat_end = before.repeat_end or line.repeat_end
            before.final = before.final or any(text.startswith("==") for text in texts)
        bar.repeat_start = bar.repeat_start or line.repeat_start
        bar.section = bar.section or line.double or line.repeat_end or line.repeat_start

    def bar_time(self, strands: list[Spine]) -> int:
        """Where a bar ends: notes may reach past it, strands may fall short of it.

        Where the strands differ, those count that have a token in the next data
        row: a long rest that goes on past the barline has none.
        """
        clocks = [spine.clock for spine in strands if not spine.fresh]
        if not clocks:
            return max((spine.clock for spine in strands), default=self.now)
        time = clocks[0]
        if clocks.count(time) != len(clocks):
            later = [clock for clock in clocks if clock >= self.soonest] or [self.now]
            counts = Counter(clock for clock in self.next_clocks(strands) if clock in later)
            most = max(counts.values(), default=0)
            time = min([clock for clock, count in counts.items() if count == most] or later)
            for spine in strands:
                if spine.clock < time:
                    self.out.lost["spines that fall short of the barline"] += not spine.fresh
                    spine.clock = time
        return max(time, self.now)

    def next_clocks(self, strands: list[Spine]) -> list[int]:
        """Clocks of the strands that have a token in the next data row."""
        here = set(strands)
        born: list[Spine] = []
        for row in self.rows[self.index + 1 : self.index + 1 + _LOOK_AHEAD]:
            if row.kind != "data":
                continue
            born = [s for c, s, _ in row.layout.kern if row.fields[c] != "."]
            if born:
                break
        clocks = []
        for spine in born:
            while spine not in here and spine.parents:
                spine = spine.parents[0]
            if spine in here and not spine.fresh:
                clocks.append(spine.clock)
        return clocks

    def close_bar(self, time: int, cut: bool = False) -> None:
        self.bar.end = time
        if not self.filled:
            self.bar.metre = self.metre
        self.out.measures.append(self.bar)
        self.bar = KernMeasure(time, cut=cut, label=self.bar.label if cut else "")
        self.filled = False

    def record(self, row: KernRow) -> None:
        # '*k[b-e-]' is two flats; of several columns what most have.
        keys = Counter(text for text in row.fields if text.startswith("*k["))
        for text, _ in keys.most_common(1):
            self.out.keys.append((len(self.out.measures), text.count("#") - text.count("-")))
        for text, spine in zip(row.fields, row.layout.spines, strict=True):
            if len(text) < 2:
                continue
            if text.startswith("*M") and spine.track.kind == "**kern":
                self.measure_record(text, spine)
            elif text.startswith("*>") or text in ("*ped", "*Xped", "*lift"):
                if "[" not in text:
                    self.pending.append((spine.track, text))
            elif text in ("*cue", "*Xcue"):
                spine.cue = text == "*cue"

    def measure_record(self, text: str, spine: Spine) -> None:
        metre = parse_metre(text)
        if metre is not None:
            self.metre = metre
        elif text.startswith("*MM") and text[3:].replace(".", "", 1).isdecimal():
            self.pending.append((spine.track, text))

    def finish(self, ended: bool) -> Timeline:
        out = self.out
        clocks = {spine.clock for _, spine, _ in self.last.kern} if self.last else set()
        time = max(clocks, default=self.now)
        self.reach(max(time, self.now))
        if self.filled:
            self.close_bar(self.now)
        self.settle_end()
        out.end = self.now
        if not ended:
            out.assumed.append(
                "the spines are not terminated (*-): read to the end of the file"
            )
        return out

    def settle_end(self) -> None:
        """Records after the last note: only a pedal that is lifted there matters."""
        for track, text in self.pending:
            if text in ("*Xped", "*lift"):
                self.out.pedals.append((track, self.now, False))


def run_table(table: KernTable, places: dict[Track, KernPlace]) -> Timeline:
    """Notes, bars, labels, dynamics, pedals and tempos of a table, in ticks."""
    run = _Run(table, places)
    for run.index, row in enumerate(table.rows):
        run.row(row)
    return run.finish(table.ended)
