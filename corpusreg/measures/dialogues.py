"""Dialogue of registers: two places that take turns, told as one passage.

Definition
----------
Windows of one length (PERIODS, in bars, from any bar line on) in which what is struck lies by
turns wholly above and wholly below what the window before struck, and the middles of the two
lie FAR semitones or more apart, TURNS windows or more on end. The longest passage counts where
several overlap.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events import Event
from corpusreg.measures.outer_lines import Moments

__all__ = ["dialogues"]

PERIODS = (1, 2, 4)  # bars
TURNS = 4  # windows
FAR = 12  # semitones
LONG = 8.0  # bars

_NOTHING = 999

Ints = NDArray[np.int64]


def dialogues(here: Moments) -> list[Event]:
    """Dialogues of registers in order of time."""
    lowest, highest = _by_bar(here)
    # Windows that take turns leave the two bars at their border apart.
    apart = (lowest[1:] > highest[:-1]) | (highest[1:] < lowest[:-1])
    if apart.sum() < TURNS - 1:
        return []
    found = [
        (offset + period * first, offset + period * last, period)
        for period in PERIODS
        for offset in range(period)
        for first, last in _turns(lowest[offset:], highest[offset:], period)
    ]
    kept: list[tuple[int, int, int]] = []
    for each in sorted(found, key=lambda own: (own[0] - own[1], own)):
        if not any(each[0] < own[1] and own[0] < each[1] for own in kept):
            kept.append(each)
    return sorted((_event(here, *each) for each in kept), key=lambda event: event.first)


def _by_bar(here: Moments) -> tuple[Ints, Ints]:
    count = len(here.bars)
    lowest, highest = np.full(count, _NOTHING), np.full(count, -_NOTHING)
    np.minimum.at(lowest, here.notes.bar, here.notes.pitch)
    np.maximum.at(highest, here.notes.bar, here.notes.pitch)
    return lowest, highest


def _turns(lowest: Ints, highest: Ints, period: int) -> list[tuple[int, int]]:
    """Runs of windows that take turns, as half-open indices of windows."""
    count = len(lowest) // period
    low = lowest[: count * period].reshape(count, period).min(axis=1)
    high = highest[: count * period].reshape(count, period).max(axis=1)
    middle = low + high
    sounds = (high[1:] >= 0) & (high[:-1] >= 0)
    far = sounds & (np.abs(np.diff(middle)) >= 2 * FAR)
    turn = np.where(low[1:] > high[:-1], 1, np.where(high[1:] < low[:-1], -1, 0)) * far
    found = []
    at = 0
    steps = turn.tolist()
    while at < len(steps):
        end = at + 1
        while end < len(steps) and steps[end] and steps[end] == -steps[end - 1]:
            end += 1
        if steps[at] and end - at + 1 >= TURNS:
            found.append((at, end + 1))
        at = end
    return found


def _event(here: Moments, first: int, last: int, period: int) -> Event:
    notes = here.notes
    own = (notes.bar >= first) & (notes.bar < last)
    low, high = int(notes.pitch[own].min()), int(notes.pitch[own].max())
    row = int(np.flatnonzero(own)[0])
    lasts = last - first
    return Event(
        kind="dialogue",
        part=None,
        first=first,
        last=last,
        bar=first,
        beat=here.beat_at(int(notes.onset[row]), int(notes.bar[row])),
        pitches=(low, high),
        low=low,
        high=high,
        strength=lasts / (lasts + LONG),
        lasts=float(lasts),
        players=tuple(np.unique(notes.part[own]).tolist()),
        times=lasts // period,
        bars=tuple(range(first, last, period)),
    )
