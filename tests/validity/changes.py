"""Works changed on purpose: notes moved by octaves, taken out, or repeated.

Every function takes a work as heard and returns another; bars never change.

Conventions
-----------
hand     the notes of one part and staff: a player's line or a pianist's hand.
middle   of some notes: the pitch with half of the sounding time below it.
phrase   four bars, counted from the beginning.
passage  from one shift to the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.shifts import shifts
from corpusreg.measures.texture import texture
from corpusreg.score.played import Notes, Played

__all__ = [
    "PHRASE", "fold", "gentle", "hands", "into_band", "middle", "musical", "octave_lower",
    "repeat_bar_lower", "shift_bars", "twice", "with_pitch", "without",
]  # fmt: skip

PHRASE = 4

Floats = NDArray[np.float64]
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
    """Whole hands moved by octaves towards the work's middle, then single passages of each.

    The lowest hand stays lowest and the highest one highest. In a passage, from one shift
    to the next, hands are moved towards their own middles where that brings the sound
    nearer to that of the whole work (first Wasserstein distance between sounding times by
    pitch). Nothing leaves the work's compass; a work of one hand is returned as it is.
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
    return _passages_home(with_pitch(played, pitch))


def shift_bars(played: Played) -> list[int]:
    """Bars that begin with a shift, by the definition that the benchmark is about."""
    return [shift.bar for shift in shifts(texture(played.notes, played.bars))]


def _passages_home(played: Played) -> Played:
    """The second step of `gentle`."""
    notes, hand = played.notes, hands(played)
    window = np.searchsorted(shift_bars(played), notes.bar, side="right")
    time = _times(notes, hand, window)
    height = _heights(time)
    order = np.argsort(_heights(time.sum(axis=1, keepdims=True))[:, 0], kind="stable")
    home = [middle(notes, hand == h) for h in range(len(time))]
    compass = [(int(notes.pitch.min()), int(notes.pitch.max()))] * len(time)
    usual = _heard(time.sum(axis=(0, 1))[None])[0]
    moved = np.zeros(time.shape[:2], np.int64)
    for i in np.flatnonzero(time.sum(axis=(0, 2))):
        now = height[:, i]
        choices = [
            [k for k in own if not k or abs(now[h] + 12 * k - home[h]) < abs(now[h] - home[h])]
            for h, own in enumerate(_octave_choices(time[:, i], compass, reach=2))
        ]
        options = [
            o for o in product(*choices) if _in_place(now, now + 12 * np.array(o), order)
        ]
        moved[:, i] = options[int(_distances(time[:, i], options, usual).argmin())]
    return with_pitch(played, notes.pitch + 12 * moved[hand, window])


def _in_place(before: Floats, after: Floats, order: Ints) -> bool:
    """Whether the lowest hand is still lowest, and the highest highest, where they were.

    NaN for hands that are silent.
    """
    low, high = order[0], order[-1]
    return not (
        (before[low] == np.nanmin(before) and after[low] > np.nanmin(after))
        or (before[high] == np.nanmax(before) and after[high] < np.nanmax(after))
    )


def _move(pitch: Ints, rows: Mask, octaves: int, written: Ints) -> None:
    """Move notes by octaves unless that would take one out of the work's compass."""
    moved = pitch[rows] + 12 * octaves
    if written.min() <= moved.min() and moved.max() <= written.max():
        pitch[rows] = moved


def _mean(notes: Notes, rows: Mask | None = None) -> float:
    own = notes if rows is None else notes.take(rows)
    return float(np.average(own.pitch, weights=own.duration))


def _together(height: list[float], goal: int) -> list[int]:
    """Octaves by which hands (lowest first) move towards a goal without changing places."""
    inner = [_octaves(h, goal, -1e9, 1e9) for h in height[1:-1]]
    at = [h + 12 * k for h, k in zip(height[1:-1], inner, strict=True)]
    bass = _octaves(height[0], goal, -1e9, min([*at, height[-1]]))
    top = _octaves(height[-1], goal, max([*at, height[0] + 12 * bass]), 1e9)
    return [bass, *inner, top]


def _octaves(height: float, goal: float, low: float, high: float) -> int:
    """Octaves to move by so as to come nearest to a goal within limits; 0 where none fits."""
    least = abs(height - goal)
    fitting = [
        (abs(height + 12 * k - goal), k)
        for k in range(-6, 7)
        if k and low <= height + 12 * k <= high and abs(height + 12 * k - goal) <= least
    ]
    return min(fitting)[1] if fitting else 0


def musical(played: Played, starts: Sequence[int]) -> Played:
    """Each shift answered: what enters is kept in the register before it.

    Passages run from one of the bars `starts` to the next. In each, hands are moved by up
    to an octave where that brings its sound at least twice as near (first Wasserstein
    distance between sounding times by pitch) to the passage before it, as moved; otherwise
    they stay where they were written. No hand leaves its own compass.
    """
    notes, hand = played.notes, hands(played)
    window = np.searchsorted(starts, notes.bar, side="right")
    time = _times(notes, hand, window)
    used = time.sum(axis=1) > 0
    compass = [_ends(own) for own in used]
    moved = np.zeros(time.shape[:2], np.int64)
    before: Floats | None = None
    for i in np.flatnonzero(time.sum(axis=(0, 2))):
        options = list(product(*_octave_choices(time[:, i], compass, reach=1)))
        if before is not None:
            away = _distances(time[:, i], options, before)
            best = int(away.argmin())
            moved[:, i] = options[best if away[best] <= away[0] / 2 else 0]
        before = _heard(_moved_time(time[:, i], [moved[:, i]]))[0]
    return with_pitch(played, notes.pitch + 12 * moved[hand, window])


def _octave_choices(
    time: Floats, compass: Sequence[tuple[int, int]], reach: int
) -> list[list[int]]:
    """Octaves by which each hand can move inside its compass, 0 first; (hands, 128)."""
    found = []
    for own, (low, high) in zip(time, compass, strict=True):
        first, last = _ends(own > 0) if own.any() else (0, 127)
        more = [k for k in range(-reach, reach + 1) if k and own.any()]
        fits = [k for k in more if low <= first + 12 * k and last + 12 * k <= high]
        found.append([0, *fits])
    return found


def _ends(used: Mask) -> tuple[int, int]:
    """Lowest and highest pitch of those used, shape (128,)."""
    pitches = np.flatnonzero(used)
    return int(pitches[0]), int(pitches[-1])


def _distances(time: Floats, options: Sequence[Sequence[int]], goal: Floats) -> Floats:
    """First Wasserstein distance of each option to a cumulated goal, semitones."""
    return np.asarray(np.abs(_heard(_moved_time(time, options)) - goal).sum(axis=1), np.float64)


def _moved_time(time: Floats, options: Sequence[Sequence[int]]) -> Floats:
    """Sounding time by pitch with the hands moved, shape (options, 128)."""
    return np.array([
        sum(np.roll(own, 12 * k) for own, k in zip(time, option, strict=True))
        for option in options
    ])  # fmt: skip


def _heard(time: Floats) -> Floats:
    """Cumulated shares of sounding time by pitch, row by row."""
    return np.asarray(np.cumsum(time, axis=1) / time.sum(axis=1, keepdims=True), np.float64)


def _heights(time: Floats) -> Floats:
    """Mean pitch of each hand in each window, NaN in silence; (hands, windows, 128)."""
    total = time.sum(axis=2)
    weighed = time @ np.arange(128)
    return np.divide(weighed, total, out=np.full(total.shape, np.nan), where=total > 0)


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
    printed = bars.printed * 2
    seconds = getattr(played, "seconds", None)  # of each bar, where a tempo is written
    timed = {} if seconds is None else {"seconds": np.tile(seconds, 2)}
    return replace(
        played,
        notes=_ordered(Notes(*columns)),
        bars=replace(bars, start=start, printed=printed, **doubled),
        **timed,
    )


def _ordered(notes: Notes) -> Notes:
    order = np.lexsort((notes.duration, notes.part, notes.pitch, notes.onset))
    return notes.take(order)
