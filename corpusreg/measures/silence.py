"""Events that stand on the silence of a place: withheld bass and top, cleared, entry.

Definitions
-----------
place      NEAR semitones on both sides of a note; for an outer line everything from NEAR
           above a bass note down (from NEAR below a top note up).
silence    nothing sounds in the place, but for grazes of GRAZE of a bar in all. Long is
           SECONDS where a tempo is written and never under SHORT bars, else LONG bars;
           from the beginning of the work OPENING bars are long.
withheld   the lowest (highest) line keeps out of the place for long; then a hand that
           rested enters a fourth or more beyond it, or one that plays on falls (rises)
           an octave beyond the median of that line. What lies nearer, or is reached by
           a line that plays on, extends the line and is no event.
cleared    an inner place that was filled, then silent for long, is filled again.
entry      an inner place silent for long, or never heard, is filled with weight.

Notes of the final cadence make no events, nor do notes that are gone at once: what
enters must fill STAYS of the bar that follows.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events_model import Event
from corpusreg.measures.ground import Ground
from corpusreg.measures.texture import PITCHES

__all__ = ["long_silence", "silences"]

NEAR = 5  # semitones
GRAZE = 0.25  # bars
LONG = 4.0  # bars
SHORT = 2.0  # bars
OPENING = 2.0  # bars
SECONDS = 6.0
FALLS = 12  # semitones
BEYOND = 7  # semitones
ENTERS = 5  # semitones
STAYS = 0.4  # of a bar
RESTED = 2.0  # bars
MUSIC = 0.5  # of the wait in which something sounds
APART = 2.0  # bars between two events of one kind

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
    found = [*_withheld(here, long, low=True), *_withheld(here, long, low=False)]
    return sorted(found, key=lambda each: (each.bar, each.beat))


def _withheld(here: Ground, long: Floats, *, low: bool) -> list[Event]:
    """Outer entries; for the top, heights are counted downward and all else is the same."""
    turn = 0 if low else PITCHES - 1
    line = np.where(here.any, np.abs(turn - (here.lowest if low else here.highest)), PITCHES)
    height = np.abs(turn - here.notes.pitch)
    base = int(height.min())
    width = int(height.max()) - base + NEAR + 1
    below = line[:, None] < base + np.arange(width)[None, :]
    inside = here.filled(below)  # [moment, q]: bars before it with something under base + q
    sounding = here.filled(here.any)
    row = np.flatnonzero(line[here.first] == height)
    first = here.first[row]
    now = here.clock[first]
    place = np.minimum(height[row] + NEAR - base, width - 1)
    needed = long[here.notes.bar[row]]
    wait = np.minimum(needed, now)
    back = here.at(now - wait)
    part = np.clip(now - wait - here.clock[back], 0, None)
    touched = inside[first, place] - inside[back, place] - part * below[back, place]
    music = sounding[first] - sounding[back] - part * here.any[back]
    ahead = here.at(now + 1.0)
    rest = np.clip(now + 1.0 - here.clock[ahead], 0, here.lasts[ahead])
    kept = (touched <= GRAZE + 1e-6) & (wait >= OPENING - 1e-6)
    kept &= music >= MUSIC * wait
    final = here.final
    found: list[Event] = []
    last = -np.inf
    for k in np.flatnonzero(kept).tolist():
        index, m, t = int(row[k]), int(first[k]), float(now[k])
        if t - last < APART or int(here.notes.bar[index]) >= final:
            continue
        column = inside[:, place[k]]
        begin = int(np.searchsorted(column, column[m] - GRAZE - 1e-9, side="left"))
        begin = 0 if column[m] <= GRAZE else begin
        waiting = slice(begin, m)
        outside = ~below[waiting, place[k]] & here.any[waiting]
        heights, time = line[waiting][outside], here.lasts[waiting][outside]
        if not len(heights):
            continue
        edge = int(heights.min())
        far = edge - int(height[index])
        soon = line[m : int(ahead[k]) + 1]
        fallen = _median(heights, time) - int(soon.min())
        new = inside[:, min(edge - base, width - 1)]
        stays = new[ahead[k]] + rest[k] * (line[ahead[k]] < edge) - new[m]
        if stays < STAYS:
            continue
        own = here.hand == here.hand[index]
        played = own & (here.off > t - RESTED + 1e-6) & (here.on < t - 1e-6)
        enters = not played.any()
        if not (far >= ENTERS if enters else far >= BEYOND and fallen >= FALLS):
            continue
        last = t
        struck = own & (here.first == m)
        pitches = np.unique(here.notes.pitch[struck & (height < edge)])
        bar = int(here.notes.bar[index])
        found.append(
            Event(
                "withheld_bass" if low else "withheld_top",
                None,
                bar,
                bar + 1,
                bar,
                here.beat(int(here.moments[m]), bar),
                tuple(pitches.tolist()),
                int(pitches.min()),
                int(pitches.max()),
                min(1.0, (t - here.clock[begin]) / 8),
                lasts=float(stays),
                silence=float(t - here.clock[begin]),
                since=None if column[m] == 0 else int(here.bar[max(begin - 1, 0)]),
                edge=abs(turn - edge),
                distance=float(far),
                direction="down" if low else "up",
                by="enters" if enters else ("falls" if low else "rises"),
            )
        )
    return found


def _median(values: Ints, weights: Floats) -> float:
    """Weighted median."""
    order = np.argsort(values, kind="stable")
    passed = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(passed, passed[-1] / 2)])
