"""Registral shifts: where the texture changes its place clearly.

Between a sounding bar and the one before it there is a shift when at least one
of these holds (semitones; the numbers are part of the definition):

- mass: the weight moves 4.5 or more (first Wasserstein distance; 7 in a single
  line), and an edge with it by 3 or more: weight that tips between two hands that
  both stay where they are is no shift (hidden stays and twins are found as well
  with this as without it; tests/validity),
- top: the upper edge (quantile .95 of the bar) moves 12 or more,
- bottom: the lower edge (quantile .05) moves 12 or more.

A window is a whole bar, so every shift lasts a bar. Direction: 'up' or 'down'
when both edges go one way or only one of them moves, by the centre otherwise;
'opening' when the edges part and 'closing' when they draw together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.texture import EDGE, Texture, distances, quantiles

__all__ = ["EDGE_MOVES", "MASS_MOVES", "MASS_MOVES_LINE", "Shift", "are_shifts", "shifts"]

MASS_MOVES = 4.5
MASS_MOVES_LINE = 7.0
EDGE_MOVES = 12
EDGE_STIRS = 3  # an edge that moves less stays where it is
_PITCH = np.arange(128)


@dataclass(frozen=True)
class Shift:
    """A shift at the beginning of played bar `bar`.

    size: semitones, of the move that passes its own threshold furthest, named by
    `by` ('mass', 'top', 'bottom'). mass, top, bottom: all three moves. abrupt:
    the share of the mass moved over three barlines, this one in the middle, that
    is moved at this one: a third where the texture glides, 1 where it leaps.
    """

    bar: int
    size: float
    direction: str
    by: str
    mass: float
    top: int
    bottom: int
    abrupt: float


def are_shifts(
    mass: NDArray[np.float64],
    top: NDArray[np.int64],
    bottom: NDArray[np.int64],
    single_line: bool,
) -> NDArray[np.bool_]:
    """Whether moves of these sizes (semitones) are shifts; all of shape (k,)."""
    if single_line:
        return mass >= MASS_MOVES_LINE
    edge = np.maximum(np.abs(top), np.abs(bottom))
    return ((mass >= MASS_MOVES) & (edge >= EDGE_STIRS)) | (edge >= EDGE_MOVES)


def edges(texture: Texture) -> NDArray[np.int64]:
    """Lower and upper edge of each sounding bar, shape (sounding, 2)."""
    return quantiles(texture.cumulated, (EDGE, 1 - EDGE))


def shifts(texture: Texture) -> list[Shift]:
    """All shifts in order of time."""
    cumulated = texture.cumulated
    if len(cumulated) < 2:
        return []
    mass = distances(cumulated[1:], cumulated[:-1])
    moved = np.diff(edges(texture), axis=0)
    centre = np.diff(texture.profiles @ _PITCH)
    around = np.convolve(mass, np.ones(3), mode="same")
    steps = np.flatnonzero(are_shifts(mass, moved[:, 1], moved[:, 0], texture.single_line))
    return [
        _shift(
            int(texture.sounding[step + 1]),
            float(mass[step]),
            int(moved[step, 1]),
            int(moved[step, 0]),
            float(centre[step]),
            float(mass[step] / around[step]),
            texture.single_line,
        )
        for step in steps.tolist()
    ]


def _shift(
    bar: int,
    mass: float,
    top: int,
    bottom: int,
    centre: float,
    abrupt: float,
    single_line: bool,
) -> Shift:
    by, size = _largest(mass, top, bottom, single_line)
    direction = _direction(top, bottom, centre)
    return Shift(bar, size, direction, by, mass, top, bottom, abrupt)


def _largest(mass: float, top: int, bottom: int, single_line: bool) -> tuple[str, float]:
    """What moved most, each kind measured against its own threshold, and by how much."""
    least = MASS_MOVES_LINE if single_line else MASS_MOVES
    sizes = {"mass": mass, "top": float(abs(top)), "bottom": float(abs(bottom))}
    scales = {"mass": least, "top": EDGE_MOVES, "bottom": EDGE_MOVES}
    if single_line:
        return "mass", mass
    by = max(sizes, key=lambda kind: sizes[kind] / scales[kind])
    return by, sizes[by]


def _direction(top: int, bottom: int, centre: float) -> str:
    up_top, up_bottom = (
        0 if abs(move) < EDGE_STIRS else (1 if move > 0 else -1) for move in (top, bottom)
    )
    if up_top > 0 > up_bottom:
        return "opening"
    if up_top < 0 < up_bottom:
        return "closing"
    return "up" if (up_top + up_bottom or centre) > 0 else "down"
