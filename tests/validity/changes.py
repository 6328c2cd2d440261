"""Works changed on purpose: notes moved by octaves, taken out, or repeated.

Every function takes a work as heard and returns another; bars never change.

Conventions
-----------
hand     the notes of one part and staff: a player's line or a pianist's hand.
middle   of some notes: the pitch with half of the sounding time below it.
phrase   four bars, counted from the beginning.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from corpusreg.played import Notes, Played

__all__ = [
    "PHRASE", "fold", "gentle", "hands", "into_band", "middle", "musical", "octave_lower",
    "repeat_bar_lower", "twice", "with_pitch", "without",
]  # fmt: skip

PHRASE = 4
# From here on an octave brings a height at least twice as near to where it was.
FAR = 8  # semitones

Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


def with_pitch(played: Played, pitch: Ints) -> Played:
    """The same notes at other pitches, in order."""
    return replace(played, notes=_ordered(replace(played.notes, pitch=pitch)))


def without(played: Played, rows: Mask) -> Played:
    """The work without some notes."""
    return played.only(~rows)


def middle(notes: Notes, rows: Mask | None = None, share: float = 0.5) -> int:
    """Pitch at a share of the sounding time, of all or some notes."""
    own = notes if rows is None else notes.take(rows)
    order = np.argsort(own.pitch, kind="stable")
    time = np.cumsum(own.duration[order])
    return int(own.pitch[order][np.searchsorted(time, share * time[-1])])


def hands(played: Played) -> Ints:
    """Number of the hand of each note, from 0, shape (n,)."""
    key = played.notes.part.astype(np.int64) * 1000 + played.notes.staff
    return np.asarray(np.unique(key, return_inverse=True)[1], np.int64)


def fold(pitch: Ints, centre: int) -> Ints:
    """Pitches moved by octaves into the twelve semitones from centre - 6 up."""
    return np.asarray((pitch - (centre - 6)) % 12 + centre - 6, np.int64)


def into_band(pitch: Ints, centre: int, width: int) -> Ints:
    """Pitches moved by octaves into a band of at most twelve semitones round a centre.

    A band of fewer than twelve lacks some pitch classes: their notes go to its nearer
    edge, the one change here that is no octave.
    """
    low = centre - width // 2
    return np.asarray(np.clip(fold(pitch, centre), low, low + width - 1), np.int64)


def gentle(played: Played) -> Played:
    """Whole hands moved by octaves towards the work's middle, then single phrases of each.

    The lowest hand stays lowest and the highest one highest. A phrase of a hand, from
    one of its entries to the next, is moved towards the hand's own middle where octaves
    bring it twice as near; a work of one hand is returned as it is.
    """
    notes = played.notes
    hand = hands(played)
    count = int(hand.max()) + 1
    if count < 2:
        return played
    height = [_mean(notes, hand == h) for h in range(count)]
    order = np.argsort(height, kind="stable")
    octaves = _together([height[h] for h in order], middle(notes))
    pitch = notes.pitch.copy()
    for h, moved in zip(order, octaves, strict=True):
        _move(pitch, hand == h, moved, notes.pitch)
    settled = pitch.copy()
    for h in order:
        others = replace(notes, pitch=settled).take(hand != h)
        _phrases_home(notes, hand == h, pitch, others, h == order[0], h == order[-1])
    return with_pitch(played, pitch)


def _phrases_home(
    notes: Notes, own: Mask, pitch: Ints, others: Notes, bass: bool, top: bool
) -> None:
    """Move in `pitch` the phrases of one hand that lie far from its own middle."""
    home = middle(replace(notes, pitch=pitch), own)
    bars, height = _bar_heights(replace(notes, pitch=pitch), own)
    first = np.flatnonzero(np.append(True, _enters(bars, height)))
    for a, b in zip(bars[first], [*bars[first[1:]], bars[-1] + 1], strict=True):
        rows = own & (notes.bar >= a) & (notes.bar < b)
        beside = others.take((others.bar >= a) & (others.bar < b))
        limit = _mean(beside) if len(beside) else None
        low = limit if top and limit is not None else -1e9
        high = limit if bass and limit is not None else 1e9
        at = _mean(replace(notes, pitch=pitch), rows)
        moved = _octaves(at, home, low, high, twice_as_near=True)
        _move(pitch, rows, moved, notes.pitch)


def _move(pitch: Ints, rows: Mask, octaves: int, written: Ints) -> None:
    """Move notes by octaves unless that would take one out of the work's compass."""
    moved = pitch[rows] + 12 * octaves
    if written.min() <= moved.min() and moved.max() <= written.max():
        pitch[rows] = moved


def _mean(notes: Notes, rows: Mask | None = None) -> float:
    own = notes if rows is None else notes.take(rows)
    return float(np.average(own.pitch, weights=own.duration))


def _bar_heights(notes: Notes, own: Mask) -> tuple[Ints, NDArray[np.float64]]:
    """Bars in which the hand has onsets, and its mean pitch in each."""
    numbers, index = np.unique(notes.bar[own], return_inverse=True)
    time = notes.duration[own].astype(float)
    return numbers, np.bincount(index, notes.pitch[own] * time) / np.bincount(index, time)


def _enters(bars: Ints, height: NDArray[np.float64]) -> Mask:
    """For each bar of a hand but the first, whether it enters there.

    After a bar of silence, or so far away that an octave would be twice as near.
    """
    return (np.diff(bars) > 1) | (np.abs(np.diff(height)) >= FAR)


def _together(height: list[float], goal: int) -> list[int]:
    """Octaves by which hands (lowest first) move towards a goal without changing places."""
    inner = [_octaves(h, goal, -1e9, 1e9) for h in height[1:-1]]
    at = [h + 12 * k for h, k in zip(height[1:-1], inner, strict=True)]
    bass = _octaves(height[0], goal, -1e9, min([*at, height[-1]]))
    top = _octaves(height[-1], goal, max([*at, height[0] + 12 * bass]), 1e9)
    return [bass, *inner, top]


def _octaves(
    height: float, goal: float, low: float, high: float, twice_as_near: bool = False
) -> int:
    """Octaves to move by so as to come nearest to a goal within limits; 0 where none fits."""
    least = abs(height - goal) / (2 if twice_as_near else 1)
    fitting = [
        (abs(height + 12 * k - goal), k)
        for k in range(-6, 7)
        if k and low <= height + 12 * k <= high and abs(height + 12 * k - goal) <= least
    ]
    return min(fitting)[1] if fitting else 0


def musical(played: Played, bars: int) -> Played:
    """Each shift answered: what enters is kept in the register before it.

    Window by window of `bars` bars, hands are moved by up to an octave where that
    brings the sound at least twice as near (first Wasserstein distance between sounding
    times by pitch) to the window before it, as moved; otherwise they stay where they
    were written. No hand leaves its own compass.
    """
    notes = played.notes
    hand, window = hands(played), notes.bar // bars
    time = _times(notes, hand, window)
    sounds = time.sum(axis=2) > 0
    lowest, highest = (time > 0).argmax(axis=2), 127 - (time > 0)[:, :, ::-1].argmax(axis=2)
    compass = [(lowest[h][s].min(), highest[h][s].max()) for h, s in enumerate(sounds)]
    moved = np.zeros(sounds.shape, np.int64)
    before: NDArray[np.float64] | None = None
    for i in np.flatnonzero(sounds.any(axis=0)):
        choices = [
            [k for k in (0, -1, 1) if k == 0 or (sounds[h, i]
             and low <= lowest[h, i] + 12 * k and highest[h, i] + 12 * k <= high)]
            for h, (low, high) in enumerate(compass)
        ]  # fmt: skip
        options = list(product(*choices))
        shapes = np.array([
            sum(np.roll(time[h, i], 12 * k) for h, k in enumerate(option))
            for option in options
        ])  # fmt: skip
        heard = np.cumsum(shapes, axis=1) / shapes.sum(axis=1, keepdims=True)
        chosen = 0
        if before is not None:
            distance = np.abs(heard - before).sum(axis=1)
            best = int(distance.argmin())
            chosen = best if distance[best] <= distance[0] / 2 else 0
        moved[:, i] = options[chosen]
        before = heard[chosen]
    return with_pitch(played, notes.pitch + 12 * moved[hand, window])


def _times(notes: Notes, hand: Ints, window: Ints) -> NDArray[np.float64]:
    """Sounding time by hand, window and pitch, shape (hands, windows, 128), by onset."""
    shape = (int(hand.max()) + 1, int(window.max()) + 1, 128)
    time = np.zeros(shape)
    np.add.at(time, (hand, window, notes.pitch), notes.duration)
    return time


def octave_lower(played: Played, part: int, first: int, bars: int) -> Played:
    """One part an octave lower for some bars."""
    notes = played.notes
    rows = (notes.part == part) & (notes.bar >= first) & (notes.bar < first + bars)
    return with_pitch(played, notes.pitch - 12 * rows)


def repeat_bar_lower(played: Played, part: int, bar: int) -> Played:
    """The bar before `bar` written again at `bar`, with one part an octave lower there.

    Both bars must have one length; what sounds into them from before is left.
    """
    notes, bars = played.notes, played.bars
    source = notes.take(notes.bar == bar - 1)
    again = replace(
        source,
        bar=source.bar + 1,
        onset=source.onset + bars.length[bar - 1],
        pitch=source.pitch - 12 * (source.part == part),
    )
    kept = notes.take(notes.bar != bar)
    columns = (
        np.concatenate((getattr(kept, name), getattr(again, name)))
        for name in notes.__dataclass_fields__
    )
    return replace(played, notes=_ordered(Notes(*columns)))


def twice(played: Played) -> Played:
    """The work played a second time at its end."""
    notes, bars = played.notes, played.bars
    end = int(bars.start[-1] + bars.length[-1])
    again = replace(notes, bar=notes.bar + len(bars), onset=notes.onset + end)
    columns = (
        np.concatenate((getattr(notes, name), getattr(again, name)))
        for name in notes.__dataclass_fields__
    )
    names = ("written", "time", "length", "full", "beat", "section")
    doubled = {name: np.tile(getattr(bars, name), 2) for name in names}
    start = np.concatenate((bars.start, bars.start + end))
    labels = bars.labels * 2
    seconds = getattr(played, "seconds", None)  # of each bar, where a tempo is written
    timed = {} if seconds is None else {"seconds": np.tile(seconds, 2)}
    return replace(
        played,
        notes=_ordered(Notes(*columns)),
        bars=replace(bars, start=start, labels=labels, **doubled),
        **timed,
    )


def _ordered(notes: Notes) -> Notes:
    order = np.lexsort((notes.duration, notes.part, notes.pitch, notes.onset))
    return notes.take(order)
