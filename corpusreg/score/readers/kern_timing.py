"""From the rows of a kern table to notes, bars, and what stands between them.

Every row has one time. Where the strands with a token in a row disagree about it,
the time that most of them give is taken (of equals, the earliest after the row
before), the others are set to it, and the disagreement is counted in `lost`.
A strand that has just split off takes its time from the others. Rows with no
**kern token at all (dynamics between notes) are spread evenly.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

from corpusreg.score.readers.kern_bars import (
    Measure,
    Metre,
    parse_barline,
    parse_mark,
    parse_metre,
    section_label,
)
from corpusreg.score.readers.kern_parts import Place
from corpusreg.score.readers.kern_spines import Layout, Row, Spine, Table, Track
from corpusreg.score.readers.kern_tokens import denominators, parse_token, ticks_for

__all__ = ["Timeline", "run_table"]

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
    measures: list[Measure] = field(default_factory=list)
    labels: list[tuple[int, str]] = field(default_factory=list)
    dynam: list[tuple[Track, int, int, str]] = field(default_factory=list)
    pedals: list[tuple[Track, int, bool]] = field(default_factory=list)
    tempos: list[tuple[int, float]] = field(default_factory=list)
    lost: Counter[str] = field(default_factory=Counter)
    left_out: Counter[str] = field(default_factory=Counter)
    assumed: list[str] = field(default_factory=list)
    end: int = 0


def _cells(table: Table) -> tuple[int, dict[str, _Cell]]:
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

    def __init__(self, table: Table, places: dict[Track, Place]) -> None:
        ticks, self.cells = _cells(table)
        self.out = Timeline(ticks=ticks)
        self.places = places
        self.rows = table.rows
        self.index = 0  # place of the present row
        self.bar = Measure(0)
        self.now = 0  # time of the last timed row
        self.metre: Metre | None = None
        self.soonest = 0  # earliest time the next row can have
        self.filled = False  # the bar has a data row
        self.open_strands: tuple[Spine, ...] = ()
        self.pending: list[tuple[Track, str]] = []  # records waiting for a time
        self.marks: set[str] = set()  # segno, fine ... waiting for their bar
        self.waiting: list[list[tuple[Track, str]]] = []  # rows without kern tokens

    def born(self, layout: Layout) -> None:
        for spine in layout.born:
            parents = spine.parents
            spine.clock = max((parent.clock for parent in parents), default=self.now)
            spine.cue = any(parent.cue for parent in parents)
            spine.fresh = spine.fresh or any(parent.fresh for parent in parents)

    def row(self, row: Row) -> None:
        if row.layout.kern:
            self.open_strands = tuple(spine for _, spine, _ in row.layout.kern)
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

    def time_of(self, strands: list[Spine], layout: Layout) -> int:
        """Time of a row from the strands that have a token in it."""
        clocks = [spine.clock for spine in strands if not spine.fresh]
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

    def data(self, row: Row) -> None:
        fields = row.fields
        hits = []
        for column, spine, strand in row.layout.kern:
            token = fields[column]
            if token != ".":
                hits.append((spine, strand, self.cells[token]))
        if hits:
            time = self.time_of([spine for spine, _, _ in hits], row.layout)
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
        if hits:
            ends = min((spine.clock for spine, _, _ in hits), default=self.now)
            self.out.dynam.extend((track, self.now, ends, text) for track, text in marks)
        else:
            self.waiting.append(marks)

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

    def barline(self, row: Row) -> None:
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
        self.bar = Measure(time, cut=cut, label=self.bar.label if cut else "")
        self.filled = False

    def record(self, row: Row) -> None:
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
        clocks = {spine.clock for spine in self.open_strands}
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


def run_table(table: Table, places: dict[Track, Place]) -> Timeline:
    """Notes, bars, labels, dynamics, pedals and tempos of a table, in ticks."""
    run = _Run(table, places)
    for run.index, row in enumerate(table.rows):
        run.row(row)
    return run.finish(table.ended)
