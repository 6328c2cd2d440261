"""All events of a texture or of one part, in order of time.

Beside the kinds of `corpusreg.measures.events`, each in a module of its own:

hollow  HOLLOW hollow bars or more on end (`corpusreg.measures.hollow`); its register
        is the empty space all of them share, and the gap that counts for its
        strength the mean of the widest gaps of its bars.
again   an entry at the low or high end after WAIT bars or more brings 'the same music
        again' when the line at the other end, pitch classes beat by beat, equals that
        of an earlier passage of SAME bars in ALIKE of the beats, moving over MOVING
        pitch classes or more.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.entries import entries
from corpusreg.measures.events import FAR, Event, time_heard
from corpusreg.measures.lifts import lifts
from corpusreg.measures.presence import Presence, presence
from corpusreg.measures.texture import Texture
from corpusreg.score.played import Notes, PlayedBars

__all__ = ["happenings"]

HOLLOW = 4  # bars
CARRIES = 0.02  # of a bar's weight
WAIT = 4.0  # bars
SAME = 2  # bars
MOVING = 3
SILENT = 99

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]


def happenings(notes: Notes, bars: PlayedBars, seconds: Floats | None) -> list[Event]:
    """Entries, held-back registers, solos and liftings. Needs at least one note."""
    here = presence(notes, bars)
    found = _with_returns(here, entries(here, seconds))
    return sorted([*found, *lifts(here)], key=_order)


def hollow_passages(texture: Texture, hollow: Bools) -> list[Event]:
    """Hollow passages of the whole texture; hollow: shape (bars,), played bars."""
    change = np.diff(hollow, prepend=False, append=False)
    runs = np.flatnonzero(change).reshape(-1, 2)
    return [
        _hollow(texture, int(first), int(last))
        for first, last in runs.tolist()
        if last - first >= HOLLOW
    ]


def _order(event: Event) -> tuple[int, float, str, int]:
    return event.first, event.beat, event.kind, event.low or 0


def _hollow(texture: Texture, first: int, last: int) -> Event:
    gaps = []
    for weight in texture.bars[first:last]:
        pitches = np.flatnonzero(weight >= CARRIES * weight.sum())
        wide = np.diff(pitches)
        at = int(wide.argmax())
        gaps.append((int(pitches[at]), int(pitches[at + 1])))
    gap = float(np.mean([high - low for low, high in gaps]))
    felt = 100 * np.sqrt(time_heard(last - first) * gap / (gap + FAR))
    low, high = max(low for low, _ in gaps) + 1, min(high for _, high in gaps) - 1
    empty = low <= high
    return Event(
        "hollow",
        first,
        last,
        1.0,
        low if empty else None,
        high if empty else None,
        round(float(felt), 3),
        float(last - first),
    )


def _with_returns(here: Presence, found: list[Event]) -> list[Event]:
    """Entries at an end of the texture, marked where earlier music comes with them."""
    first: dict[str, dict[tuple[bytes, ...], int]] = {}
    lines: dict[str, list[bytes]] = {}
    result = []
    for event in found:
        if event.side and event.bars >= WAIT - 1e-6 and event.first + SAME <= len(here.bars):
            if event.side not in lines:
                line = here.highest if event.side == "low" else here.lowest
                lines[event.side], first[event.side] = _passages(here, line)
            passage = tuple(lines[event.side][event.first : event.first + SAME])
            moving = len(set(b"".join(passage))) >= MOVING
            earlier = first[event.side].get(passage, event.first)
            if moving and earlier + SAME <= event.first:
                event = replace(event, again=earlier)
        result.append(event)
    return result


def _passages(
    here: Presence, line: NDArray[np.int64]
) -> tuple[list[bytes], dict[tuple[bytes, ...], int]]:
    """Pitch classes of each bar beat by beat, and where each passage is heard first."""
    silent = (line < 0) | (line > 127)
    classes = np.where(silent, SILENT, line % 12).astype(np.uint8)
    edges = np.searchsorted(here.beat_bar, np.arange(len(here.bars) + 1)).tolist()
    bars = [classes[a:b].tobytes() for a, b in pairwise(edges)]
    first: dict[tuple[bytes, ...], int] = {}
    for bar in range(len(bars) - SAME + 1):
        first.setdefault(tuple(bars[bar : bar + SAME]), bar)
    return bars, first
