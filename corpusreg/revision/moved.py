"""What a change moves: hands, bars and octaves, and whom it takes out of comfort."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corpusreg.revision.units import Music
from corpusreg.score.rewrite import Change

__all__ = ["Moved", "moved", "strained"]


@dataclass(frozen=True)
class Moved:
    """One hand moved: written bars first to last (half-open), octaves, notes in it."""

    hand: str
    first: int
    last: int
    octaves: int
    notes: int


def moved(music: Music, change: Change) -> list[Moved]:
    """What moves, hand by hand, in order of time; neighbouring bars are one passage."""
    found: list[Moved] = []
    bar = music.score.notes["bar"]
    for hand in music.hands:
        for octaves in np.unique(change.octaves[hand.rows]).tolist():
            rows = hand.rows & (change.octaves == octaves)
            if not octaves:
                continue
            still = set(bar[hand.rows & (change.octaves != octaves)].tolist())
            bars = np.unique(bar[rows])
            cuts = [i for i in range(1, len(bars)) if _apart(bars[i - 1], bars[i], still)]
            for run in np.split(bars, cuts):
                own = rows & (bar >= run[0]) & (bar <= run[-1])
                first, last = int(run[0]), int(run[-1]) + 1
                found.append(Moved(hand.name, first, last, octaves, music.attacks(own)))
    return sorted(found, key=lambda each: (each.first, each.last))


def _apart(before: int, after: int, still: set[int]) -> bool:
    """Whether the hand plays something else between two bars."""
    return any(bar in still for bar in range(int(before) + 1, int(after)))


def strained(music: Music, change: Change) -> list[str]:
    """Hands whose moved notes leave what is comfortable on their instrument."""
    pitch = music.score.notes["pitch"] + 12 * change.octaves
    found = []
    for hand in music.hands:
        own = pitch[hand.rows & (change.octaves != 0) & ~change.silent]
        low, high = hand.comfortable
        if len(own) and not low <= own.min() <= own.max() <= high:
            found.append(hand.name)
    return found
