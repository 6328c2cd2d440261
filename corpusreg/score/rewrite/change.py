"""What is changed in a score: octaves of notes, notes taken out, and lines exchanged.

Conventions: arrays have one entry a row of `Score.notes`. A row is moved by whole
octaves; tied rows are one note, and are changed together or not at all.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corpusreg.score.notes import Dynamic, Score

__all__ = ["Change", "Exchange", "carried", "changed", "tie_chains"]

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Exchange:
    """Two parts play each other's lines in written bars `first` to `last` (half-open)."""

    one: int
    other: int
    first: int
    last: int

    def partner(self, part: int) -> int:
        """The part that has the line of another one of the two."""
        return self.other if part == self.one else self.one

    def rows(self, notes: NDArray[np.void]) -> Flags:
        """Which rows change hands, shape (n,)."""
        inside = (notes["bar"] >= self.first) & (notes["bar"] < self.last)
        return np.asarray(inside & np.isin(notes["part"], (self.one, self.other)), np.bool_)


@dataclass(frozen=True)
class Change:
    """A change of a score.

    octaves: by how many octaves each row moves, shape (n,). silent: rows taken out. exchange:
    two parts whose lines change hands.
    """

    octaves: Ints
    silent: Flags
    exchange: Exchange | None = None

    @classmethod
    def of(
        cls, rows: int, octaves: Ints | None = None, silent: Flags | None = None
    ) -> Change:  # fmt: skip
        """A change of a score with `rows` rows; what is not given stays as it is."""
        return cls(
            np.zeros(rows, np.int64) if octaves is None else octaves,
            np.zeros(rows, bool) if silent is None else silent,
        )

    @property
    def touched(self) -> Flags:
        """Rows that are changed in any way."""
        return np.asarray((self.octaves != 0) | self.silent, np.bool_)


def changed(score: Score, change: Change, chain: Ints | None = None) -> Score:
    """The score as it reads once the change is written. chain: its `tie_chains`, if known.

    Raises ValueError where the change has another size than the score, moves a note
    out of 0 to 127, or tears tied notes apart. Dynamics go with a line that changes hands.
    """
    notes = score.notes
    if not len(notes) == len(change.octaves) == len(change.silent):
        raise ValueError("a change has one entry a row of the score's notes")
    pitch = notes["pitch"] + 12 * change.octaves
    kept = ~change.silent
    if ((pitch < 0) | (pitch > 127))[kept].any():
        raise ValueError("a note would leave the pitches 0 to 127")
    chain = tie_chains(notes) if chain is None else chain
    swap = change.exchange
    handed = np.zeros(len(notes), bool) if swap is None else swap.rows(notes)
    for column in (change.octaves, change.silent, handed):
        if (column != column[chain]).any():
            raise ValueError("tied notes are changed together")
    table = notes.copy()
    table["pitch"] = pitch
    if swap is None:
        return replace(score, notes=table[kept])
    table["part"][handed] = swap.one + swap.other - table["part"][handed]
    start, stop = _ticks(score, swap)
    dynamics = [
        replace(each, part=swap.partner(each.part))
        if each.part in (swap.one, swap.other) and start <= each.tick < stop
        else each
        for each in score.dynamics
    ]
    return replace(score, notes=table[kept], dynamics=(*dynamics, *carried(score, swap)))


def carried(score: Score, swap: Exchange) -> tuple[Dynamic, ...]:
    """Marks to be written anew where lines change hands, and where they change back.

    A line keeps the mark that is in force for it, where the other part's is another one.
    """
    start, stop = _ticks(score, swap)
    end = int(score.bars.start[-1] + score.bars.length[-1])
    found = []
    for tick in (start, stop) if stop < end else (start,):
        marks = {part: _mark(score, part, tick) for part in (swap.one, swap.other)}
        for part, mark in marks.items():
            reader = swap.partner(part) if tick == start else part
            own = (each for each in score.dynamics if each.part == part and each.mark)
            fresh = any(each.tick == tick for each in own)
            if mark and not fresh and mark != marks[swap.partner(part)]:
                found.append(Dynamic(reader, tick, "mark", mark))
    return tuple(found)


def _ticks(score: Score, swap: Exchange) -> tuple[int, int]:
    last = swap.last - 1
    return int(score.bars.start[swap.first]), int(
        score.bars.start[last] + score.bars.length[last]
    )


def _mark(score: Score, part: int, tick: int) -> str:
    """The mark in force in a part at a tick, '' for none."""
    own = [each for each in score.dynamics if each.part == part and each.mark]
    earlier = [each for each in own if each.tick <= tick]
    return max(earlier, key=lambda each: each.tick).mark if earlier else ""


def tie_chains(notes: NDArray[np.void]) -> Ints:
    """For each row the first row of the tied note it belongs to, shape (n,).

    A row that is tied onward is joined to one of the same part and pitch that is tied
    from before and begins where it ends, in the order of the file.
    """
    first = np.arange(len(notes))
    rows = np.flatnonzero(notes["tie_in"] | notes["tie_out"])
    rows = rows[np.argsort(notes["onset"][rows], kind="stable")]
    waiting: dict[tuple[int, int, int], list[int]] = {}
    names = ["part", "pitch", "onset", "duration", "tie_in", "tie_out"]
    table = notes[names][rows].tolist()
    for row, each in zip(rows.tolist(), table, strict=True):
        part, pitch, onset, duration, tie_in, tie_out = each
        partners = waiting.get((part, pitch, onset)) if tie_in else None
        if partners:
            first[row] = first[partners.pop(0)]
        if tie_out:
            waiting.setdefault((part, pitch, onset + duration), []).append(row)
    return first
