"""The same music found in several files: by whole texture, not by title.

Two marks are taken from the score as written. Both are the same in another
format, another key, other note values or another order of parts.

fingerprint  a hash of every onset and pitch, counted from the first onset and the
             lowest pitch. Equal only where every note is equal.
shingles     hashes of ten successive onsets, each seen as the set of pitch classes
             struck there and whether the step to it was shorter, as long or longer
             than the step before. They also survive octaves moved, a few wrong
             notes, and being a part of something longer; another harmonisation of
             the same tune has other sets and hence other shingles. Of all shingles
             every fourth is kept, chosen by its value, so that two files keep the
             same ones (w-shingling with sampling modulo m, Broder 1997).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from corpusreg.score.notes import Score

__all__ = ["FEWEST_SHARED", "SAME_SHARE", "fingerprint", "groups", "shingles"]

# Fewer notes may agree by chance.
_FEWEST_NOTES = 16
_PITCHES = 128
_WINDOW = 10
_KEEP_EVERY = 4
# So many bits of a shingle are kept. Among ten million of them some fifty pairs agree by
# chance, and two works must share several.
_BITS = 40
# Two works are the same music when they share this much of the smaller one's
# shingles, and at least so many.
SAME_SHARE = 0.5
FEWEST_SHARED = 4

_BASE = np.uint64(0x9E3779B97F4A7C15)


def fingerprint(score: Score) -> str | None:
    """Fingerprint as 16 hexadecimal digits, None where the score is too short for one.

    Grace notes and continued ties take no part: editions differ in them.
    """
    notes = _struck(score)
    if len(notes) < _FEWEST_NOTES:
        return None
    onset = notes["onset"] - notes["onset"].min()
    onset //= max(int(np.gcd.reduce(onset)), 1)
    pitch = notes["pitch"].astype(np.int64) - int(notes["pitch"].min())
    heard = np.stack(np.divmod(np.unique(onset * _PITCHES + pitch), _PITCHES), axis=1)
    return hashlib.blake2b(heard.astype("<i8").tobytes(), digest_size=8).hexdigest()


def shingles(score: Score) -> NDArray[np.uint64]:
    """Kept shingles in rising order, shape (k,); empty for a score of few onsets."""
    notes = _struck(score)
    onset, index = np.unique(notes["onset"], return_inverse=True)
    if len(onset) < _WINDOW + 2:
        return np.zeros(0, np.uint64)
    sets = np.zeros(len(onset), np.uint64)
    np.bitwise_or.at(sets, index, np.uint64(1) << (notes["pitch"] % 12).astype(np.uint64))
    step = np.diff(onset)
    rhythm = (np.sign(np.diff(step)) + 1).astype(np.uint64)
    # The first onset of a work has no step before it, so windows begin at the third.
    sets = sets[2:]
    keys = _windows(_turned(sets) + (rhythm << np.uint64(12)))
    # The least over all transpositions is the same in every key.
    least = keys.min(axis=0)
    kept = least[least % np.uint64(_KEEP_EVERY) == 0]
    return np.unique(kept & np.uint64(2**_BITS - 1))


def groups(pairs: Iterable[tuple[str, str]]) -> list[list[str]]:
    """Works that hang together by pairs, each group sorted, groups by first work."""
    leader: dict[str, str] = {}

    def find(work: str) -> str:
        while leader.setdefault(work, work) != work:
            leader[work] = leader[leader[work]]
            work = leader[work]
        return work

    for one, other in pairs:
        first, second = sorted((find(one), find(other)))
        leader[second] = first
    members: dict[str, list[str]] = {}
    for work in sorted(leader):
        members.setdefault(find(work), []).append(work)
    return [members[key] for key in sorted(members)]


def _struck(score: Score) -> NDArray[np.void]:
    struck: NDArray[np.void] = score.notes[~(score.notes["grace"] | score.notes["tie_in"])]
    return struck


def _turned(sets: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Sets of pitch classes in all transpositions as 12-bit masks, shape (12, n)."""
    up = np.arange(12, dtype=np.uint64)[:, None]
    return ((sets << up) | (sets >> (np.uint64(12) - up))) & np.uint64(0xFFF)


def _windows(signs: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """A hash of every window of successive signs, shape (12, n - window + 1)."""
    count = max(signs.shape[1] - _WINDOW + 1, 0)
    total = np.zeros((len(signs), count), np.uint64)
    for place in range(_WINDOW):
        total = total * _BASE + signs[:, place : place + count] + np.uint64(1)
    return _mixed(total)


def _mixed(values: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Values spread evenly over 64 bits (the finaliser of SplitMix64, Steele et al. 2014)."""
    for shift, factor in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB)):
        values = (values ^ (values >> np.uint64(shift))) * np.uint64(factor)
    return values ^ (values >> np.uint64(31))
