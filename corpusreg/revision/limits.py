"""What a change by octaves must keep: the harmony heard, ranges, hands, separate notes.

- The pitch class of the lowest sounding note is the same at every moment as heard
  (repeats played, pedal held); where asked, that of the highest too.
- Every moved note lies in its instrument's professional range (the table of
  instruments); where the instrument is not known, in the part's own compass.
- A hand at a keyboard spans SPAN semitones at most, a tenth (common practice, no
  source), or what it already spans at that moment.
- No more bars than before have their two lowest pitches closer than is clear so low
  (`corpusreg.comparison.practice.thick_bars`).
- Where notes are left out no bar falls silent that was not.
- No two notes of one player newly meet on one pitch, but for MEET of those that move
  (none in MIDI, which could not tell them apart).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.practice import thick_bars
from corpusreg.revision.units import Music
from corpusreg.score.played import Played, perform
from corpusreg.score.rewrite import Change, changed

__all__ = ["MoveLimits"]

SPAN = 16  # semitones
MEET = 0.03  # of the notes that move

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Outline:
    """Lowest and highest sounding pitch from each tick on; -1 in silence.

    ticks, low, high: shape (k,); ticks rise, and nothing sounds before the first.
    """

    ticks: Ints
    low: Ints
    high: Ints

    def at(self, ticks: Ints) -> tuple[Ints, Ints]:
        """Lowest and highest pitch at some ticks."""
        place = np.searchsorted(self.ticks, ticks, side="right") - 1
        silent = place < 0
        return (
            np.where(silent, -1, self.low[place]),
            np.where(silent, -1, self.high[place]),
        )


def outline(onset: Ints, duration: Ints, pitch: Ints) -> Outline:
    """Outline of some notes. Needs at least one note that lasts."""
    lasting = duration > 0
    onset, pitch, end = onset[lasting], pitch[lasting], (onset + duration)[lasting]
    ticks = np.unique(np.concatenate((onset, end)))
    first, last = np.searchsorted(ticks, onset), np.searchsorted(ticks, end)
    low, high = np.full(len(ticks), -1, np.int64), np.full(len(ticks), -1, np.int64)
    rising = np.argsort(pitch, kind="stable")
    for order, line in ((rising[::-1], low), (rising, high)):
        for a, b, p in zip(
            first[order].tolist(), last[order].tolist(), pitch[order].tolist(), strict=True
        ):
            line[a:b] = p
    return Outline(ticks, low, high)


class MoveLimits:
    """The limits of one score, asked for many changes."""

    def __init__(self, music: Music, *, melody: bool) -> None:
        self.music, self.melody = music, melody
        self.played = perform(music.score)
        self._harmony = _sounding_outline(self.played)
        self._thick = thick_bars(self.played.notes)
        notes = music.score.notes
        self._hands = {
            index: outline(*(notes[name][hand.rows].astype(np.int64) for name in _COLUMNS))
            for index, hand in enumerate(music.hands)
            if hand.keyboard and notes["duration"][hand.rows].any()
        }
        self._meetings = _meetings(music, notes["pitch"].astype(np.int64))

    def inside(self, change: Change) -> bool:
        """Whether moved notes stay in ranges and hand spans and meet no others."""
        moved = change.octaves != 0
        pitch = self.music.score.notes["pitch"] + 12 * change.octaves
        for hand in self.music.hands:
            own = pitch[hand.rows & moved]
            if len(own) and not hand.low <= own.min() <= own.max() <= hand.high:
                return False
        spare = 0.0
        if self.music.score.format != "midi":
            spare = MEET * moved.sum()
        met = _meetings(self.music, pitch) - self._meetings
        return bool(met <= spare) and self._hands_reach(moved, pitch)

    def performed(self, change: Change) -> Played | None:
        """The work as heard with the change, None where bass (or melody) would be another.

        A bass that is closer spaced low down than before is another, too.
        """
        played = perform(changed(self.music.score, change, self.music.chain))
        now = _sounding_outline(played)
        ticks = np.union1d(self._harmony.ticks, now.ticks)
        before, after = self._harmony.at(ticks), now.at(ticks)
        for old, new in zip(before[: 1 + self.melody], after, strict=False):
            if ((old < 0) != (new < 0)).any() or ((old - new) % 12)[old >= 0].any():
                return None
        return played if thick_bars(played.notes) <= self._thick else None

    def rested(self, change: Change) -> Played | None:
        """The work as heard with notes silenced, None where a bar falls silent altogether."""
        played = perform(changed(self.music.score, change))
        silent = np.setdiff1d(self.played.notes.bar, played.notes.bar)
        return None if len(silent) else played

    def _hands_reach(self, moved: Flags, pitch: Ints) -> bool:
        notes = self.music.score.notes
        for index, before in self._hands.items():
            rows = self.music.hands[index].rows
            if not moved[rows].any() or moved[rows].all():
                continue
            onset, duration = (notes[name][rows].astype(np.int64) for name in _COLUMNS[:2])
            now = outline(onset, duration, pitch[rows])
            low, high = before.at(now.ticks)
            if (now.high - now.low > np.maximum(SPAN, high - low)).any():
                return False
        return True


_COLUMNS = ("onset", "duration", "pitch")


def _sounding_outline(played: Played) -> Outline:
    notes = played.notes
    return outline(notes.onset, notes.duration, notes.pitch)


def _meetings(music: Music, pitch: Ints) -> int:
    """How many notes begin while the same player sounds the same pitch."""
    notes = music.score.notes
    lasting = np.flatnonzero((notes["duration"] > 0) & ~notes["tie_in"])
    onset = notes["onset"][lasting]
    key = notes["part"][lasting].astype(np.int64) * 128 + pitch[lasting]
    end = onset + notes["duration"][lasting]
    order = np.lexsort((end, onset, key))
    lane = key[order] * (int(end.max(initial=0)) + 1)
    furthest = np.maximum.accumulate(end[order] + lane)
    return int((onset[order][1:] + lane[1:] < furthest[:-1]).sum())
