"""Pedal points: one note that stays while the music over, under or round it moves.

Definition
----------
A note stays when it is held in bar after bar, SHORTEST bars or more.

- In the bass it is written in every bar and held for IN_BAR of it, nothing but its own lower
  octaves is held below it for more than BRIEF of any bar, and it is held for HELD of the whole
  time (SHORT_HELD where it stays for less than LONG bars: a bass that sings or leaps from a
  note and comes back to it does not hold it);
- at the top the same, with what is above it, for TOP bars or more, held for TOP_HELD;
- inside it is held for INNER_HELD, for INNER bars or more.

The music moves: in some bar, FOREIGN of what else is held (SHORT_FOREIGN where it stays for
SHORTEST bars only, LONG_FOREIGN where it stays in the bass for LONG bars) are pitch classes
outside the triads on it. A chord that is broken for some bars is no pedal point. At the top and
inside, moreover, CHANGED of what else is held is other from one bar to the next: a note that
several chords share counts, a tone of one chord does not.

Notes an octave apart that stay together are one pedal point, the longest; one at the top or in
the bass counts OUTER times its bars for that.

It ends where it is no longer held: it *resolves* where the bass goes from it up a fourth or
down a fifth, *moves off* where a pitch nearer than an octave follows at the same end of the
texture (or in its hand, inside), and *stops* otherwise. A pedal point that is still held in
the last bar ends with the piece. One of SHORTEST bars that resolves is a long dominant and is
not told: of the four in the annotated scores, three lie in passages marked as uneventful.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events import Ending, Event, Place
from corpusreg.measures.outer_lines import SILENT, Moments
from corpusreg.measures.texture import PITCHES

__all__ = ["pedal_points"]

SHORTEST = 3  # bars
LONG = 5
TOP = 4
INNER = 6
BRIEF = 0.125  # of a bar
IN_BAR = 0.3  # of a bar
HELD = 0.45  # of the time
SHORT_HELD = 0.7
TOP_HELD = 0.7
INNER_HELD = 0.9
FOREIGN = 0.3  # of what else is held
SHORT_FOREIGN = 0.5
LONG_FOREIGN = 0.15
CHANGED = 0.4
OUTER = 1.5
TRIADS = (0, 3, 4, 7)

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class _Stay:
    place: Place
    pitch: int
    first: int
    last: int  # half-open
    held: float

    def bars(self) -> int:
        return self.last - self.first


def pedal_points(here: Moments) -> list[Event]:
    """Pedal points in order of time. A single line has none."""
    if here.single_line:
        return []
    below, above = _beyond(here)
    held = (here.share >= IN_BAR) & here.written
    found = [
        *_stays(here, held & (below <= BRIEF), "bass"),
        *_stays(here, held & (above <= BRIEF), "top"),
        *_stays(here, held, "inner"),
    ]
    moving = [stay for stay in found if _moves(here, stay)]
    events = [_event(here, stay) for stay in _apart(moving)]
    events = [e for e in events if not (e.lasts == SHORTEST and e.ending == "resolves")]
    return sorted(events, key=lambda event: (event.first, event.low))


def _beyond(here: Moments) -> tuple[Floats, Floats]:
    """Share of each bar in which something is held below (no octave), and above, a pitch."""
    weight = here.lasting
    beyond: list[Floats] = []
    for line, downward in ((here.lowest, True), (here.highest, False)):
        sounding = np.flatnonzero(line != SILENT)
        cell = here.bar[sounding] * PITCHES + line[sounding]
        size = len(here.bars) * PITCHES
        flat = np.bincount(cell, weights=weight[sounding], minlength=size)
        time: Floats = flat.astype(np.float64).reshape(-1, PITCHES)
        if downward:
            sums = np.cumsum(time, axis=1) - time
            # Lower octaves of a pitch belong to it.
            padded = np.zeros((len(time), 11, 12))
            padded.reshape(len(time), -1)[:, :PITCHES] = time
            octaves = (np.cumsum(padded, axis=1) - padded).reshape(len(time), -1)[:, :PITCHES]
            beyond.append(sums - octaves)
        else:
            beyond.append(np.cumsum(time[:, ::-1], axis=1)[:, ::-1] - time)
    return beyond[0], beyond[1]


def _stays(here: Moments, there: Bools, place: Place) -> list[_Stay]:
    shortest = {"bass": SHORTEST, "top": TOP, "inner": INNER}[place]
    lowest, highest = int(here.notes.pitch.min()), int(here.notes.pitch.max())
    line = np.zeros((highest - lowest + 1, len(there) + 1), bool)
    line[:, :-1] = there[:, lowest : highest + 1].T
    runs = np.flatnonzero(np.diff(line.ravel(), prepend=False)).reshape(-1, 2)
    runs = runs[runs[:, 1] - runs[:, 0] >= shortest]
    found = []
    for start, stop in runs.tolist():
        pitch, first = divmod(start, len(there) + 1)
        pitch += lowest
        last = first + stop - start
        held = float(here.share[first:last, pitch].mean())
        if place == "bass":
            enough = held >= (HELD if last - first >= LONG else SHORT_HELD)
        else:
            enough = held >= (TOP_HELD if place == "top" else INNER_HELD)
        if enough:
            found.append(_Stay(place, pitch, first, last, held))
    return found


def _moves(here: Moments, stay: _Stay) -> bool:
    """Whether what else is held leaves the triads on the note."""
    others = here.share[stay.first : stay.last].copy()
    classes = np.zeros((len(others), 12))
    for interval in range(12):
        classes[:, interval] = others[:, (stay.pitch + interval) % 12 :: 12].sum(axis=1)
    classes[:, 0] = 0.0
    total = classes.sum(axis=1)
    if stay.place != "bass":
        parts = classes / np.maximum(total, 1e-9)[:, None]
        if np.abs(np.diff(parts, axis=0)).sum(axis=1).max() < 2 * CHANGED:
            return False
    own = classes[:, TRIADS].sum(axis=1)
    foreign = np.divide(total - own, total, out=np.zeros(len(total)), where=total > 0)
    if stay.bars() == SHORTEST:
        least = SHORT_FOREIGN
    else:
        least = LONG_FOREIGN if stay.place == "bass" and stay.bars() >= LONG else FOREIGN
    return bool(foreign.max() >= least)


def _apart(stays: list[_Stay]) -> list[_Stay]:
    """Without those that sound with a longer pedal point: its octaves and its chord."""
    rank = {"bass": 0, "top": 1, "inner": 2}
    kept: list[_Stay] = []

    def weight(stay: _Stay) -> float:
        return stay.bars() * (1.0 if stay.place == "inner" else OUTER)

    for stay in sorted(stays, key=lambda each: (-weight(each), rank[each.place], -each.held)):
        inside = [
            other
            for other in kept
            if min(stay.last, other.last) - max(stay.first, other.first) > stay.bars() / 2
        ]
        if not any(
            other.place == stay.place or (other.pitch - stay.pitch) % 12 == 0
            for other in inside
        ):
            kept.append(stay)
    return kept


def _event(here: Moments, stay: _Stay) -> Event:
    inside = (here.bar >= stay.first) & (here.bar < stay.last)
    there = np.flatnonzero(inside & here.sounds[:, stay.pitch])
    begin, over = int(there[0]), int(there[-1]) + 1
    ending, bar, beat, to = _ending(here, stay, over)
    bars = float(stay.bars())
    # Octaves that stay as long are the same pedal point.
    others = np.arange(stay.pitch % 12, PITCHES, 12)
    staying = (here.share[stay.first : stay.last][:, others] >= IN_BAR).all(axis=0)
    pitches = {stay.pitch, *others[staying].tolist()}
    notes = here.notes
    own = np.isin(notes.pitch, list(pitches)) & (here.ends > here.times[begin])
    own &= notes.onset < here.times[over]
    if ending == "with the piece":
        bar = stay.first
        beat = here.beat_at(int(here.times[begin]), bar)
    return Event(
        kind="pedal_point",
        part=None,
        first=stay.first,
        last=stay.last,
        bar=bar,
        beat=beat,
        pitches=tuple(sorted(pitches)),
        low=min(pitches),
        high=max(pitches),
        strength=bars / (bars + LONG) * stay.held,
        lasts=bars,
        players=tuple(np.unique(notes.part[own]).tolist()),
        distance=0.0 if to is None else float(abs(to - stay.pitch)),
        place=stay.place,
        ending=ending,
    )


def _ending(here: Moments, stay: _Stay, over: int) -> tuple[Ending, int, float, int | None]:
    """How it ends, in which bar and on which beat, and the pitch that it goes to."""
    if over >= len(here.bar) or stay.last >= len(here.bars):
        return "with the piece", stay.first, 1.0, None
    bar = int(here.bar[over])
    beat = here.beat_at(int(here.times[over]), bar)
    next_bar = (
        np.flatnonzero(here.times[over:-1] < here.times[over] + here.bars.full[bar]) + over
    )
    if stay.place == "inner":
        heard = _in_hand(here, stay, over)
    else:
        line = here.lowest if stay.place == "bass" else here.highest
        heard = line[next_bar]
        heard = heard[heard != SILENT]
    if not len(heard):
        return "stops", bar, beat, None
    to = int(heard[0])
    step = to - stay.pitch
    if stay.place == "bass" and step in (5, -7):
        return "resolves", bar, beat, to
    return ("moves off" if abs(step) < 12 else "stops"), bar, beat, to


def _in_hand(here: Moments, stay: _Stay, over: int) -> Ints:
    """What the hand of an inner pedal point strikes in the bar from its end on."""
    notes, hand = here.notes, here.hand
    own = np.flatnonzero((notes.pitch == stay.pitch) & (notes.onset < here.times[over]))
    begin = here.times[over]
    until = begin + here.bars.full[int(here.bar[over])]
    rows = (hand == hand[own[-1]]) & (notes.onset >= begin) & (notes.onset < until)
    after = notes.pitch[rows]
    return np.asarray(after[np.argsort(np.abs(after - stay.pitch), kind="stable")])
