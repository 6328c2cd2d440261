"""Sections of a piece, and where the texture lies in each.

A section begins at a double bar, a repeat or a mark on the page, and where music returns:
RETURN bars or more that have the notes of earlier bars, in whatever octave, at a distance of
RETURN bars or more. The passage that returns and its return each begin a section, and so does
what follows them, unless the page has double bars or repeats of its own: then a passage that
ends between them is a theme that goes on in another way. Of returns within a passage that
returns as a whole nothing is said. Bars heard a second time only because of a repeat sign count
once. A section shorter than SHORTEST bars belongs to the one before it.

Sections with half of their bars in common, in the same order, have the same letter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.texture import EDGE, Texture, quantiles
from corpusreg.score.played import Played

__all__ = ["FormSection", "sections"]

RETURN = 4  # bars
SHORTEST = 4  # bars
MOST = 26  # letters
_FACTORS = np.random.default_rng(1).integers(1 << 40, 1 << 60, 3) | 1

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class FormSection:
    """Played bars `first` to `last` (half-open) with one letter.

    time: 1 where its music is heard first, then 2, ... low, middle, high: weight quantiles
    .05, .5 and .95, MIDI numbers.
    """

    first: int
    last: int
    letter: str
    time: int
    low: int
    middle: int
    high: int


def sections(played: Played, texture: Texture) -> tuple[FormSection, ...]:
    """The sections in order of time; empty where there is only one, or more than letters."""
    once = np.flatnonzero(played.bars.time == 1)
    if len(once) < 2 * SHORTEST:
        return ()
    content = _content(played)[once]
    starts = _starts(played.bars.section[once], content)
    ends = [*starts[1:], len(once)]
    letters = _letters(content, list(zip(starts, ends, strict=True)))
    if len(starts) < 2 or max(letters) >= MOST:
        return ()
    found = []
    for number, (start, end, letter) in enumerate(zip(starts, ends, letters, strict=True)):
        weight = texture.bars[once[start:end]].sum(axis=0)
        if not weight.any():
            continue
        low, middle, high = quantiles(np.cumsum(weight / weight.sum())[None], _SHARES)[
            0
        ].tolist()
        found.append(
            FormSection(
                int(once[start]), int(once[end - 1]) + 1, chr(ord("A") + letter),
                letters[: number + 1].count(letter), low, middle, high,
            )
        )  # fmt: skip
    return tuple(found)


_SHARES = (EDGE, 0.5, 1 - EDGE)


def _content(played: Played) -> Ints:
    """A number for the notes of each played bar, the same in every octave; 0 for silence."""
    notes, bars = played.notes, played.bars
    inside = notes.onset - bars.start[notes.bar]
    rows = np.unique(np.stack((notes.bar, inside, notes.pitch % 12), axis=1), axis=0)
    mixed = (rows[:, 1] * _FACTORS[0] + rows[:, 2] * _FACTORS[1] + _FACTORS[2]) ** 2
    number = np.zeros(len(bars), np.int64)
    np.add.at(number, rows[:, 0], mixed)
    return number


def _starts(marked: NDArray[np.bool_], content: Ints) -> list[int]:
    """First bars of sections: those on the page, and those of music that returns."""
    wanted = set(np.flatnonzero(marked).tolist()) | {0}
    for first, again, length in _returns(content):
        wanted |= {first, again}
        if not marked[SHORTEST:].any():
            wanted |= {first + length, again + length}
    starts = [0]
    # What is marked on the page stands, and other places give way to it.
    on_page = [place for place in sorted(wanted) if place < len(marked) and marked[place]]
    for place in (*on_page, *sorted(wanted.difference(on_page))):
        if min(abs(place - other) for other in (*starts, len(content))) >= SHORTEST:
            starts.append(place)
    return sorted(starts)


def _returns(content: Ints) -> list[tuple[int, int, int]]:
    """Longest passages that come again: their first bar, that of the return, bars."""
    size = len(content)
    runs = []
    for away in range(RETURN, size - RETURN + 1):
        same = (content[away:] == content[:-away]) & (content[away:] != 0)
        edges = np.diff(np.concatenate(([0], same.view(np.int8), [0])))
        begins, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
        for start, end in zip(begins.tolist(), ends.tolist(), strict=True):
            if end - start >= RETURN and len(set(content[start:end].tolist())) >= RETURN - 1:
                runs.append((end - start, start, away))
    found = []
    taken = np.zeros(size, bool)
    for length, start, away in sorted(runs, key=lambda run: (-run[0], run[1], run[2])):
        length = min(length, away)
        first, again = (slice(at, at + length) for at in (start, start + away))
        if not taken[again].any():
            taken[first] = taken[again] = True
            found.append((start, start + away, length))
    return found


def _letters(content: Ints, spans: Sequence[tuple[int, int]]) -> list[int]:
    """The letter of each section, from 0."""
    letters: list[int] = []
    for number, (start, end) in enumerate(spans):
        for before, (first, last) in enumerate(spans[:number]):
            length = min(end - start, last - first)
            same = content[start : start + length] == content[first : first + length]
            if 2 * same.sum() >= max(end - start, last - first):
                letters.append(letters[before])
                break
        else:
            letters.append(max(letters, default=-1) + 1)
    return letters
