"""Players at the edge of their instrument while the whole sounds in the middle.

The whole is the compass that the instruments of the work have together; its middle is the
middle third. An edge is the outer tenth of an instrument's range, or beyond what is
comfortable (`corpusreg.measures.height`). A passage is a run of bars in which a part has
half of its time or more on such pitches.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from corpusreg.comparison.players import longest_run
from corpusreg.instruments import Instruments
from corpusreg.measures import height
from corpusreg.score.played import Played

__all__ = ["edges"]

LONG = 12.0  # bars


@dataclass(frozen=True)
class Edge:
    """The longest such passage of a part, played bars first to last (half-open).

    low, high: its lowest and highest pitch there. strength: 100 x the square root of
    bars / (bars + 12) x the share of the part's time that is spent there.
    """

    part: int
    first: int
    last: int
    low: int
    high: int
    strength: float


def edges(played: Played, table: Instruments) -> list[Edge]:
    """One passage a part at most, in score order; none where a single part sounds."""
    sounding = np.unique(played.notes.part).tolist()
    matched = table.match_all(played.parts)
    known = [matched[part] for part in sounding]
    spans = [row.professional for row in known if row is not None]
    if len(sounding) < 2 or not spans:
        return []
    compass = height.union(spans)
    found = []
    for part, row in zip(sounding, known, strict=True):
        if row is None:
            continue
        notes = played.notes.take(played.notes.part == part)
        there = height.middle_but_edge(compass, row.professional, row.comfortable)
        run = longest_run(notes, there)
        if run is None:
            continue
        own = notes.take((notes.bar >= run[0]) & (notes.bar < run[1]))
        on = there[own.pitch]
        share = float((own.duration * on).sum() / own.duration.sum())
        bars = run[1] - run[0]
        strength = 100 * float(np.sqrt(bars / (bars + LONG) * share))
        low, high = int(own.pitch[on].min()), int(own.pitch[on].max())
        found.append(Edge(part, *run, low, high, strength))
    return found
