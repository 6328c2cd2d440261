"""What is to be drawn, and what drawing it gave."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

__all__ = ["TENTH", "TEXT_WIDTH", "Engraved", "NotatedPassage"]

TENTH = 0.08  # mm; the engraver's unit of length, with a staff of 72 of them: 5.8 mm
TEXT_WIDTH = 170.0  # mm; A4 and Letter with ordinary margins


@dataclass(frozen=True)
class NotatedPassage:
    """Bars of a work.

    path: the score file. first, last: written bars, positions from 0, half-open.
    number: which work of a file that holds many, as `Score.number`. parts: which
    players, as positions in `Score.parts`; () for all.
    """

    path: Path
    first: int
    last: int
    number: str = ""
    parts: tuple[int, ...] = ()


@dataclass(frozen=True)
class Engraved:
    """A passage as notation.

    svg: see the conventions of `corpusreg.documents.engraving`. glyphs: the shapes that it
    uses, id -> <g> element as text. width, height: of the picture, mm. first, last: the
    written bars that are drawn, half-open. labels: their printed numbers. remarks: what
    a reader must know beside the picture, in plain words: bars left out, parts left
    out, transposing instruments.
    """

    svg: str
    glyphs: Mapping[str, str]
    width: float
    height: float
    first: int
    last: int
    labels: tuple[str, ...]
    remarks: tuple[str, ...] = field(default=())
