"""Two drafts of one piece: which bars are the same music, and what changed in them.

    drafts(earlier, later) -> Drafts

Bars are set side by side by what sounds in them: the notes that begin at each place of
the bar, by name and without octave, so that a bar that is moved by an octave, or pushed on
by inserted bars, is still known. Two bars are alike by Dice's coefficient (1945), 2 x what
they share / what they have; of all orders-keeping pairings of bars that are alike by LIKE
or more, the one with the greatest sum of squared likenesses is taken (dynamic programming,
Needleman and Wunsch 1970, gaps without cost). Of equal pairings, added bars come last.

Measures have changed where they differ by what can be said in music (SAYABLE), stays,
shifts and events where none of the same kind is at the bar that corresponds.

Conventions: played bars, from 0, half-open. 'before' is the earlier draft, 'now' the later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.comparison import Comparison, PlacedMeasure, PlacedStay
from corpusreg.measures.definitions import Measure
from corpusreg.measures.events import Event
from corpusreg.measures.shifts import Shift
from corpusreg.score.played import Played

__all__ = ["DraftChange", "Drafts", "MeasureChange", "Run", "align", "drafts", "place"]

LIKE = 0.5
FOUND = 0.25  # of the bars; one that is only alike counts half, as some are by chance
NEAR = 2  # bars within which a shift or an event counts as moved
STIRS = 3  # semitones from which a shift is larger, or a stay lies elsewhere
# By unit, the least difference that is told; a rate also changes by one event or more.
SAYABLE = {
    "semitones": 0.5,
    "semitones a beat": 0.5,
    "octaves": 0.1,
    "bars": 1.0,
    "share of bars": 0.05,
    "share of time": 0.05,
    "per 100 bars": 0.5,
}
_PLACES = 960  # of a bar, to tell when a note begins
_ROW = TypeVar("_ROW", Shift, Event)


@dataclass(frozen=True)
class Run:
    """Bars of the two drafts that belong together.

    kind: 'same', 'loudness' (only that differs), 'register' (the same notes in other
    octaves), 'changed' (alike), 'rewritten' (other music in its place), 'new' (none
    before) or 'gone' (none now). moved: semitones, where every note moves alike, else None.
    """

    kind: str
    before: tuple[int, int]
    now: tuple[int, int]
    moved: int | None = None


@dataclass(frozen=True)
class MeasureChange:
    """One measure. changed: by an amount that can be said. elsewhere: its place among the
    works changed too, beyond both intervals; None where a place is missing or they are
    other works."""

    measure: Measure
    before: PlacedMeasure
    now: PlacedMeasure
    changed: bool
    elsewhere: bool | None


@dataclass(frozen=True)
class DraftChange:
    """A stay, shift or event of the whole.

    kind: 'stay', 'shift' or 'event'. status: 'as before', 'changed' (other length or
    register), 'moved' (to other bars), 'new' or 'gone'.
    """

    kind: str
    status: str
    before: PlacedStay | Shift | Event | None
    now: PlacedStay | Shift | Event | None


@dataclass(frozen=True)
class Drafts:
    """Two drafts side by side. runs: all bars in order. same_works: both are compared with
    the same works, so that their places can be set side by side."""

    earlier: Comparison
    later: Comparison
    runs: tuple[Run, ...]
    measures: tuple[MeasureChange, ...]
    changes: tuple[DraftChange, ...]
    same_works: bool

    @property
    def unlike(self) -> bool:
        """Whether hardly any bar is found again: less than FOUND of the shorter draft."""
        worth = {"same": 1.0, "loudness": 1.0, "register": 1.0, "changed": 0.5}
        found = sum(worth.get(run.kind, 0) * (run.now[1] - run.now[0]) for run in self.runs)
        return found < FOUND * min(len(self.earlier.bars), len(self.later.bars))

    @property
    def untouched(self) -> bool:
        """Whether nothing at all has changed."""
        return (
            all(run.kind == "same" for run in self.runs)
            and not any(each.changed for each in self.measures)
            and all(each.status == "as before" for each in self.changes)
        )


def drafts(earlier: Comparison, later: Comparison) -> Drafts:
    """What changed from one comparison to the other."""
    before, now = earlier.whole.played, later.whole.played
    pairs = align(before, now)
    runs = _runs(before, now, pairs)
    at = _counterparts(runs, len(before.bars))
    same_works = earlier.cohort.rung.name == later.cohort.rung.name
    return Drafts(
        earlier=earlier,
        later=later,
        runs=runs,
        measures=tuple(
            _measure(a, b, earlier, later, same_works=same_works)
            for a, b in zip(earlier.measures, later.measures, strict=True)
        ),
        changes=(
            *_stays(earlier, later, at),
            *_moments("shift", earlier.whole.shifts, later.whole.shifts, at),
            *_moments("event", _events(earlier), _events(later), at),
        ),
        same_works=same_works,
    )


def place(item: PlacedStay | Shift | Event) -> tuple[int, int]:
    """Played bars of a stay, shift or event, half-open."""
    if isinstance(item, Shift):
        return item.bar, item.bar + 1
    found = item.stay if isinstance(item, PlacedStay) else item
    return found.first, found.last


def align(before: Played, now: Played) -> list[tuple[int, int]]:
    """Pairs of bars (before, now) that are alike, rising in both."""
    likeness = _likeness(before, now)
    gain = np.where(likeness >= LIKE, np.round(1000 * likeness**2), 0).astype(np.int64)
    best = np.zeros((gain.shape[0] + 1, gain.shape[1] + 1), np.int64)
    for row, worth in enumerate(gain):
        paired = np.where(worth > 0, best[row, :-1] + worth, 0)
        best[row + 1, 1:] = np.maximum.accumulate(np.maximum(best[row, 1:], paired))
    pairs = []
    row, column = gain.shape
    while row and column:
        here = best[row, column]
        if here == best[row, column - 1]:
            column -= 1
        elif here == best[row - 1, column]:
            row -= 1
        else:
            row, column = row - 1, column - 1
            pairs.append((row, column))
    return pairs[::-1]


def _likeness(before: Played, now: Played) -> NDArray[np.float64]:
    """Dice's coefficient of every bar before with every bar now, shape (before, now).

    A silent bar is as like another as LIKE says: enough to be paired where nothing
    else can be.
    """
    tones = [_places(each) * 12 + each.notes.pitch % 12 for each in (before, now)]
    known = np.unique(np.concatenate(tones))
    rows = []
    for each, found in zip((before, now), tones, strict=True):
        has = np.zeros((len(each.bars), len(known)), np.float32)
        has[each.notes.bar, np.searchsorted(known, found)] = 1
        rows.append(has)
    shared = (rows[0] @ rows[1].T).astype(float)
    sizes = rows[0].sum(axis=1)[:, None] + rows[1].sum(axis=1)[None, :]
    like = np.full(shared.shape, LIKE)
    np.divide(2 * shared, sizes, out=like, where=sizes > 0)
    return like


def _places(played: Played) -> NDArray[np.int64]:
    """Where in its bar each note begins, in _PLACES of a full bar."""
    notes, bars = played.notes, played.bars
    offset = notes.onset - bars.start[notes.bar]
    return np.asarray(np.round(_PLACES * offset / bars.full[notes.bar]), np.int64)


def _runs(before: Played, now: Played, pairs: Sequence[tuple[int, int]]) -> tuple[Run, ...]:
    """All bars in order, neighbours of one kind joined."""
    one, other = _bar_notes(before), _bar_notes(now)
    singles: list[Run] = []
    a = b = 0
    for i, j in (*pairs, (len(before.bars), len(now.bars))):
        if i > a and j > b:
            singles.append(Run("rewritten", (a, i), (b, j)))
        elif i > a or j > b:
            singles.append(Run("gone" if i > a else "new", (a, i), (b, j)))
        if i < len(before.bars):
            kind, moved = _kind(one[i], other[j])
            singles.append(Run(kind, (i, i + 1), (j, j + 1), moved))
        a, b = i + 1, j + 1
    joined = []
    for (kind, moved), group in groupby(singles, key=lambda run: (run.kind, run.moved)):
        runs = list(group)
        joined.append(
            Run(
                kind,
                (runs[0].before[0], runs[-1].before[1]),
                (runs[0].now[0], runs[-1].now[1]),
                moved,
            )
        )
    return tuple(joined)


_Notes = list[tuple[int, int, int, int, int]]


def _bar_notes(played: Played) -> list[_Notes]:
    """Notes of every bar: place, name, pitch, length (in _PLACES), loudness in thousandths."""
    notes, bars = played.notes, played.bars
    length = np.round(_PLACES * notes.duration / bars.full[notes.bar]).astype(int)
    loud = np.round(1000 * notes.loudness).astype(int)
    rows = zip(
        _places(played).tolist(), (notes.pitch % 12).tolist(), notes.pitch.tolist(),
        length.tolist(), loud.tolist(), strict=True,
    )  # fmt: skip
    found: list[_Notes] = [[] for _ in range(len(bars))]
    for bar, row in zip(notes.bar.tolist(), rows, strict=True):
        found[bar].append(row)
    return [sorted(each) for each in found]


def _kind(one: _Notes, other: _Notes) -> tuple[str, int | None]:
    """How a bar differs from the bar it is paired with."""
    if one == other:
        return "same", None
    if [note[:4] for note in one] == [note[:4] for note in other]:
        return "loudness", None
    if {note[:2] for note in one} != {note[:2] for note in other}:
        return "changed", None
    if {note[2] for note in one} == {note[2] for note in other}:
        return "changed", None
    if len(one) == len(other):
        steps = {b[2] - a[2] for a, b in zip(one, other, strict=True)}
        if len(steps) == 1:
            return "register", steps.pop()
    return "register", None


def _counterparts(runs: Sequence[Run], bars: int) -> NDArray[np.int64]:
    """For every bar before, the bar now that stands in its place, -1 where there is none."""
    at = np.full(bars, -1)
    for run in runs:
        both = min(run.before[1] - run.before[0], run.now[1] - run.now[0])
        at[run.before[0] : run.before[0] + both] = np.arange(run.now[0], run.now[0] + both)
    return at


def _measure(
    a: PlacedMeasure, b: PlacedMeasure, earlier: Comparison, later: Comparison, *,
    same_works: bool,
) -> MeasureChange:  # fmt: skip
    changed = (a.value is None) != (b.value is None)
    if a.value is not None and b.value is not None:
        least = SAYABLE[a.measure.unit]
        if a.measure.unit == "per 100 bars":
            fewest = min(len(earlier.bars), len(later.bars))
            counts = a.value * len(earlier.bars) / 100, b.value * len(later.bars) / 100
            least = max(least, 100 / fewest) if round(counts[0]) != round(counts[1]) else np.inf
        changed = abs(a.value - b.value) >= least - 1e-9
    return MeasureChange(a.measure, a, b, changed, _elsewhere(a, b) if same_works else None)


def _elsewhere(a: PlacedMeasure, b: PlacedMeasure) -> bool | None:
    """Whether each place lies outside the other's interval."""
    ranks = a.placement.percentile, b.placement.percentile
    spans = a.placement.interval, b.placement.interval
    if ranks[0] is None or ranks[1] is None or spans[0] is None or spans[1] is None:
        return None
    return not (
        spans[1][0] <= ranks[0] <= spans[1][1] or spans[0][0] <= ranks[1] <= spans[0][1]
    )


def _events(c: Comparison) -> tuple[Event, ...]:
    return tuple(each.event for each in c.events if each.part is None)


def _stays(earlier: Comparison, later: Comparison, at: NDArray[np.int64]) -> list[DraftChange]:
    """Stays that share half of their bars or more are one stay."""
    old = sorted(_whole(earlier), key=lambda s: s.stay.first)
    left = sorted(_whole(later), key=lambda s: s.stay.first)
    found = []
    for stay in old:
        now = at[stay.stay.first : stay.stay.last]
        same = next((each for each in left if _shares_half(now, each)), None)
        if same is None:
            found.append(DraftChange("stay", "gone", stay, None))
            continue
        left.remove(same)
        found.append(DraftChange("stay", _stay_status(stay, same, now), stay, same))
    return [*found, *(DraftChange("stay", "new", None, stay) for stay in left)]


def _whole(c: Comparison) -> list[PlacedStay]:
    return [stay for stay in c.stays if stay.part is None]


def _shares_half(now: NDArray[np.int64], stay: PlacedStay) -> bool:
    shared = int(((now >= stay.stay.first) & (now < stay.stay.last)).sum())
    return 2 * shared >= len(now) + stay.stay.bars - shared


def _stay_status(old: PlacedStay, new: PlacedStay, now: NDArray[np.int64]) -> str:
    """Changed where it is of another length, or an edge moved by STIRS or more."""
    edges = abs(old.stay.low - new.stay.low), abs(old.stay.high - new.stay.high)
    kept = old.stay.bars == new.stay.bars and now[0] == new.stay.first
    return "as before" if kept and max(edges) < STIRS else "changed"


def _moments(
    kind: str, old: Sequence[_ROW], new: Sequence[_ROW], at: NDArray[np.int64]
) -> list[DraftChange]:
    """Shifts or events: those of one sort at corresponding bars are one, then those near."""
    left: list[_ROW] = list(new)
    pairs: dict[int, _ROW] = {}
    for near in (0, NEAR):
        for index, each in enumerate(old):
            bar = int(at[place(each)[0]])
            fits = [
                other
                for other in left
                if bar >= 0
                and _sort(other) == _sort(each)
                and abs(place(other)[0] - bar) <= near
            ]
            if index not in pairs and fits:
                pairs[index] = min(fits, key=lambda other: abs(place(other)[0] - bar))
                left.remove(pairs[index])
    found: list[DraftChange] = []
    for index, each in enumerate(old):
        match = pairs.get(index)
        status = "gone" if match is None else _status(each, match, int(at[place(each)[0]]))
        found.append(DraftChange(kind, status, each, match))
    return [*found, *(DraftChange(kind, "new", None, each) for each in left)]


def _sort(each: Shift | Event) -> tuple[str, str]:
    """What must agree for two to be one."""
    return ("", each.direction) if isinstance(each, Shift) else (each.kind, each.place)


def _status(old: Shift | Event, new: Shift | Event, bar: int) -> str:
    if place(new)[0] != bar:
        return "moved"
    if isinstance(old, Shift) and isinstance(new, Shift):
        return "as before" if abs(old.size - new.size) < STIRS else "changed"
    if isinstance(old, Event) and isinstance(new, Event):
        return "as before" if (old.low, old.high) == (new.low, new.high) else "changed"
    raise TypeError("a shift cannot be matched with an event")
