"""What is changed in a score: octaves of notes, and notes taken out.

Conventions: arrays have one entry a row of `Score.notes`. A row is moved by whole
octaves; tied rows are one note, and are changed together or not at all.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corpusreg.score.notes import Score

__all__ = ["Change", "changed", "tie_chains"]

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Change:
    """A change of a score.

    octaves: by how many octaves each row moves, shape (n,). silent: rows taken out.
    """

    octaves: Ints
    silent: Flags

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
    out of 0 to 127, or tears tied notes apart.
    """
    notes = score.notes
    if not len(notes) == len(change.octaves) == len(change.silent):
        raise ValueError("a change has one entry a row of the score's notes")
    pitch = notes["pitch"] + 12 * change.octaves
    kept = ~change.silent
    if ((pitch < 0) | (pitch > 127))[kept].any():
        raise ValueError("a note would leave the pitches 0 to 127")
    chain = tie_chains(notes) if chain is None else chain
    for column in (change.octaves, change.silent):
        if (column != column[chain]).any():
            raise ValueError("tied notes are changed together")
    table = notes.copy()
    table["pitch"] = pitch
    return replace(score, notes=table[kept])


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
