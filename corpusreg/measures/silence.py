"""Events that stand on the silence of a place: withheld bass and top, cleared, entry.

Definitions
-----------
place      NEAR semitones on both sides of a note; for an outer line everything from NEAR
           above a bass note down (from NEAR below a top note up).
silence    nothing sounds in the place, but for grazes of GRAZE of a bar in all. Long is
           SECONDS where a tempo is written and never under SHORT bars, else LONG bars;
           from the beginning of the work OPENING bars are long.
withheld   the lowest (highest) line keeps out of the place for long; then a hand that
           rested enters a fourth (at the top a fifth) or more beyond it, or one that
           plays on falls (rises) a minor sixth beyond it and an octave beyond the
           median of that line. What lies nearer, or is reached by
           a line that plays on, extends the line and is no event.
again      the bar whose music comes again with the bass (the top) that was withheld.
cleared    an inner place that was filled, then silent for long, is filled again; or one
           that was kept empty for LONGEST bars from the beginning on is filled.
entry      any other inner place that was silent for long is filled with weight.

Notes of the final cadence make no events, nor do notes that are gone at once: what
enters must fill STAYS of the bar that follows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events import Event
from corpusreg.measures.ground import Ground
from corpusreg.measures.texture import PITCHES

__all__ = ["silences"]

NEAR = 5  # semitones
GRAZE = 0.25  # bars
LONG = 4.0  # bars
SHORT = 2.0  # bars
OPENING = 2.0  # bars
SECONDS = 6.0
FALLS = 12  # semitones
BEYOND = 8  # semitones, of a line that plays on
ENTERS_LOW, ENTERS_HIGH = 5, 7  # semitones
STAYS = 0.4  # of a bar
RESTED = 2.0  # bars
MUSIC = 0.5  # of the wait in which something sounds
APART = 2.0  # bars between two events of one kind
FILLS = 0.5  # of a bar
HOLDS = 2.0  # bars
BETWEEN = 0.5  # of the silence in which something sounds below, and above
VOICES = 2  # pitches that fill an inner place
SAME = 2  # bars of music that comes again
MOVING = 3  # pitch classes in them
LONGEST, FAR = 8.0, 24.0  # bars and semitones that count in full

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


def long_silence(here: Ground, seconds: Floats | None) -> Floats:
    """How many bars of silence are long at each played bar, shape (bars,)."""
    if seconds is None:
        return np.full(len(here.bars), LONG)
    bar = seconds * here.bars.full / np.maximum(here.bars.length, 1)
    return np.maximum(SECONDS / np.maximum(bar, 1e-3), SHORT)


def silences(here: Ground, seconds: Floats | None) -> list[Event]:
    """Withheld bass and top, cleared places and entries, in order of time."""
    long = long_silence(here, seconds)
    rested, whole = _rested(here), _Places(here, here.any[None])
    outer = [
        event
        for low in (True, False)
        for event in _withheld(here, _Outer.of(here, low=low), long, rested, whole)
    ]
    return sorted([*outer, *_inner(here, long)], key=lambda each: (each.bar, each.beat))


@dataclass(frozen=True)
class _Places:
    """Places, by the lowest pitch of each; states: shape (places, m), whether each sounds."""

    here: Ground
    states: Bools

    @cached_property
    def filled(self) -> Floats:
        """Bars for which each place was filled before each moment, shape (places, m + 1)."""
        total = np.zeros((len(self.states), self.states.shape[1] + 1))
        np.cumsum(self.states * self.here.lasts, axis=1, out=total[:, 1:])
        return total

    def between(self, first: Ints, start: Floats, place: Ints) -> Floats:
        """Bars for which each place sounds from a time of the clock to a moment."""
        return self.filled[place, first] - self.until(start, place)

    def after(self, first: Ints, bars: float, place: Ints) -> Floats:
        """Bars for which each place sounds in so many bars from a moment on."""
        return self.until(self.here.clock[first] + bars, place) - self.filled[place, first]

    def until(self, time: Floats, place: Ints) -> Floats:
        """Bars for which each place has sounded at a time of the clock."""
        at = self.here.at(time)
        part = np.minimum(np.maximum(time - self.here.clock[at], 0), self.here.lasts[at])
        return np.asarray(self.filled[place, at] + part * self.states[place, at])

    def emptied(self, moment: int, place: int, long: float) -> int:
        """The moment from which a place is silent until another, grazes apart.

        Where it is silent for long without them, none are passed over.
        """
        column = self.filled[place]
        last = int(np.searchsorted(column, column[moment] - 1e-9, side="left"))
        if self.here.clock[moment] - self.here.clock[last] >= long - 1e-6:
            return last
        if column[moment] <= GRAZE:
            return 0
        begin = int(np.searchsorted(column, column[moment] - GRAZE - 1e-9, side="left"))
        # What sounds on from there is no graze, but the end of the place's sound.
        silent = np.flatnonzero(~self.states[place, begin:moment])
        return begin + int(silent[0]) if len(silent) else moment


@dataclass(frozen=True)
class _Outer:
    """One outer line; for the top, heights are counted downward and all else is the same."""

    low: bool
    turn: int
    line: Ints  # of each moment, PITCHES in silence
    height: Ints  # of each note
    base: int
    places: _Places

    @classmethod
    def of(cls, here: Ground, *, low: bool) -> _Outer:
        turn = 0 if low else PITCHES - 1
        line = np.where(
            here.any, np.abs(turn - (here.lowest if low else here.highest)), PITCHES
        )
        height = np.abs(turn - here.notes.pitch)
        base = int(height.min())
        under = base + np.arange(int(height.max()) - base + NEAR + 1)
        return cls(low, turn, line, height, base, _Places(here, line < under[:, None]))

    def place(self, height: NDArray[np.int64]) -> Ints:
        """Number of the place that ends below a height."""
        last = len(self.places.states) - 1
        return np.asarray(np.minimum(height - self.base, last), np.int64)

    def beyond(self, *, enters: bool) -> int:
        """Semitones by which a note must lie beyond the line that waited."""
        return (ENTERS_LOW if self.low else ENTERS_HIGH) if enters else BEYOND


def _withheld(
    here: Ground, side: _Outer, long: Floats, rested: Bools, whole: _Places
) -> list[Event]:
    row = np.flatnonzero(side.line[here.first] == side.height)
    first = here.first[row]
    now = here.clock[first]
    enters = rested[row]
    beyond = np.where(enters, side.beyond(enters=True), side.beyond(enters=False))
    place = side.place(side.height[row] + NEAR)
    clear = side.place(side.height[row] + beyond)
    wait = np.minimum(long[here.notes.bar[row]], now)
    touched = side.places.between(first, now - wait, clear)
    music = whole.between(first, now - wait, np.zeros(len(row), np.int64))
    kept = (touched <= GRAZE + 1e-6) & (wait >= OPENING - 1e-6) & (music >= MUSIC * wait)
    kept &= here.notes.bar[row] < here.final
    found: list[Event] = []
    last = -np.inf
    for k in np.flatnonzero(kept).tolist():
        if now[k] - last >= APART:
            one = (int(row[k]), int(place[k]), float(wait[k]))
            event = _outer_event(here, side, *one, enters=bool(enters[k]))
            if event is not None:
                found.append(_from_its_first_note(here, side, int(row[k]), event))
                last = now[k]
    return _with_returns(here, side, found) if found else found


def _from_its_first_note(here: Ground, side: _Outer, row: int, event: Event) -> Event:
    """The event from the bar in which its hand enters, where a short note leads into it.

    Such a note is forgiven as a graze of the silence, and is part of what ends it.
    """
    if event.edge is None:
        return event
    begin = float(here.clock[here.first[row]])
    struck = (here.on >= begin - 1 - 1e-6) & (here.on < begin - 1e-6)
    struck &= (here.hand == here.hand[row]) & (side.height < abs(side.turn - event.edge))
    led = np.flatnonzero(struck)
    if not len(led):
        return event
    note = int(led[here.on[led].argmin()])
    bar = int(here.notes.bar[note])
    pitches = sorted({*event.pitches, *here.notes.pitch[led].tolist()})
    return replace(
        event,
        first=bar,
        bar=bar,
        beat=here.beat(int(here.notes.onset[note]), bar),
        pitches=tuple(pitches),
        low=pitches[0],
        high=pitches[-1],
        silence=max(event.silence - begin + float(here.on[note]), 0.0),
        section=bool(here.bars.section[bar]),
        grazes=0,
    )


def _with_returns(here: Ground, side: _Outer, found: list[Event]) -> list[Event]:
    """Events with the bar whose music comes back under (or over) what was withheld.

    The line at the other end of the texture is compared: its pitch classes and where in
    the bar they begin, SAME bars on end, MOVING pitch classes or more.
    """
    other = here.highest if side.low else here.lowest
    struck = np.unique(here.first)
    struck = struck[here.any[struck]]
    bar = here.bar[struck]
    place = here.moments[struck] - here.bars.start[bar]
    classes = other[struck] % 12
    edges = np.searchsorted(bar, np.arange(len(here.bars) + 1)).tolist()
    struck_classes = place * 12 + classes
    music = [struck_classes[a:b].tobytes() for a, b in pairwise(edges)]
    earliest: dict[tuple[bytes, ...], int] = {}
    for first in range(len(music) - SAME + 1):
        earliest.setdefault(tuple(music[first : first + SAME]), first)
    result = []
    for event in found:
        last = min(event.bar + SAME, len(music))
        moving = len(set(classes[edges[event.bar] : edges[last]].tolist()))
        before = earliest.get(tuple(music[event.bar : last]), event.bar)
        if moving >= MOVING and before + SAME <= event.bar:
            event = replace(event, again=before, theme=True)
        result.append(event)
    return result


def _rested(here: Ground) -> Bools:
    """Whether the hand that strikes each note has rested before it, shape (n,)."""
    order = np.lexsort((here.notes.onset, here.hand))
    hand, first, stop = here.hand[order], here.first[order], here.stop[order]
    # Hands lie one after the other on a single line, so that one running maximum serves all.
    lane = hand * (len(here.moments) + 1)
    ends = np.maximum.accumulate(stop + lane)
    chord = np.append(True, (first[1:] != first[:-1]) | (hand[1:] != hand[:-1]))
    number = np.flatnonzero(chord)[np.cumsum(chord) - 1]
    before = np.append(-1, ends[:-1])[number] - lane
    heard = np.where(before > 0, here.clock[np.maximum(before, 0)], -np.inf)
    rested = np.empty(len(order), bool)
    rested[order] = here.clock[first] - heard >= RESTED - 1e-6
    return rested


def _outer_event(
    here: Ground, side: _Outer, row: int, place: int, long: float, *, enters: bool
) -> Event | None:
    """The event of an outer note after long silence, None where the line only extends."""
    m, height = int(here.first[row]), int(side.height[row])
    t = float(here.clock[m])
    begin = side.places.emptied(m, place, long)
    begin, edge = _clearest(here, side, slice(begin, m), place, height, long)
    if edge - height < side.beyond(enters=enters):
        return None
    waiting = slice(begin, m)
    outside = (side.line[waiting] >= edge) & here.any[waiting]
    heights, time = side.line[waiting][outside], here.lasts[waiting][outside]
    soon = int(side.line[m : int(here.at(np.array([t + 1.0]))[0]) + 1].min())
    if not enters and _median(heights, time) - soon < FALLS:
        return None
    under = side.place(np.array([edge]))
    if side.places.after(np.array([m]), 1.0, under)[0] < STAYS:
        return None
    lasts = float(side.places.after(np.array([m]), 8.0, under)[0])
    # What the hand strikes beyond the edge in the bar that follows proves it.
    soon_after = (here.on >= t - 1e-6) & (here.on < t + 1 - 1e-6)
    struck = (here.hand == here.hand[row]) & soon_after & (side.height < edge)
    pitches = np.unique(here.notes.pitch[struck])
    silence = t - float(here.clock[begin])
    bar = int(here.notes.bar[row])
    touched = bool((~outside & here.any[waiting]).any())
    return Event(
        "withheld_bass" if side.low else "withheld_top",
        None,
        bar,
        bar + 1,
        bar,
        here.beat(int(here.moments[m]), bar),
        tuple(pitches.tolist()),
        int(pitches.min()),
        int(pitches.max()),
        _strength(silence, lasts, edge - height),
        lasts=lasts,
        players=(int(here.notes.part[row]),),
        silence=silence,
        since=int(here.bar[begin - 1]) if begin else None,
        edge=abs(side.turn - edge),
        distance=float(edge - height),
        direction="down" if side.low else "up",
        place="bass" if side.low else "top",
        by="enters" if enters else ("falls" if side.low else "rises"),
        section=bool(here.bars.section[bar]),
        grazes=int(touched),
    )


def _clearest(
    here: Ground, side: _Outer, waiting: slice, place: int, height: int, long: float
) -> tuple[int, int]:
    """The moment from which the wait is told, and what the line then kept above.

    A longer wait has more in it, and so a lower edge: the product of both decides.
    """
    moments = np.arange(waiting.stop - 1, waiting.start - 1, -1)
    counts = ~side.places.states[place, moments] & here.any[moments]
    edge = np.minimum.accumulate(np.where(counts, side.line[moments], PITCHES))
    silence = here.clock[waiting.stop] - here.clock[moments]
    worth = np.minimum(silence, LONGEST) * np.where(edge < PITCHES, edge - height, 0)
    worth[silence < long - 1e-6] = 0
    if not len(worth) or not worth.any():
        return waiting.start, height
    # Of equals the longest: nothing but silence lies between them.
    chosen = int(np.flatnonzero(worth >= worth.max() - 1e-9)[-1])
    return int(moments[chosen]), int(edge[chosen])


def _inner(here: Ground, long: Floats) -> list[Event]:
    """Entries into places between what sounds below and what sounds above."""
    base = int(here.notes.pitch.min())
    width = int(here.notes.pitch.max()) - base + 1
    sounds = np.ascontiguousarray(here.sounds[:, base : base + width].T)
    near = sounds.copy()
    for step in range(1, min(NEAR, width - 1) + 1):
        near[step:] |= sounds[:-step]
        near[:-step] |= sounds[step:]
    places = _Places(here, near)
    place = here.notes.pitch - base
    now = here.clock[here.first]
    needed = long[here.notes.bar]
    wait = np.minimum(needed, now)
    touched = places.between(here.first, now - wait, place)
    # The opening of a work clears nothing inside: all that is long must have passed.
    kept = (touched <= GRAZE + 1e-6) & (now >= needed - 1e-6)
    kept &= here.notes.bar < here.final
    kept &= places.after(here.first, 1.0, place) >= FILLS
    rows = np.flatnonzero(kept)
    found: list[Event] = []
    while len(rows):
        together = rows[now[rows] <= now[rows[0]] + 1.0]
        event = _inner_event(here, places, together, base, long)
        if event is not None:
            found.append(event)
        rows = rows[now[rows] >= now[rows[0]] + (APART if event is not None else 0.5)]
    return found


def _inner_event(
    here: Ground, places: _Places, rows: Ints, base: int, long: Floats
) -> Event | None:
    """The event of notes that fill an inner place together: the longest silent of them."""
    waits: dict[int, int] = {}
    for row in rows.tolist():
        begin = places.emptied(
            int(here.first[row]),
            int(here.notes.pitch[row]) - base,
            float(long[here.notes.bar[row]]),
        )
        if _between(here, begin, row):
            waits[row] = begin
    if not waits:
        return None
    row = max(waits, key=lambda each: here.clock[here.first[each]] - here.clock[waits[each]])
    begin, rows = waits[row], np.array(list(waits))
    m, pitch = int(here.first[row]), int(here.notes.pitch[row])
    place, t = pitch - base, float(here.clock[m])
    waiting = slice(begin, m)
    silence = t - float(here.clock[begin])
    pitches = np.unique(here.notes.pitch[rows])
    if len(pitches) < VOICES and int(pitches.max() - pitches.min()) < NEAR:
        return None
    at, one = np.array([m]), np.array([place])
    lasts = float(places.after(at, 8.0, one)[0])
    if lasts < HOLDS:
        return None
    since = _since(here, places, begin, m, place)
    before = float(
        places.filled[place, begin] - places.until(here.clock[[begin]] - LONG, one)[0]
    )
    edge = _nearest(here, waiting, pitch)
    bar = int(here.notes.bar[row])
    return Event(
        "cleared" if before >= HOLDS or (since is None and silence >= LONGEST) else "entry",
        None,
        bar,
        bar + 1,
        bar,
        here.beat(int(here.moments[m]), bar),
        tuple(pitches.tolist()),
        int(pitches.min()),
        int(pitches.max()),
        _strength(silence, lasts, abs(edge - pitch)),
        lasts=lasts,
        players=tuple(np.unique(here.notes.part[rows]).tolist()),
        silence=silence,
        since=since,
        edge=edge,
        distance=float(abs(edge - pitch)),
        place="inner",
        section=bool(here.bars.section[bar]),
    )


def _between(here: Ground, begin: int, row: int) -> bool:
    """Whether a note lies between what sounded below and above while its place was silent."""
    waiting, pitch = slice(begin, int(here.first[row])), int(here.notes.pitch[row])
    lasts = here.lasts[waiting]
    below = (here.any[waiting] & (here.lowest[waiting] < pitch - NEAR)) @ lasts
    above = (here.highest[waiting] > pitch + NEAR) @ lasts
    return bool(lasts.sum() and min(below, above) >= BETWEEN * lasts.sum())


def _nearest(here: Ground, waiting: slice, pitch: int) -> int:
    """The pitch nearest to a place that sounded meanwhile, outside the place."""
    heard = np.flatnonzero(here.sounds[waiting].any(axis=0))
    outside = heard[np.abs(heard - pitch) > NEAR]
    return int(outside[np.abs(outside - pitch).argmin()])


def _since(here: Ground, places: _Places, begin: int, moment: int, place: int) -> int | None:
    """The played bar in which a place was last heard, None where it never was."""
    if places.filled[place, moment] == 0:
        return None
    heard = np.flatnonzero(places.states[place, : max(begin, 1)])
    return int(here.bar[heard[-1]]) if len(heard) else None


def _strength(silence: float, lasts: float, distance: float) -> float:
    """Geometric mean of silence, of how long the new register lasts, and of distance."""
    time, stays = min(silence / LONGEST, 1.0), min(lasts / LONGEST, 1.0)
    return float(max(time * stays * min(distance / FAR, 1.0), 1e-9) ** (1 / 3))


def _median(values: Ints, weights: Floats) -> float:
    """Weighted median."""
    order = np.argsort(values, kind="stable")
    passed = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(passed, passed[-1] / 2)])
