"""From the written score to sounding notes in played order.

What readers leave open is settled here, for every format alike: repeats are
unfolded, ties merged, staccato notes halved, notes under a sustain pedal
lengthened, grace notes set aside, dynamics turned into loudness.

Conventions
-----------
loudness  in (0, 1], velocity / 127. Marks rise strictly from ppp to fff in
          steps of 16 velocities around mf = 80 (no standard mapping exists;
          common practice, no source). MusicXML 4.0 puts forte at 90; the steps
          here are even so that a hairpin of one mark is the same everywhere.
hairpin   a straight line from the level at its beginning to the next mark, or,
          where no mark follows within a bar, to one step louder or softer, never
          further than a step from the last mark (nine lone '>' in a row are nine
          accents that speak within one level, not a fall to silence).
unmarked  mezzo-forte, and the caller is told that dynamics are not known.

pedal     a note whose end falls while the pedal of its part is down sounds on to the
          lift, or to the next attack of its pitch in that part, whichever comes first. A
          note that ends at the moment the pedal goes down is not caught, since a pedal
          changed on the beat damps what was held before it.
played bar   one entry a bar as heard; `PlayedBars.written` is its index in the
             file. Ticks are counted from the start of the performance; there are
             twice as many to a quarter note as in the score where half of a
             staccato note would be no whole number of them.
label        the printed bar number; where the bar is heard again, with
             '(2nd time)' after it: what tables and files call a played bar.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from corpusreg.score.notes import Bars, Dynamic, Part, Pedal, Score
from corpusreg.score.order import played_order
from corpusreg.score.pitch import USUAL, Spelling, spelled
from corpusreg.system.errors import ReadError

__all__ = [
    "MARK", "MARKS", "UNMARKED", "Notes", "Played", "PlayedBars", "levels", "nearest_mark",
    "ordinal", "perform", "segments", "time_words",
]  # fmt: skip

MARKS = {
    "pppp": 8, "ppp": 16, "pp": 32, "p": 48, "mp": 64, "mf": 80, "f": 96,
    "ff": 112, "fff": 122, "ffff": 127, "fp": 48, "sfp": 48, "sfpp": 32, "pf": 96,
}  # fmt: skip
_STEP = 16
UNMARKED = MARKS["mf"] / 127
MARK = _STEP / 127  # of loudness, from one mark to the next


def nearest_mark(loudness: float) -> str:
    """The dynamic mark nearest to a loudness in (0, 1].

    >>> nearest_mark(0.75)
    'f'
    """
    return min(MARKS, key=lambda name: abs(MARKS[name] - 127 * loudness))


def levels(
    dynamics: Sequence[Dynamic],
    part: NDArray[np.int16],
    staff: NDArray[np.int16],
    onset: NDArray[np.int64],
    bar_ticks: int,
) -> NDArray[np.float64]:
    """Loudness of each note by the marks in force in its part, shape (n,), in (0, 1].

    A mark given at one staff holds for the whole part (it stands between the
    staves of a keyboard part), unless another staff has a mark of its own at
    the same moment. `bar_ticks` is how far a hairpin looks for its goal.
    """
    result = np.full(len(onset), UNMARKED)
    for number in {d.part for d in dynamics}:
        own = [d for d in dynamics if d.part == number]
        staves = {d.staff for d in own}
        in_part = part == number
        for each in np.unique(staff[in_part]) if len(staves) > 1 else [0]:
            rows = in_part & (staff == each) if each else in_part
            lines = _lines([d for d in own if _holds(d, int(each), own)], bar_ticks)
            result[rows] = _at(lines, onset[rows])
    return result


def _holds(dynamic: Dynamic, staff: int, own: Sequence[Dynamic]) -> bool:
    if staff == 0 or dynamic.staff in (0, staff):
        return True
    return not any(d.staff == staff and d.tick == dynamic.tick for d in own)


def _velocity(dynamic: Dynamic) -> float | None:
    if dynamic.velocity is not None:
        return dynamic.velocity
    return MARKS.get(dynamic.mark)


def _lines(own: Sequence[Dynamic], bar_ticks: int) -> list[tuple[int, float, float, int]]:
    """Pieces (from tick, velocity there, change per tick, up to tick) in order of time."""
    ordered = sorted(own, key=lambda d: (d.tick, d.kind != "mark"))
    marks = [
        (d.tick, v) for d in ordered if d.kind == "mark" and (v := _velocity(d)) is not None
    ]
    lines: list[tuple[int, float, float, int]] = []
    marked = level = float(MARKS["mf"])
    for dynamic in ordered:
        start = dynamic.tick
        if lines:
            before, value, slope, stop = lines[-1]
            level = value + slope * (min(start, stop) - before)
        if dynamic.kind == "mark":
            given = _velocity(dynamic)
            if given is not None:
                marked = given
                lines.append((start, given, 0.0, start))
            continue
        end = dynamic.end if dynamic.end is not None else start
        sign = 1 if dynamic.kind == "cresc" else -1
        # A mark that stands inside the hairpin is where it leads, and ends it.
        ahead = bisect_right(marks, (start, np.inf))
        reach = (m for m in marks[ahead : ahead + 1] if m[0] <= max(end, start) + bar_ticks)
        at, goal = next(reach, (end, level))
        if (goal - level) * sign <= 0:
            at = end
            goal = min(max(level + sign * _STEP, marked - _STEP, 1.0), marked + _STEP, 127.0)
        end = min(end, at)
        if end > start:
            lines.append((start, level, (goal - level) / (end - start), end))
    return lines


def _at(
    lines: Sequence[tuple[int, float, float, int]], ticks: NDArray[np.int64]
) -> NDArray[np.float64]:
    if not lines:
        return np.full(len(ticks), UNMARKED)
    start, value, slope, stop = (
        np.asarray(column, float) for column in zip(*lines, strict=True)
    )
    index = np.searchsorted(start, ticks, side="right") - 1
    known = index >= 0
    at = np.maximum(index, 0)
    velocity = value[at] + slope[at] * (np.minimum(ticks, stop[at]) - start[at])
    return np.where(known, np.clip(velocity, 1, 127) / 127, UNMARKED)


Ints = NDArray[np.int64]


def played_pedals(
    pedals: Sequence[Pedal], bars: Bars, written: Ints, start: Ints
) -> list[Pedal]:
    """Pedals in played ticks, in order of part and time.

    written: shape (n,), index of each played bar in the file; start: shape (n,), its
    first tick as played. A pedal is cut where the order of bars leaves its bars, and
    goes on where the next bar of the page is also the next one heard.
    """
    ends = bars.start + bars.length
    found = []
    for pedal in pedals:
        touched = (bars.start < pedal.end) & (ends > pedal.start)
        run: list[int] | None = None
        previous = -2
        for index in np.flatnonzero(touched[written]).tolist():
            bar = int(written[index])
            move = int(start[index] - bars.start[bar])
            first = max(pedal.start, int(bars.start[bar])) + move
            last = min(pedal.end, int(ends[bar])) + move
            if run is not None and index == previous + 1 and bar == written[previous] + 1:
                run[1] = last
            else:
                run = [first, last]
                found.append((pedal.part, run))
            previous = index
    ordered = sorted((part, first, last) for part, (first, last) in found)
    return [Pedal(*each) for each in ordered]


def held_ends(
    pedals: Sequence[Pedal],
    part: NDArray[np.int16],
    pitch: NDArray[np.int16],
    onset: Ints,
    duration: Ints,
) -> Ints:
    """Where each note ends with the pedal, in ticks, shape (n,); pedals as played."""
    end = onset + duration
    if not pedals:
        return end
    lift = end.copy()
    for number in {pedal.part for pedal in pedals}:
        spans = np.array([(p.start, p.end) for p in pedals if p.part == number], np.int64)
        # The last pedal that went down before the note's end; overlaps count as one.
        furthest = np.maximum.accumulate(spans[:, 1])
        rows = np.flatnonzero(part == number)
        at = np.searchsorted(spans[:, 0], end[rows], side="left") - 1
        caught = at >= 0
        lift[rows[caught]] = np.maximum(end[rows[caught]], furthest[at[caught]])
    again = _next_attack(part, pitch, onset)
    return np.asarray(np.maximum(end, np.minimum(lift, again)), np.int64)


def _next_attack(part: NDArray[np.int16], pitch: NDArray[np.int16], onset: Ints) -> Ints:
    """When each note's pitch is struck again in its part; the largest int64 for never."""
    order = np.lexsort((onset, pitch, part))
    lane = np.stack((part[order], pitch[order]))
    new_lane = np.append(True, (lane[:, 1:] != lane[:, :-1]).any(axis=0))
    moments = new_lane | np.append(True, np.diff(onset[order]) > 0)
    first = np.flatnonzero(moments)
    again = np.where(new_lane[first[1:]], np.iinfo(np.int64).max, onset[order][first[1:]])
    again = np.append(again, np.iinfo(np.int64).max)
    result = np.empty(len(onset), np.int64)
    result[order] = again[np.cumsum(moments) - 1]
    return result


MOST_BEATS = 50_000  # some twelve hours: a number in the file is wrong


@dataclass(frozen=True)
class Notes:
    """Sounding notes in order of (onset, pitch, part, duration); every array has shape (n,).

    onset and duration in ticks (duration > 0), pitch in MIDI numbers, loudness
    in (0, 1], part, staff and voice as in the score, bar the played bar of the onset.
    written: duration on the page in ticks, ties merged, whatever dot or pedal does to it.
    """

    part: NDArray[np.int16]
    staff: NDArray[np.int16]
    voice: NDArray[np.int16]
    bar: NDArray[np.int64]
    onset: NDArray[np.int64]
    duration: NDArray[np.int64]
    pitch: NDArray[np.int64]
    loudness: NDArray[np.float64]
    written: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.pitch)

    def take(self, rows: NDArray[np.bool_] | NDArray[np.int64]) -> Notes:
        """The chosen rows."""
        return Notes(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class PlayedBars:
    """Bars as heard; arrays have shape (n,), ticks. See `corpusreg.score.notes.Bars`."""

    written: NDArray[np.int64]
    time: NDArray[np.int64]  # 1 where the bar is heard for the first time, then 2, …
    start: NDArray[np.int64]
    length: NDArray[np.int64]
    full: NDArray[np.int64]
    beat: NDArray[np.int64]
    section: NDArray[np.bool_]
    printed: tuple[str, ...]  # the number on the page

    def __len__(self) -> int:
        return len(self.printed)

    @cached_property
    def beats(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Ticks between felt beats, shape (beats + 1,), and the bar of each beat."""
        count = np.maximum(-(-self.length // np.maximum(self.beat, 1)), 1)
        count[self.length == 0] = 0
        bar = np.repeat(np.arange(len(self)), count)
        inside = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        starts = self.start[bar] + inside * self.beat[bar]
        return np.append(starts, self.start[-1] + self.length[-1]).astype(np.int64), bar

    @cached_property
    def labels(self) -> tuple[str, ...]:
        """The printed number of each bar, with '(2nd time)' where it is heard again."""
        times = self.time.tolist()
        return tuple(_label(*bar) for bar in zip(self.printed, times, strict=True))


@dataclass(frozen=True)
class Played:
    """One work as heard.

    seconds: how long each played bar lasts at the written tempo, shape (bars,), or
    None where no tempo is written. spelling: what the piece calls its twelve notes.
    rehearsal: its rehearsal marks by written bar. marked: whether written dynamics, and not
    keys struck, give the loudness.
    """

    ticks: int
    parts: tuple[Part, ...]
    bars: PlayedBars
    notes: Notes
    dynamics_known: bool
    pedal_known: bool
    tempo_known: bool
    assumed: tuple[str, ...]
    seconds: NDArray[np.float64] | None = None
    spelling: Spelling = USUAL
    rehearsal: Mapping[int, str] = field(default_factory=dict)
    marked: bool = False

    def only(self, rows: NDArray[np.bool_]) -> Played:
        """The same bars with some of the notes."""
        return replace(self, notes=self.notes.take(rows))


def perform(score: Score, *, as_written: bool = False) -> Played:
    """Unfold, tie and weight a score.

    `as_written` keeps the page's order of bars. Raises ReadError where nothing
    pitched sounds, and where the work lasts longer than any music.
    """
    score = _halvable(score)
    if as_written:
        order, remark = (
            list(range(len(score.bars))),
            "read as written: repeats are not unfolded",
        )
    else:
        order, remark = played_order(score.bars)
    bars = _played_bars(score.bars, np.asarray(order, np.int64))
    _bounded(bars)
    table = score.notes[~score.notes["grace"]]
    table, bar_of = _unfold(table, score.bars, bars)
    table, bar_of = merge_ties(table, bar_of)
    # A dot over a note halves it; within a tie it marks the end and changes nothing.
    written = table["duration"].copy()
    dotted = table["staccato"] & ~table["tie_out"]
    table["duration"][dotted] //= 2
    pedals = played_pedals(score.pedals, score.bars, bars.written, bars.start)
    ends = held_ends(pedals, table["part"], table["pitch"], table["onset"], table["duration"])
    table["duration"] = np.where(table["duration"] > 0, ends - table["onset"], 0)
    if not len(table):
        raise ReadError("no pitched notes: there is nothing to measure")
    known = bool((table["velocity"] > 0).any()) or any(d.kind == "mark" for d in score.dynamics)
    notes = _notes(table, bar_of, _loudness(score, bars, table), written)
    assumed = [*score.assumed, *([remark] if remark else [])]
    if not known:
        assumed.append("no dynamics in the file: every note counts as mezzo-forte")
    return Played(
        ticks=score.ticks,
        parts=score.parts,
        bars=bars,
        notes=notes,
        dynamics_known=known,
        pedal_known=bool(score.pedals),
        tempo_known=bool(score.tempos),
        assumed=tuple(dict.fromkeys(assumed)),
        seconds=_bar_seconds(score)[bars.written] if score.tempos else None,
        marked=known and not (table["velocity"] > 0).any(),
        spelling=spelled(score.notes, score.keys),
        rehearsal={s.bar: s.text for s in score.signs if s.kind == "rehearsal"},
    )


def _bounded(bars: PlayedBars) -> None:
    """Refuse a work of more than MOST_BEATS: every beat takes memory."""
    beats = -(-bars.length // np.maximum(bars.beat, 1))
    if beats.sum() <= MOST_BEATS:
        return
    longest = int(beats.argmax())
    raise ReadError(
        f"lasts {int(beats.sum()):,} beats, {int(beats[longest]):,} of them in bar "
        f"{bars.labels[longest]}; look for a mistyped length, or split the score"
    )


def _halvable(score: Score) -> Score:
    """The score with so many ticks that staccato notes can be halved exactly."""
    if not (score.notes["staccato"] & (score.notes["duration"] % 2 == 1)).any():
        return score
    notes, bars = score.notes.copy(), score.bars
    for column in ("onset", "duration"):
        notes[column] *= 2
    return replace(
        score,
        ticks=2 * score.ticks,
        notes=notes,
        bars=replace(
            bars,
            start=2 * bars.start,
            length=2 * bars.length,
            full=2 * bars.full,
            beat=2 * bars.beat,
        ),
        dynamics=tuple(
            replace(d, tick=2 * d.tick, end=None if d.end is None else 2 * d.end)
            for d in score.dynamics
        ),
        pedals=tuple(replace(p, start=2 * p.start, end=2 * p.end) for p in score.pedals),
        tempos=tuple(replace(t, tick=2 * t.tick) for t in score.tempos),
    )


def _bar_seconds(score: Score) -> NDArray[np.float64]:
    """Seconds of each written bar; before the first tempo mark its tempo holds too."""
    tempos = sorted(score.tempos, key=lambda tempo: tempo.tick)
    ticks = np.array([tempo.tick for tempo in tempos], float)
    per_tick = np.array([60 / (t.quarters_per_minute * score.ticks) for t in tempos])
    edges = np.append(score.bars.start, score.bars.start[-1] + score.bars.length[-1])
    ticks[0] = min(ticks[0], 0.0)
    passed = np.concatenate(([0.0], np.cumsum(np.diff(ticks) * per_tick[:-1])))
    at = np.searchsorted(ticks, edges, side="right") - 1
    clock = passed[at] + (edges - ticks[at]) * per_tick[at]
    return np.asarray(np.diff(clock), np.float64)


def _played_bars(bars: Bars, order: NDArray[np.int64]) -> PlayedBars:
    length = bars.length[order]
    time = np.ones(len(order), np.int64)
    seen: dict[int, int] = {}
    for index, written in enumerate(order.tolist()):
        time[index] = seen[written] = seen.get(written, 0) + 1
    return PlayedBars(
        written=order,
        time=time,
        start=np.concatenate(([0], np.cumsum(length)))[: len(order)],
        length=length,
        full=bars.full[order],
        beat=bars.beat[order],
        section=bars.section[order],
        printed=tuple(bars.labels[written] for written in order.tolist()),
    )


def segments(bars: PlayedBars, first: int, last: int) -> list[tuple[int, int]]:
    """Written positions of played bars `first` to `last`, as half-open runs."""
    written = bars.written[first:last]
    breaks = np.flatnonzero(np.diff(written) != 1) + 1
    runs = [(int(run[0]), int(run[-1]) + 1) for run in np.split(written, breaks)]
    return list(dict.fromkeys(runs))


def _label(label: str, time: int) -> str:
    return label if time == 1 else f"{label} ({time_words(time)})"


def time_words(time: int) -> str:
    """'2nd time', from the second on."""
    return f"{ordinal(time)} time"


def ordinal(number: int) -> str:
    """A number from 2 on, such as '2nd'."""
    return {2: "2nd", 3: "3rd"}.get(number, f"{number}th")


def _unfold(
    table: NDArray[np.void], bars: Bars, played: PlayedBars
) -> tuple[NDArray[np.void], NDArray[np.int64]]:
    """Copies of the written rows at their played onsets, and the played bar of each."""
    table = table[np.argsort(table["bar"], kind="stable")]
    first = np.searchsorted(table["bar"], played.written, side="left")
    count = np.searchsorted(table["bar"], played.written, side="right") - first
    bar_of = np.repeat(np.arange(len(played)), count)
    rows = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + first[bar_of]
    result = table[rows]
    result["onset"] += (played.start - bars.start[played.written])[bar_of]
    return result, bar_of


def merge_ties(
    table: NDArray[np.void], bar_of: NDArray[np.int64]
) -> tuple[NDArray[np.void], NDArray[np.int64]]:
    """Join tied rows into one sounding note; rows and their played bars.

    A row flagged `tie_out` is joined to a row flagged `tie_in` of the same part
    and pitch that begins where it ends; a tie that finds no partner ends there.
    Rows that only continue a note are removed. `tie_out` stays set on joined notes.
    """
    tied = table["tie_out"] | table["tie_in"]
    if not tied.any():
        table = table.copy()
        table["tie_out"] = False
        return table, bar_of
    order = np.lexsort((table["voice"], table["onset"], table["pitch"], table["part"]))
    table, bar_of, tied = table[order], bar_of[order], tied[order]
    names = ("part", "pitch", "onset", "duration", "tie_in", "tie_out")
    part, pitch, onset, durations, incoming, outgoing = (
        table[name][tied].tolist() for name in names
    )
    keep, joined = [True] * len(part), [False] * len(part)
    # Notes that wait for their continuation, by part, pitch and the tick it begins at.
    waiting: dict[tuple[int, int, int], list[int]] = {}
    for row in range(len(part)):
        first = row
        partners = waiting.get((part[row], pitch[row], onset[row])) if incoming[row] else None
        if partners:
            first = partners.pop(0)
            durations[first] += durations[row]
            keep[row], joined[first] = False, True
        if outgoing[row]:
            end = onset[first] + durations[first]
            waiting.setdefault((part[row], pitch[row], end), []).append(first)
    table["duration"][tied] = durations
    table["tie_out"][tied] = joined
    kept = np.ones(len(table), bool)
    kept[tied] = keep
    return table[kept], bar_of[kept]


def _loudness(score: Score, bars: PlayedBars, table: NDArray[np.void]) -> NDArray[np.float64]:
    if score.dynamics:
        dynamics = _unfold_dynamics(score, bars)
        bar_ticks = int(np.median(bars.full)) if len(bars) else 0
        marked = levels(dynamics, table["part"], table["staff"], table["onset"], bar_ticks)
    else:
        marked = np.full(len(table), UNMARKED)
    played = table["velocity"] > 0
    return np.where(played, np.minimum(table["velocity"], 127) / 127, marked)


def _unfold_dynamics(score: Score, bars: PlayedBars) -> list[Dynamic]:
    """Dynamics at their played ticks: each belongs to the bar it stands in."""
    ends = score.bars.start + score.bars.length
    home = [
        min(int(np.searchsorted(ends, d.tick, side="right")), len(ends) - 1)
        for d in score.dynamics
    ]
    by_bar: dict[int, list[Dynamic]] = {}
    for dynamic, bar in zip(score.dynamics, home, strict=True):
        by_bar.setdefault(bar, []).append(dynamic)
    result = []
    for written, start in zip(bars.written.tolist(), bars.start.tolist(), strict=True):
        for dynamic in by_bar.get(written, ()):
            move = start - int(score.bars.start[written])
            end = None if dynamic.end is None else dynamic.end + move
            result.append(replace(dynamic, tick=dynamic.tick + move, end=end))
    return result


def _notes(
    table: NDArray[np.void],
    bar_of: NDArray[np.int64],
    loudness: NDArray[np.float64],
    written: NDArray[np.int64],
) -> Notes:
    sounding = table["duration"] > 0
    table, bar_of, loudness = table[sounding], bar_of[sounding], loudness[sounding]
    written = written[sounding]
    order = np.lexsort((table["duration"], table["part"], table["pitch"], table["onset"]))
    table = table[order]
    return Notes(
        part=table["part"],
        staff=table["staff"],
        voice=table["voice"],
        bar=bar_of[order],
        onset=table["onset"],
        duration=table["duration"],
        pitch=table["pitch"].astype(np.int64),
        loudness=loudness[order],
        written=written[order],
    )
