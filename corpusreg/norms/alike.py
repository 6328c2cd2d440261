"""Works of the same medium whose register has the same shape over time as a piece.

The shape is the curve of `measures.space.curve`: lower edge, middle and upper edge in ten
parts of the piece, counted from the mean of the middle. The distance of two works is the mean
distance of these thirty points in semitones, so that key, height and length do not matter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.space import PARTS, distances_between
from corpusreg.norms.cohorts import RowSource
from corpusreg.norms.reference import Rung
from corpusreg.store import sql

__all__ = ["Alike", "alike"]

Floats = NDArray[np.float64]
NEAREST = 3
LINES = ("low", "middle", "high")


@dataclass(frozen=True)
class Alike:
    """A work near a piece.

    distance: in semitones, as the module says. curve: its own, counted from the mean of its
    middle, shape (PARTS, 3). part, line, apart: where it differs most from the piece (the
    tenth from 0, a word of LINES) and by how many semitones the work lies higher there.
    widens, rises: by how many semitones at least, in the piece and in the work, the space
    between the edges is wider, and the middle higher, in the last three parts than in the
    first three; 0 where they go different ways.
    """

    work: str
    title: str
    composer: str
    distance: float
    curve: Floats
    part: int
    line: str
    apart: float
    widens: float
    rises: float


def alike(
    source: RowSource, rung: Rung, own: Floats | None, leave_out: Sequence[str] = ()
) -> tuple[Alike, ...]:
    """The works of a rung nearest to a curve, by different composers.

    own: of the piece, shape (PARTS, 3), None where it has none. leave_out: works that are no
    neighbours, such as the piece's own copies.
    """
    if own is None:
        return ()
    conditions = " AND ".join(f'"{column}" = ${column}' for column in rung.where)
    found = source.fetch_columns(
        sql.load("curves").format(conditions=conditions),
        {**rung.where, "leave_out": list(leave_out)},
    )
    if not len(found["work"]):
        return ()
    curves = np.stack([found[line].astype(float) for line in LINES], axis=1)
    curves = curves.reshape(-1, PARTS, len(LINES))
    works, unit = found["work"][::PARTS], found["unit_number"][::PARTS]
    away = distances_between(own, curves)
    order = np.lexsort((np.arange(len(away)), np.round(away, 9)))
    _, first = np.unique(unit[order], return_index=True)
    chosen = order[np.sort(first)][:NEAREST]
    return tuple(
        _alike(
            str(works[row]),
            str(found["title"][row * PARTS]),
            str(found["composer"][row * PARTS]),
            float(away[row]),
            own - own[:, 1].mean(),
            curves[row] - curves[row][:, 1].mean(),
        )
        for row in chosen.tolist()
    )


def _alike(
    work: str, title: str, composer: str, distance: float, own: Floats, other: Floats
) -> Alike:
    difference = other - own
    part, line = np.unravel_index(int(np.abs(difference).argmax()), difference.shape)
    widths = [each[:, 2] - each[:, 0] for each in (own, other)]
    return Alike(
        work=work,
        title=title,
        composer=composer,
        distance=distance,
        curve=other,
        part=int(part),
        line=LINES[int(line)],
        apart=float(difference[part, line]),
        widens=_shared(*map(_gain, widths)),
        rises=_shared(_gain(own[:, 1]), _gain(other[:, 1])),
    )


def _gain(line: Floats) -> float:
    return float(line[-3:].mean() - line[:3].mean())


def _shared(one: float, other: float) -> float:
    """The smaller of two changes in the same direction."""
    return 0.0 if one * other <= 0 else min(one, other, key=abs)
