"""How the notes written for an instrument or a voice are spread over its pitches.

Aim: say how high a passage lies for its player as the repertoire has it: 'higher than 96 of
100 notes written for the bassoon in orchestral works'. Handbooks give the ends of a range;
this gives what is usual inside it, by medium and by period.

Conventions: pitches are sounding MIDI numbers. Every composer (or source of anonymous works)
counts the same, one with fewer than ENOUGH notes in proportion. A medium or a period is
told with LEAST composers or more.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corpusreg.instruments import Instrument, load
from corpusreg.norms.cohorts import RowSource
from corpusreg.score.formats import FORMATS
from corpusreg.store import sql

__all__ = ["Written", "examples", "fetch"]

Floats = NDArray[np.float64]
LEAST = 8  # composers
ENOUGH = 200  # notes
EXAMPLES = 2  # works
_PITCHES = 128


@dataclass(frozen=True)
class Written:
    """What is written for one instrument.

    ensemble: the medium as in the works table, '' for works of every kind. share: of the
    notes on each pitch, shape (128,), sum 1. periods: the same by period, in this medium where
    enough wrote for it there in two periods or more (`by_medium`), else of every medium.
    """

    instrument: str
    ensemble: str
    composers: int
    share: Floats
    periods: Mapping[str, Floats] = field(default_factory=dict)
    by_medium: bool = False

    @property
    def name(self) -> str:
        """What the instrument is called."""
        row = load().get(self.instrument)
        return row.name if row else self.instrument

    @property
    def lower(self) -> Floats:
        """Share of the notes that lie below each pitch, shape (128,), 0 to 1."""
        return lower(self.share)

    @property
    def higher(self) -> Floats:
        """Share of the notes that lie above each pitch, shape (128,), 0 to 1."""
        return np.asarray(1 - np.cumsum(self.share), np.float64)

    def quantile(self, q: float) -> int:
        """The lowest pitch with a share `q` of the notes at or below it."""
        return int((np.cumsum(self.share) < q - 1e-9).sum())


def lower(share: Floats) -> Floats:
    """Share of the notes that lie below each pitch, shape (128,), 0 to 1."""
    return np.asarray(np.cumsum(share) - share, np.float64)


def fetch(
    source: RowSource,
    rows: Sequence[Instrument],
    ensemble: str,
    leave_out: Sequence[str] = (),
) -> dict[str, Written]:
    """What is written for instruments, by id: in a medium where enough wrote for it there.

    leave_out: ids of works, such as the piece's own copies. Where too few composers wrote for a
    kind of an instrument, as for natural horns, the instrument stands for it; where too few
    wrote for that, nothing is known.
    """
    table = load()
    plain = {
        row.id: row.kind_of
        for row in rows
        if row.kind_of in table and not table[row.kind_of].generic
    }
    ids = {*plain.values(), *(row.id for row in rows)}
    known = _fetch(source, sorted(ids), ensemble, leave_out) if rows else {}
    found = {row.id: known.get(row.id) or known.get(plain.get(row.id, "")) for row in rows}
    return {key: each for key, each in found.items() if each is not None}


def _fetch(
    source: RowSource, instruments: Sequence[str], ensemble: str, leave_out: Sequence[str]
) -> dict[str, Written]:
    rows = source.fetch_columns(
        sql.load("written"),
        {
            "instruments": list(instruments),
            "ensemble": ensemble,
            "leave_out": list(leave_out),
        },
    )
    found = {}
    for instrument in sorted(set(rows["instrument"].tolist())):
        own = rows["instrument"] == instrument
        for medium in (ensemble, ""):
            here = own & rows["here"] if medium else own
            share, composers = _spread(rows, here)
            if composers >= LEAST:
                there = _periods(rows, here)
                within = bool(medium) and len(there) > 1
                periods = dict(there if within else _periods(rows, own))
                found[instrument] = Written(
                    instrument, medium, composers, share, periods, within
                )
                break
    return found


def _periods(
    rows: Mapping[str, NDArray[Any]], own: NDArray[np.bool_]
) -> list[tuple[str, Floats]]:
    found = []
    for name in sorted(set(rows["period"][own].tolist()) - {""}):
        share, composers = _spread(rows, own & (rows["period"] == name))
        if composers >= LEAST:
            found.append((name, share))
    return found


def _spread(rows: Mapping[str, NDArray[Any]], here: NDArray[np.bool_]) -> tuple[Floats, int]:
    """Shares by pitch, and how many composers there are."""
    units, index = np.unique(rows["unit"][here], return_inverse=True)
    if not len(units):
        return np.zeros(_PITCHES), 0
    notes = np.bincount(
        index * _PITCHES + rows["pitch"][here],
        weights=rows["notes"][here],
        minlength=len(units) * _PITCHES,
    ).reshape(-1, _PITCHES)
    added = notes.sum(axis=1)
    share = (notes / np.maximum(added, ENOUGH)[:, None]).sum(axis=0)
    return share / share.sum(), len(units)


def examples(
    source: RowSource,
    written: Written,
    pitch: int,
    *,
    up: bool,
    leave_out: Sequence[str] = (),
) -> tuple[str, ...]:
    """Works with many of an instrument's notes at a pitch or beyond it, 'COMPOSER, TITLE'."""
    rows = source.fetch_columns(
        sql.load("written_examples"),
        {
            "instrument": written.instrument,
            "ensemble": written.ensemble,
            "pitch": pitch,
            "up": up,
            "count": EXAMPLES,
            "leave_out": list(leave_out),
        },
    )
    titles = map(_title, rows["title"].tolist())
    return tuple(map(", ".join, zip(rows["composer"], titles, strict=True)))


def _title(text: str) -> str:
    """A title; where it is the name of a file, without its ending."""
    stem, _, ending = text.rpartition(".")
    return stem if f".{ending.casefold()}" in FORMATS else text
