"""Weight of every pitch in every beat and bar: the ground of all measures.

Conventions
-----------
weight     share of a slice in which a pitch sounds, times its loudness. Shares
           are taken by union: two players on one pitch, or a note struck again
           while it sounds, count once at each moment, at the louder level.
slice      a felt beat (the last of a bar may be shorter) or a played bar.
profile    the weights of a slice divided by their sum, shape (128,).
silent     a slice without weight; comparisons step over it.
quantile   the lowest pitch at which the summed profile reaches a share.
edges      quantiles .05 and .95 of a bar: a passing note is no edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from corpusreg.score.played import Notes, PlayedBars

__all__ = [
    "EDGE", "PITCHES", "Texture", "beat_weights", "distances", "quantiles",
    "sounding", "texture",
]  # fmt: skip

PITCHES = 128
EDGE = 0.05  # share of weight beyond an edge

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_Pieces = tuple[Ints, Ints, Ints, Floats]


@dataclass(frozen=True)
class Texture:
    """Weights of a work or of one part.

    beats: shape (slices, 128), weight per beat; beat_bar: shape (slices,), the
    played bar of each beat. bars: shape (bars, 128), weight per played bar.
    total: shape (128,), ticks of weight in the whole work. most_together: most
    pitches that sound at once for a thousandth of the sounding time or more
    (played files overlap a little). voices: how many sound at once on average. lines:
    most lines that sound at once, as many as pitches where doublings are not known.
    """

    beats: Floats
    beat_bar: Ints
    bars: Floats
    total: Floats
    most_together: int
    voices: float
    lines: int

    @property
    def single_line(self) -> bool:
        """No two lines ever sound together; a line in octaves is one."""
        return self.lines <= 1

    @cached_property
    def sounding(self) -> Ints:
        """Indices of the bars in which something sounds."""
        return np.flatnonzero(self.bars.sum(axis=1) > 0)

    @cached_property
    def profiles(self) -> Floats:
        """Profiles of the sounding bars, shape (sounding, 128)."""
        weights = self.bars[self.sounding]
        return np.asarray(weights / weights.sum(axis=1, keepdims=True), np.float64)

    @cached_property
    def cumulated(self) -> Floats:
        """Summed profiles of the sounding bars, shape (sounding, 128)."""
        return np.cumsum(self.profiles, axis=1)


def texture(notes: Notes, bars: PlayedBars) -> Texture:
    """Weights of the notes over the bars they sound in. Needs at least one note."""
    edges, beat_bar = bars.beats
    pieces = _disjoint(notes)
    reach = _reach(pieces, edges)
    beat_ticks = np.diff(reach, axis=0)
    bar_at = np.searchsorted(edges, np.append(bars.start, edges[-1]))
    bar_ticks = np.diff(reach[bar_at], axis=0)
    most_together, voices = _together(pieces)
    return Texture(
        beats=beat_ticks / np.diff(edges)[:, None],
        beat_bar=beat_bar,
        bars=bar_ticks / np.maximum(bars.length, 1)[:, None],
        total=reach[-1],
        most_together=most_together,
        voices=voices,
        lines=most_together,
    )


def beat_weights(notes: Notes, bars: PlayedBars) -> Floats:
    """Weight of every pitch in every beat alone, shape (slices, 128)."""
    edges, _ = bars.beats
    return np.diff(_reach(_disjoint(notes), edges), axis=0) / np.diff(edges)[:, None]


def _reach(pieces: _Pieces, edges: Ints) -> Floats:
    """Ticks of weight of each pitch before each edge, shape (edges, 128)."""
    pitch, start, end, loud = pieces
    first = np.flatnonzero(np.diff(pitch, prepend=-1))
    last = np.append(first[1:], len(pitch))
    number = np.repeat(np.arange(len(first)), last - first)
    weight = np.cumsum((end - start) * loud)
    before = np.append(0.0, weight)[first][number]
    begun = np.append(0.0, weight[:-1]) - before
    begun[first] = 0.0
    # Pitches lie one after the other on a single line, so that one call serves all; on it
    # stands what has been reached at both ends of each piece, and before and after all.
    low, high = (
        min(int(start.min()), int(edges[0])) - 1,
        max(int(end.max()), int(edges[-1])) + 1,
    )
    lane = np.arange(len(first)) * (high - low + 1)
    ticks, value = np.zeros((2, 2 * (len(pitch) + len(first))))
    at = 2 * (np.arange(len(pitch)) + number) + 1
    ticks[at], ticks[at + 1] = start + lane[number], end + lane[number]
    value[at], value[at + 1] = begun, weight - before
    rim = 2 * (first + np.arange(len(first))), 2 * (last + np.arange(len(first))) + 1
    ticks[rim[0]], ticks[rim[1]] = low + lane, high + lane
    value[rim[1]] = (weight - before)[last - 1]
    reach = np.zeros((len(edges), PITCHES))
    found = np.interp((edges + lane[:, None]).ravel(), ticks, value)
    reach[:, pitch[first]] = found.reshape(len(first), -1).T
    return reach


def _disjoint(notes: Notes) -> _Pieces:
    """Sounding stretches that do not overlap within a pitch: pitch, start, end, loudness.

    Sorted by pitch and start. Where notes of one pitch overlap, the louder counts.
    """
    order = np.lexsort((notes.onset, notes.pitch))
    pitch, start = notes.pitch[order], notes.onset[order]
    end, loud = start + notes.duration[order], notes.loudness[order]
    # Clusters: runs of one pitch that hang together. Pitches are laid out one
    # after the other on a single line so that one running maximum serves all.
    lane = pitch * (int(end.max()) + 1)
    furthest = np.maximum.accumulate(end + lane)
    opens = np.ones(len(pitch), bool)
    opens[1:] = start[1:] + lane[1:] >= furthest[:-1]
    first = np.flatnonzero(opens)
    top = np.maximum.reduceat(loud, first)
    mixed = top > np.minimum.reduceat(loud, first)
    cluster_end = np.maximum.reduceat(end, first)
    plain = first[~mixed]
    pieces = [(pitch[plain], start[plain], cluster_end[~mixed], top[~mixed])]
    rest = np.repeat(mixed, np.diff(first, append=len(pitch)))
    if rest.any():
        pieces.append(_loudest(pitch[rest], start[rest], end[rest], loud[rest]))
    joined = [np.concatenate(column) for column in zip(*pieces, strict=True)]
    order = np.lexsort((joined[1], joined[0]))
    return joined[0][order], joined[1][order], joined[2][order], joined[3][order]


def _loudest(pitch: Ints, start: Ints, end: Ints, loud: Floats) -> _Pieces:
    """Notes of each pitch cut wherever one begins or ends, each piece at the loudest level."""
    lane = pitch * (int(end.max()) + 1)
    cut = np.unique(np.concatenate((start + lane, end + lane)))
    first = np.searchsorted(cut, start + lane)
    count = np.searchsorted(cut, end + lane) - first
    covered = np.repeat(first - np.cumsum(count) + count, count) + np.arange(count.sum())
    level = np.zeros(len(cut))
    np.maximum.at(level, covered, np.repeat(loud, count))
    piece = np.unique(covered)
    height, begins = np.divmod(cut[piece], int(end.max()) + 1)
    return height, begins, begins + cut[piece + 1] - cut[piece], level[piece]


def _together(pieces: _Pieces) -> tuple[int, float]:
    """Pitches that sound at once: the most, and the average while anything sounds."""
    _, start, end, _ = pieces
    ticks = np.concatenate((start, end))
    change = np.concatenate((np.ones(len(start), np.int64), -np.ones(len(end), np.int64)))
    order = np.lexsort((change, ticks))
    ticks, together = ticks[order], np.cumsum(change[order])
    lasting = np.diff(ticks, append=ticks[-1])
    time = np.bincount(together, weights=lasting, minlength=2)
    time[0] = 0.0
    enough = np.cumsum(time[::-1])[::-1] >= time.sum() / 1000
    most = int(np.flatnonzero(enough).max(initial=1))
    return most, float(time @ np.arange(len(time)) / time.sum())


def sounding(first: Ints, stop: Ints, pitch: Ints, slices: int) -> NDArray[np.bool_]:
    """Which pitches sound in each slice, shape (slices, 128).

    first, stop: the slice in which each note begins, and the one in which it no longer
    sounds, shape (n,).
    """
    low, size = int(pitch.min()), slices + 1
    # One pitch after the other lies in memory: that is the quick way to add up.
    row = (pitch - low) * size
    most = (int(pitch.max()) - low + 1) * size
    change = np.bincount(row + first, minlength=most) - np.bincount(row + stop, minlength=most)
    held = np.cumsum(change.reshape(-1, size), axis=1)[:, :slices] > 0
    result = np.zeros((slices, PITCHES), bool)
    result[:, low : low + len(held)] = held.T
    return result


def quantiles(cumulated: Floats, shares: tuple[float, ...]) -> Ints:
    """Pitches at which summed profiles reach each share, shape (slices, shares)."""
    # Rows lie one after the other on a single line, so that one search serves all.
    rows = np.arange(len(cumulated))[:, None]
    begin = 2.0 * rows
    # The tolerance keeps a share that is met exactly from being missed by rounding.
    found = (cumulated + begin).ravel().searchsorted(begin + shares - 1e-9)
    return np.asarray(found - PITCHES * rows)


def distances(cumulated_a: Floats, cumulated_b: Floats) -> Floats:
    """First Wasserstein distance in semitones between summed profiles, row by row.

    Both: shape (k, 128), each row rising to 1. Returns shape (k,).
    """
    return np.asarray(np.abs(cumulated_a - cumulated_b).sum(axis=-1))
