"""Registral shifts: where the texture changes its place clearly.

Between a sounding bar and the one before it there is a shift when at least one
of these holds (semitones; the numbers are part of the definition):

- mass: the weight moves 4.5 or more (first Wasserstein distance; 7 in a single
  line), and an edge with it by 3 or more: weight that tips between two hands that
  both stay where they are is no shift (hidden stays and twins are found as well
  with this as without it; tests/validity),
- top: the upper edge (quantile .95 of the bar) moves 12 or more,
- bottom: the lower edge (quantile .05) moves 12 or more,
- part: in a texture of three to five players, the mean pitch of one of them moves 10
  or more. An octave of one part in four moves the mass by 3 only, and the edges where
  it is an outer one.

With the rule for parts, a part of a quartet that repeats its bar an octave lower is
found in 100 % (bass 99, tenor 10, alto 6, top 25 % without it); in untouched quartets
it adds 2 to 3 shifts per 100 bars (16 works; at 9 semitones 5, at 8 semitones 7, with no
more found). These shifts are listed and stay out of the placed rate of shifts: counted
there, twins whose entries keep the old register by moving parts by octaves had the
lower rate in 78 instead of 96 % (tests/validity, 23 quartets).

Of all shifts those are clear that a listener would point out. The size of a clear shift
is the semitones by which an edge leaves what it kept to in the four bars before and for
two bars from there on, plus half of its jump at the barline (two octaves count at most).
CLEAR or more is clear, at most once in three bars unless both are very clear; never out of
an upbeat or into one, never without some move of the mass, never where several voices stay
within an octave, and in the final cadence only what is very clear. A singer who begins over an
accompaniment that stays in its place is told as a voice that enters (`sung_entry`).
Against shifts that a musician marked in 49 scores: 70 of 73 found, 0.6 false in 100 bars
(all shifts by the rules above: 67 of 73, 11.9 false).

A window is a whole bar, so every shift lasts a bar. Direction: 'up' or 'down'
when both edges go one way or only one of them moves, by the centre otherwise;
'opening' when the edges part and 'closing' when they draw together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.events import Direction, Event, final_bar
from corpusreg.measures.texture import EDGE, Texture, distances, quantiles, texture
from corpusreg.score.played import Notes, PlayedBars

__all__ = [
    "EDGE_MOVES", "MASS_MOVES", "MASS_MOVES_LINE", "Shift", "are_shifts", "clear_shifts",
    "clear_sizes", "counts_in_rate", "shift_events", "shifts", "sung_entry",
]  # fmt: skip

MASS_MOVES = 4.5
MASS_MOVES_LINE = 7.0
EDGE_MOVES = 12
PART_MOVES = 10.0
CLEAR = 9.0  # semitones
VERY_CLEAR = 16.0  # semitones
HEARD = 3.25  # semitones of mass: edges that move alone are hardly heard
LEAPS = 20  # semitones of an edge that comes back within the four bars
BEFORE, AFTER = 4, 2  # bars
LINE = 0.6  # a single line moves about without leaving its place
PLAYERS = (3, 5)  # fewest and most whose single moves are told
ONE_REGISTER = 12  # semitones: several voices within an octave do not leave it
EDGE_STIRS = 3  # an edge that moves less stays where it is
DUST = 1e-7  # semitones: sums in another order differ by less, and thresholds forgive it
_PITCH = np.arange(128)


@dataclass(frozen=True)
class Shift:
    """A shift at the beginning of played bar `bar`.

    size: semitones, of the move that passes its own threshold furthest, named by
    `by` ('mass', 'top', 'bottom'; 'part' where only one player has moved). mass, top,
    bottom: all three moves. abrupt: the share of the mass moved over three barlines,
    this one in the middle, that is moved at this one: a third where the texture glides,
    1 where it leaps. low, high: edges of the bar that it leads to.
    """

    bar: int
    size: float
    direction: Direction
    by: str
    mass: float
    top: int
    bottom: int
    abrupt: float
    low: int
    high: int


def are_shifts(
    mass: NDArray[np.float64],
    top: NDArray[np.int64],
    bottom: NDArray[np.int64],
    single_line: bool,
) -> NDArray[np.bool_]:
    """Whether moves of these sizes (semitones) are shifts; all of shape (k,)."""
    if single_line:
        return mass >= MASS_MOVES_LINE - DUST
    edge = np.maximum(np.abs(top), np.abs(bottom))
    return ((mass >= MASS_MOVES - DUST) & (edge >= EDGE_STIRS)) | (edge >= EDGE_MOVES)


def edges(texture: Texture) -> NDArray[np.int64]:
    """Lower and upper edge of each sounding bar, shape (sounding, 2)."""
    return quantiles(texture.cumulated, (EDGE, 1 - EDGE))


def shifts(texture: Texture, lines: NDArray[np.float64] | None = None) -> list[Shift]:
    """All shifts in order of time.

    lines: mean pitch of every player in every played bar, shape (players, bars), NaN
    where a player is silent; None where players are not told apart.
    """
    if len(texture.sounding) < 2:
        return []
    alone = _part_moves(texture, lines)
    moves = _Moves.of(texture)
    whole = are_shifts(moves.mass, moves.top, moves.bottom, texture.single_line)
    found = []
    for step in np.flatnonzero(whole | (np.abs(alone) >= PART_MOVES - DUST)).tolist():
        shift = moves.shift(step)
        if not whole[step]:
            way: Direction = "up" if alone[step] > 0 else "down"
            shift = replace(shift, by="part", size=float(abs(alone[step])), direction=way)
        found.append(shift)
    return found


def counts_in_rate(shift: Shift) -> bool:
    """Whether a shift counts in the shift rate: one player's move does not move the texture."""
    return shift.by != "part"


def clear_shifts(texture: Texture, sizes: NDArray[np.float64]) -> list[Shift]:
    """The clear shifts in order of time; sizes as of `clear_sizes`."""
    if not len(sizes):
        return []
    moves = _Moves.of(texture)
    return [moves.shift(step) for step in np.flatnonzero(sizes).tolist()]


@dataclass(frozen=True)
class _Moves:
    """Moves from each sounding bar to the next; arrays have shape (sounding - 1,)."""

    texture: Texture
    edges: NDArray[np.int64]
    mass: NDArray[np.float64]
    centre: NDArray[np.float64]
    around: NDArray[np.float64]

    @classmethod
    def of(cls, texture: Texture) -> _Moves:
        mass = distances(texture.cumulated[1:], texture.cumulated[:-1])
        centre = np.diff(texture.profiles @ _PITCH)
        around = np.convolve(mass, np.ones(3), mode="same")
        return cls(texture, edges(texture), mass, centre, around)

    @property
    def bottom(self) -> NDArray[np.int64]:
        return np.diff(self.edges[:, 0])

    @property
    def top(self) -> NDArray[np.int64]:
        return np.diff(self.edges[:, 1])

    def shift(self, step: int) -> Shift:
        """The shift from sounding bar `step` to the next."""
        (was_low, was_high), (low, high) = (
            self.edges[step].tolist(),
            self.edges[step + 1].tolist(),
        )
        bottom, top, mass = low - was_low, high - was_high, float(self.mass[step])
        by, size = _largest(mass, top, bottom, self.texture.single_line)
        around = float(self.around[step])
        return Shift(
            int(self.texture.sounding[step + 1]),
            size,
            _direction(top, bottom, float(self.centre[step])),
            by,
            mass,
            top,
            bottom,
            mass / around if around else 1.0,
            low,
            high,
        )


def clear_sizes(texture: Texture, whole: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Size of a clear shift at each sounding bar but the first, 0 where there is none.

    whole: whether each played bar is complete, shape (bars,).
    """
    edge = edges(texture)
    count = len(edge) - 1
    if count < 1:
        return np.zeros(0)
    before = _window(edge, BEFORE, ahead=False)[:-1]
    after = _window(edge, AFTER, ahead=True)[1:]
    apart = np.maximum(after[:, 0] - before[:, 1], before[:, 0] - after[:, 1])
    kept = apart.max(axis=1).clip(min=0)
    jump = np.abs(np.diff(edge, axis=0)).max(axis=1).clip(max=2 * EDGE_MOVES)
    size = (kept + jump / 2) * (LINE if texture.single_line else 1.0)
    # Nothing leaves a place in which not even one full bar has sounded.
    size[np.cumsum(whole[texture.sounding])[:-1] == 0] = 0.0
    size[~whole[texture.sounding[1:]]] = 0.0  # nor arrives in part of a bar
    mass = distances(texture.cumulated[1:], texture.cumulated[:-1])
    size[(mass < HEARD) | ((kept == 0) & (jump < LEAPS))] = 0.0
    if not texture.single_line:
        highest = np.maximum(before[:, 1, 1], after[:, 1, 1])
        lowest = np.minimum(before[:, 0, 0], after[:, 0, 0])
        size[highest - lowest <= ONE_REGISTER] = 0.0
    least = np.where(texture.sounding[1:] >= final_bar(len(whole)), VERY_CLEAR, CLEAR)
    size[size < least - DUST] = 0.0
    beside = np.maximum(np.append(0.0, size[:-1]), np.append(size[1:], 0.0))
    size[(beside > size + DUST) & (size < VERY_CLEAR)] = 0.0
    return np.asarray(size, np.float64)


def sung_entry(notes: Notes, bars: PlayedBars, bar: int, sung: Sequence[int]) -> bool:
    """Whether a singer begins in this bar over players who stay where they were.

    The song begins there, and the space of what accompanies it does not move. A singer
    begins who rested in the BEFORE bars before, but for an upbeat of half a bar. The others
    stay where each of their edges keeps to what it was in these, within EDGE_STIRS.
    sung: the parts that are sung.
    """
    first, stop = max(bar - BEFORE, 0), min(bar + AFTER, len(bars))
    begin, end = bars.start[first], bars.start[stop - 1] + bars.length[stop - 1]
    near = notes.take((notes.onset < end) & (notes.onset + notes.duration > begin))
    before = near.onset < bars.start[bar] - bars.full[bar] // 2
    new = set(near.part[near.bar == bar].tolist()) - set(near.part[before].tolist())
    if not new or not new <= set(sung):
        return False
    others = near.take(~np.isin(near.part, list(new)))
    if not len(others):
        return False
    woven = texture(others, _slice(bars, first, stop))
    edge, now = edges(woven), woven.sounding >= bar - first
    if now.all() or not now.any():
        return False
    was, here = edge[~now], edge[now]
    return bool(
        (here.min(axis=0) >= was.min(axis=0) - EDGE_STIRS).all()
        and (here.max(axis=0) <= was.max(axis=0) + EDGE_STIRS).all()
    )


def _slice(bars: PlayedBars, first: int, stop: int) -> PlayedBars:
    own = (getattr(bars, name)[first:stop] for name in bars.__dataclass_fields__)
    return PlayedBars(*own)


def shift_events(
    found: Sequence[Shift], sizes: Sequence[float], bars: PlayedBars
) -> list[Event]:
    """Clear shifts as events; sizes as of `clear_sizes`, one a shift."""
    ends = [*(shift.bar for shift in found[1:]), len(bars)][: len(found)]
    return [
        Event(
            "shift",
            None,
            shift.bar,
            shift.bar + 1,
            shift.bar,
            1.0,
            (shift.low, shift.high),
            shift.low,
            shift.high,
            min(1.0, size / (3 * EDGE_MOVES)),
            lasts=float(end - shift.bar),
            distance=float(max(abs(shift.bottom), abs(shift.top))),
            direction=shift.direction,
            by=_edges_moved(shift.bottom, shift.top),
            section=bool(bars.section[shift.bar]),
        )
        for shift, size, end in zip(found, sizes, ends, strict=True)
    ]


def _edges_moved(bottom: int, top: int) -> str:
    """Which edges move: 'bottom', 'top' or 'both'."""
    if min(abs(bottom), abs(top)) >= EDGE_STIRS:
        return "both"
    return "bottom" if abs(bottom) >= abs(top) else "top"


def _window(edge: NDArray[np.int64], bars: int, *, ahead: bool) -> NDArray[np.int64]:
    """Least and greatest edge in a window that ends or begins at each bar, (n, 2, 2)."""
    least, most = edge.copy(), edge.copy()
    for step in range(1, min(bars, len(edge))):
        near, far = slice(None, -step), slice(step, None)
        if not ahead:
            near, far = far, near
        least[near] = np.minimum(least[near], edge[far])
        most[near] = np.maximum(most[near], edge[far])
    return np.stack((least, most), axis=1)


def _part_moves(texture: Texture, lines: NDArray[np.float64] | None) -> NDArray[np.float64]:
    """The largest move of one player at each sounding bar but the first, semitones."""
    if lines is None or not PLAYERS[0] <= len(lines) <= PLAYERS[1]:
        return np.zeros(len(texture.sounding) - 1)
    moves = np.nan_to_num(np.diff(lines[:, texture.sounding], axis=1))
    # Of two players that move equally far apart, the one that goes up is told.
    furthest = np.maximum(moves.max(axis=0), -moves.min(axis=0))
    return np.asarray(np.where(moves.max(axis=0) >= furthest, furthest, -furthest), np.float64)


def _largest(mass: float, top: int, bottom: int, single_line: bool) -> tuple[str, float]:
    """What moved most, each kind measured against its own threshold, and by how much."""
    least = MASS_MOVES_LINE if single_line else MASS_MOVES
    sizes = {"mass": mass, "top": float(abs(top)), "bottom": float(abs(bottom))}
    scales = {"mass": least, "top": EDGE_MOVES, "bottom": EDGE_MOVES}
    if single_line:
        return "mass", mass
    by = max(sizes, key=lambda kind: sizes[kind] / scales[kind])
    return by, sizes[by]


def _direction(top: int, bottom: int, centre: float) -> Direction:
    up_top, up_bottom = (
        0 if abs(move) < EDGE_STIRS else (1 if move > 0 else -1) for move in (top, bottom)
    )
    if up_top > 0 > up_bottom:
        return "opening"
    if up_top < 0 < up_bottom:
        return "closing"
    return "up" if (up_top + up_bottom or centre) > 0 else "down"
