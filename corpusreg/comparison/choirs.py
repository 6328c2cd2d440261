"""A large ensemble by families: who has the top and the bottom, when all play, who is alone.

A family of instruments (or the voices) is a choir. It has the top of a bar where one of its
parts has the bar's highest note, and the bottom where one has the lowest; two that share the
note both have it.
A bar is tutti where TUTTI of the parts begin a note in it or more; a part is alone where
no other begins one. A cue says who plays in the bar in which a section begins (rehearsal mark,
double bar), as the score marks them.

Conventions: bars are played bars, half-open; shares are of the bars in which something begins.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.players import Players
from corpusreg.score.played import Played

__all__ = ["FEWEST", "Choir", "Choirs", "Cue", "choirs"]

FEWEST = 10  # parts: fewer are told one by one
TUTTI = 0.75  # of the parts
LONG = 2  # bars of a tutti or a solo that are told
OTHER = "others"

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Choir:
    """A family. parts: names, in score order. playing, top, bottom: shares of bars, 0 to 1.

    leads, founds: the part that has the top, the bottom of most bars, '' for none.
    """

    family: str
    parts: tuple[str, ...]
    lowest: int
    highest: int
    playing: float
    top: float
    bottom: float
    leads: str
    founds: str


@dataclass(frozen=True)
class Cue:
    """Who plays where a section begins: families, and the parts with top and bottom.

    mark: its rehearsal mark, '' for none.
    """

    bar: int
    families: tuple[str, ...]
    top: str
    bottom: str
    mark: str = ""


@dataclass(frozen=True)
class Choirs:
    """tutti: runs of bars. alone: a part and a run of bars. Both longest first, and as heard
    for the first time."""

    choirs: tuple[Choir, ...]
    tutti: tuple[tuple[int, int], ...]
    alone: tuple[tuple[str, int, int], ...]
    cues: tuple[Cue, ...]


def choirs(everyone: Players, played: Played) -> Choirs | None:
    """The families of a piece, None where it has fewer than FEWEST sounding parts."""
    players = everyone.parts
    if len(players) < FEWEST:
        return None
    names = [each.name for each in players]
    families = [each.use.instrument.family if each.use else OTHER for each in players]
    notes, bars = played.notes, played.bars
    part = np.unique(notes.part, return_inverse=True)[1]
    shape = len(players), len(bars)
    high, low = np.full(shape, -1), np.full(shape, 128)
    np.maximum.at(high, (part, notes.bar), notes.pitch)
    np.minimum.at(low, (part, notes.bar), notes.pitch)
    plays = high >= 0
    sounding = plays.any(axis=0)
    top = plays & (high == high.max(axis=0))
    bottom = plays & (low == low.min(axis=0))
    once, count = bars.time == 1, plays.sum(axis=0)
    solo = [
        (names[row], *run)
        for row in range(len(names))
        for run in _runs(plays[row] & (count == 1) & once)
    ]
    return Choirs(
        choirs=tuple(
            _choirs(names, families, plays, {"top": top, "bottom": bottom}, high, low)
        ),
        tutti=tuple(sorted(_runs((count >= TUTTI * len(names)) & once), key=_longest)),
        alone=tuple(sorted(solo, key=lambda each: _longest(each[1:]))),
        cues=tuple(
            Cue(
                bar,
                tuple(dict.fromkeys(families[row] for row in np.flatnonzero(plays[:, bar]))),
                names[int(top[:, bar].argmax())],
                names[int(bottom[:, bar].argmax())],
                played.rehearsal.get(int(bars.written[bar]), ""),
            )
            for bar in np.flatnonzero(bars.section & sounding & once).tolist()
        ),
    )


def _choirs(
    names: Sequence[str],
    families: Sequence[str],
    plays: Flags,
    edges: Mapping[str, Flags],
    high: NDArray[np.int64],
    low: NDArray[np.int64],
) -> list[Choir]:
    """The choirs in score order."""
    total = int(plays.any(axis=0).sum())
    found = []
    for family in dict.fromkeys(families):
        rows = [row for row, each in enumerate(families) if each == family]
        own = {side: flags[rows] for side, flags in edges.items()}
        most = {
            side: names[rows[int(flags.sum(axis=1).argmax())]] if flags.any() else ""
            for side, flags in own.items()
        }
        shares = {side: float(flags.any(axis=0).sum() / total) for side, flags in own.items()}
        found.append(
            Choir(
                family=family,
                parts=tuple(names[row] for row in rows),
                lowest=int(low[rows].min()),
                highest=int(high[rows].max()),
                playing=float(plays[rows].any(axis=0).sum() / total),
                top=shares["top"],
                bottom=shares["bottom"],
                leads=most["top"],
                founds=most["bottom"],
            )
        )
    return found


def _runs(flags: Flags) -> list[tuple[int, int]]:
    """Runs of LONG bars or more that are true, half-open."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    runs = zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    return [(first, last) for first, last in runs if last - first >= LONG]


def _longest(run: tuple[int, int]) -> tuple[int, int]:
    return run[0] - run[1], run[0]
