"""High and low point, moments far from everything round them, closing against opening.

Definitions
-----------
high point, low point  the highest and lowest note of the work where it is struck first;
          `bars` has the other bars that strike it, `times` counts the earlier bars that
          come within a tone (NEAR) of it. Approach is from the note before in its hand:
          a step is a tone or less; after a rest of a bar or more it comes from silence.
isolated  notes at one end of the texture for a bar at most in all, FAR semitones or more
          beyond everything else within AROUND bars before and after.
closing   the closing WINDOW bars lie DIFFERENT semitones or more higher or lower than the
          opening ones, in the mean of what is held.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events import Approach, Event, Kind
from corpusreg.measures.outer_lines import Moments
from corpusreg.measures.texture import PITCHES

__all__ = ["closing", "high_and_low", "isolated"]

NEAR = 2  # semitones
STEP = 2
FAR = 12
AROUND = 4  # bars
WINDOW = 4  # bars
DIFFERENT = 7  # semitones

Ints = NDArray[np.int64]


def high_and_low(here: Moments) -> list[Event]:
    """The high point and the low point."""
    return [_extreme(here, "high_point", 1), _extreme(here, "low_point", -1)]


def _extreme(here: Moments, kind: Kind, sign: int) -> Event:
    notes = here.notes
    end = sign * int((sign * notes.pitch).max())
    struck = np.flatnonzero(notes.pitch == end)
    row = int(struck[0])
    bar = int(notes.bar[row])
    bars = np.unique(notes.bar[struck]).tolist()
    near = notes.bar[sign * (end - notes.pitch) <= NEAR]
    before = np.unique(near[near < bar])
    approach, distance = _approach(here, row, sign)
    together = (notes.onset == notes.onset[row]) & (notes.pitch == end)
    lasts = float((here.ends[row] - notes.onset[row]) / max(int(here.bars.full[bar]), 1))
    return Event(
        kind=kind,
        part=None,
        first=bar,
        last=bar + 1,
        bar=bar,
        beat=here.beat_at(int(notes.onset[row]), bar),
        pitches=(end,),
        low=end,
        high=end,
        strength=1 / (len(bars) + len(before)),
        lasts=round(lasts, 3),
        players=tuple(np.unique(notes.part[together]).tolist()),
        distance=float(distance),
        direction="up" if sign > 0 else "down",
        approach=approach,
        times=len(before),
        bars=tuple(bars[1:]),
    )


def _approach(here: Moments, row: int, sign: int) -> tuple[Approach, int]:
    """How a note is reached in its hand, and from how many semitones away."""
    notes, hand = here.notes, here.hand
    onset = int(notes.onset[row])
    before = np.flatnonzero((hand == hand[row]) & (notes.onset < onset))
    if not len(before):
        return "silence", 0
    last = before[notes.onset[before] == notes.onset[before[-1]]]
    ends = int((notes.onset[before] + notes.written[before]).max())
    if onset - ends >= int(here.bars.full[int(notes.bar[row])]):
        return "silence", 0
    nearest = int(sign * (sign * notes.pitch[last]).max())
    distance = abs(int(notes.pitch[row]) - nearest)
    return ("step" if distance <= STEP else "leap"), distance


def isolated(here: Moments) -> list[Event]:
    """Brief moments far above or below everything round them, in order of time."""
    if len(here.bars) < 2 * AROUND:
        return []
    found = [event for sign in (1, -1) for event in _isolated(here, sign)]
    return sorted(found, key=lambda event: (event.bar, event.beat))


def _isolated(here: Moments, sign: int) -> list[Event]:
    notes, bars = here.notes, here.bars
    found = []
    for bar in _alone(here, sign):
        first, last = max(bar - AROUND, 0), min(bar + AROUND + 1, len(bars))
        rows = slice(*np.searchsorted(notes.bar, (first, last)).tolist())
        height, onset = sign * notes.pitch[rows], notes.onset[rows]
        peak = int(height.max())
        lead = np.flatnonzero(height > peak - FAR)
        # Its octave, struck with it, is part of it.
        own = (onset == onset[lead[0]]) & np.isin(peak - height, (0, 12))
        rest = height[~own]
        if (
            not own[lead].all()
            or len(np.unique(height[lead])) > 1
            or not len(rest)
            or rest.max() > peak - FAR
        ):
            continue
        row = rows.start + int(lead[0])
        lasts = (here.ends[rows][own] - onset[own]).max() / max(int(bars.full[bar]), 1)
        if lasts > 1:
            continue
        pitches = np.unique(notes.pitch[rows][own]).tolist()
        found.append(
            Event(
                kind="isolated",
                part=None,
                first=bar,
                last=bar + 1,
                bar=bar,
                beat=here.beat_at(int(notes.onset[row]), bar),
                pitches=tuple(pitches),
                low=pitches[0],
                high=pitches[-1],
                strength=min((peak - int(rest.max())) / 36, 1.0),
                lasts=round(float(lasts), 3),
                players=tuple(np.unique(notes.part[rows][own]).tolist()),
                distance=float(peak - int(rest.max())),
                direction="up" if sign > 0 else "down",
                place="top" if sign > 0 else "bass",
            )
        )
    return found


def _alone(here: Moments, sign: int) -> list[int]:
    """Bars whose outermost note lies FAR beyond that of all bars around."""
    count = len(here.bars)
    top = np.full(count + 2 * AROUND, -PITCHES - FAR, np.int64)
    np.maximum.at(top, here.notes.bar + AROUND, sign * here.notes.pitch)
    around = [top[step : step + count] for step in range(2 * AROUND + 1) if step != AROUND]
    middle = top[AROUND : AROUND + count]
    far = (middle >= -PITCHES) & (middle - np.max(around, axis=0) >= FAR)
    return np.flatnonzero(far).tolist()


def closing(here: Moments) -> list[Event]:
    """The closing register against the opening one, where they differ."""
    sounding = np.flatnonzero(here.share.any(axis=1))
    if len(sounding) < 4 * WINDOW:
        return []
    begin, end = sounding[:WINDOW], sounding[-WINDOW:]
    pitches = np.arange(PITCHES)
    means = [
        float((here.share[bars] @ pitches).sum() / here.share[bars].sum())
        for bars in (begin, end)
    ]
    difference = means[1] - means[0]
    if abs(difference) < DIFFERENT:
        return []
    used = np.flatnonzero(here.share[end].any(axis=0))
    first, last = int(end[0]), int(end[-1]) + 1
    return [
        Event(
            kind="closing",
            part=None,
            first=first,
            last=last,
            bar=first,
            beat=1.0,
            pitches=(int(used[0]), int(used[-1])),
            low=int(used[0]),
            high=int(used[-1]),
            strength=min(abs(difference) / 24, 1.0),
            lasts=float(last - first),
            distance=round(difference, 1),
            direction="up" if difference > 0 else "down",
            again=int(begin[0]),
        )
    ]
