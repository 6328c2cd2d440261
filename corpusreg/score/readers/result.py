"""What reading a file gives: the works read, and those that could not be."""

from __future__ import annotations

from dataclasses import dataclass

from corpusreg.score.notes import Score

__all__ = ["ReadResult"]


@dataclass(frozen=True)
class ReadResult:
    """Works of one file in file order.

    failures: (number, reason) of each work that could not be read, `number` as in
    `Score.number`; the reason is one line without the file's name.
    """

    scores: tuple[Score, ...]
    failures: tuple[tuple[str, str], ...] = ()
