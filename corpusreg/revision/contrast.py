"""The same music in other registers, so that one hears what the registers do.

Ways
----
settled  each entry is kept in the register before it: hands go, phrase by phrase, to
         octaves that leave as little as can be between the last bar of a phrase and
         the first of the next (first Wasserstein distance between sounding times by
         pitch, added up over the passage).
narrow   every phrase lies as near to the passage's middle as octaves bring it.
open     every phrase lies as far from the middle as octaves bring it.

A phrase begins where a section or a shift begins, or where a hand enters after a bar
of rest; hands move with their phrases whole, and no further than the limits allow
(`corpusreg.revision.limits`): the lowest and the highest sound keep their pitch class.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray

from corpusreg.revision.limits import MoveLimits
from corpusreg.revision.units import HandGroup, LazyAnalysis, Music, groups
from corpusreg.score.rewrite import Change

__all__ = ["WAYS", "contrast", "phrase_bars"]

WAYS = ("settled", "narrow", "open")
FEWEST = 3  # notes that move together: never single ones
MOVING = 0.25  # semitones that a hand's move must save in all, so that none moves for nothing
KEPT = 2  # ways of going on that are followed from phrase to phrase
_FREE = 3  # hands that are moved freely; more of them move in groups

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


def contrast(
    music: Music, limits: MoveLimits, page: LazyAnalysis, way: str, first: int, last: int
) -> Change:
    """A change of written bars first to last (half-open); it may move nothing.

    page: the score in the order of the page, whose shifts begin phrases.
    """
    starts = [first, *(b for b in phrase_bars(music, page) if first < b < last), last]
    phrases = list(pairwise(starts))
    if way == "settled":
        octaves = _settled(music, limits, phrases)
    else:
        sign = 1 if way == "narrow" else -1
        octaves = _towards_middle(music, limits, phrases, sign)
    return Change.of(len(octaves), octaves)


def phrase_bars(music: Music, page: LazyAnalysis) -> list[int]:
    """Written bars in which a phrase begins, in order."""
    bars = music.score.bars
    found = set(np.flatnonzero(bars.section).tolist()) | {0}
    found |= {int(page.played.bars.written[shift.bar]) for shift in page.shifts}
    for hand in music.hands:
        sounding = np.unique(music.score.notes["bar"][hand.rows])
        found |= set(sounding[1:][np.diff(sounding) > 1].tolist())
    return sorted(found)


def _settled(music: Music, limits: MoveLimits, phrases: Sequence[tuple[int, int]]) -> Ints:
    """Octaves with the least distance between phrases that was found."""
    still = np.zeros(len(music.score.notes), np.int64)
    beam: list[tuple[float, Ints]] = [(0.0, still)]
    as_written = 0.0
    for a, b in phrases:
        step = _seam(music, a)
        as_written += step(still)
        trials = [
            (cost + step(trial) + MOVING * moved, index, trial)
            for index, (cost, before) in enumerate(beam)
            for moved, trial in _trials(music, before, a, b)
        ]
        trials.sort(key=lambda each: each[:2])
        beam = []
        for cost, _, trial in trials:
            if len(beam) == KEPT or (beam and cost > as_written):
                break
            if not trial.any() or _allowed(limits, trial):
                beam.append((cost, trial))
    cost, octaves = beam[0]
    return octaves if cost < as_written else still


def _towards_middle(
    music: Music, limits: MoveLimits, phrases: Sequence[tuple[int, int]], sign: int
) -> Ints:
    """Each phrase as near to the middle as octaves bring it, or as far (sign -1)."""
    octaves = np.zeros(len(music.score.notes), np.int64)
    middle = _middle(music, phrases[0][0], phrases[-1][1])
    for a, b in phrases:
        far = _distance(music, middle, a, b)
        trials = [
            (sign * far(trial), moved, trial) for moved, trial in _trials(music, octaves, a, b)
        ]
        for _, _, trial in sorted(trials, key=lambda each: each[:2]):
            if (trial == octaves).all() or _allowed(limits, trial):
                octaves = trial
                break
    return octaves


def _allowed(limits: MoveLimits, octaves: Ints) -> bool:
    music, change = limits.music, Change.of(len(octaves), octaves)
    # A version that is to be heard for its registers leaps no more than the piece.
    if music.wide(octaves) > music.wide(np.zeros_like(octaves)):
        return False
    return limits.inside(change) and limits.performed(change) is not None


def _trials(music: Music, octaves: Ints, a: int, b: int) -> Iterator[tuple[int, Ints]]:
    """How many hands move, and the octaves with one phrase moved; first not at all."""
    units = [music.passage(HandGroup((h,), ""), a, b) for h in range(len(music.hands))]
    present = [h for h, rows in enumerate(units) if music.attacks(rows) >= FEWEST]
    yield 0, octaves
    for move in _moves(music, present):
        trial = octaves.copy()
        for h, k in move.items():
            trial[units[h]] = k
        yield sum(k != 0 for k in move.values()), trial


def _moves(music: Music, present: Sequence[int]) -> Iterator[dict[int, int]]:
    """Octaves by hand: freely for few hands, in groups for many."""
    if len(present) <= _FREE:
        steps = (0, -1, 1, -2, 2) if len(present) < _FREE else (0, -1, 1)
        for chosen in product(steps, repeat=len(present)):
            if any(chosen):
                yield dict(zip(present, chosen, strict=True))
        return
    for group in groups(music.hands):
        for step in (-1, 1, -2, 2):
            move = {h: step for h in group.hands if h in present}
            if move:
                yield move


def _seam(music: Music, bar: int) -> Callable[[Ints], float]:
    """Distance between a bar and the one before it, as a function of the octaves."""
    notes = music.score.notes
    pitch, time = notes["pitch"].astype(np.int64), notes["duration"].astype(float)
    now, before = (np.flatnonzero(notes["bar"] == b) for b in (bar, bar - 1))

    def heard(rows: Ints, octaves: Ints) -> NDArray[np.float64]:
        moved = np.clip(pitch[rows] + 12 * octaves[rows], 0, 127)
        weight = np.bincount(moved, weights=time[rows], minlength=128)
        return np.cumsum(weight / weight.sum())

    def distance(octaves: Ints) -> float:
        if not time[now].sum() or not time[before].sum():
            return 0.0
        return float(np.abs(heard(now, octaves) - heard(before, octaves)).sum())

    return distance


def _distance(music: Music, middle: int, a: int, b: int) -> Callable[[Ints], float]:
    """Mean distance of a phrase from a pitch, as a function of the octaves."""
    notes = music.score.notes
    pitch, time = notes["pitch"].astype(np.int64), notes["duration"].astype(float)
    bar = np.searchsorted(music.score.bars.start, music.home, side="right") - 1
    rows = np.flatnonzero((bar >= a) & (bar < b) & (time > 0))

    def distance(octaves: Ints) -> float:
        if not len(rows):
            return 0.0
        far = np.abs(pitch[rows] + 12 * octaves[rows] - middle)
        return float(np.average(far, weights=time[rows]))

    return distance


def _middle(music: Music, first: int, last: int) -> int:
    """Pitch with half of the sounding time of the bars below it."""
    notes = music.score.notes
    own = (notes["bar"] >= first) & (notes["bar"] < last) & (notes["duration"] > 0)
    time = np.bincount(
        notes["pitch"][own], weights=notes["duration"][own].astype(float), minlength=128
    )
    return int(np.searchsorted(np.cumsum(time), time.sum() / 2))
