"""Events of register: what happens, where, and how strongly.

Kinds
-----
entry     a cleared register is entered again, or entered for the first time
held_back an entry at the low or high end after a long wait
solo      a short moment at the low or high end, alone for some bars before and after
lift      a held, rocking or repeated low or high sound stops while the rest goes on
hollow    bars on end with a wide empty space inside

Strength is a number of 0 to 100, the same scale for all kinds: 100 x the cube root
of time x weight x distance, each from 0 to 1 (a half at the numbers below):

    time      bars of absence (entry, held_back, solo) or of sound (lift), T / (T + 12);
              for a register never heard before, bars since the beginning / 8, at
              most 1, so that a first entry is stronger than any return after the same
              time, and a register that waits for 8 bars counts in full;
    weight    what sounds in the bar from the entry on (lift: in the bar before the
              end), pitches sounding throughout at full loudness, W / (W + 1);
    distance  semitones from what sounded in the bar before (lift: from what goes
              on after), D / (D + 12).

A hollow passage has time x distance only: 100 x the square root of
bars / (bars + 12) x its gap in semitones / (gap + 12).
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["KINDS", "UNIT", "Event", "strength", "time_heard"]

KINDS = ("entry", "held_back", "solo", "lift", "hollow")
UNIT = "0 to 100: cube root of time x weight x distance"
LONG = 12.0  # bars
WAITED = 8.0  # bars
FULL_WEIGHT = 1.0  # pitches sounding throughout at full loudness
FAR = 12.0  # semitones


@dataclass(frozen=True)
class Event:
    """One event, in played bars first to last (half-open).

    An entry begins in the bar that is entered, a lift in the bar where the sound is
    first missing. beat: of the beginning in its bar, from 1. low, high: the register,
    MIDI numbers with both ends included; None where it has no end on that side.
    bars: of absence before an entry, of sound before a lift, or in all (solo: of
    absence before). grazed: notes played round the register's border sounded in it meanwhile.
    side: 'low' or 'high' where the register is that end of what sounds
    around it. never: the register was not heard before. pitches, together:
    how many different pitches the entry brings in its bar, and how many at its first
    attack. again: the earlier played bar whose upper or lower line returns, or None.
    """

    kind: str
    first: int
    last: int
    beat: float
    low: int | None
    high: int | None
    strength: float
    bars: float
    side: str = ""
    never: bool = False
    pitches: int = 0
    together: int = 0
    octaves: bool = False
    again: int | None = None
    grazed: bool = False


def time_heard(bars: float, never: bool = False) -> float:
    """Bars of absence or sound as a share, 0 to 1."""
    return min(bars / WAITED, 1.0) if never else bars / (bars + LONG)


def strength(time: float, weight: float, distance: float) -> float:
    """Strength from time (0 to 1), weight (pitches) and distance (semitones)."""
    full = weight / (weight + FULL_WEIGHT)
    far = distance / (distance + FAR)
    return float(100 * (time * full * far) ** (1 / 3))
