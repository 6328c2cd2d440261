"""Part 1: original works rank above their less mobile twins.

A pair counts for a measure where both values may be placed. Twins (b) and (c) in which
fewer than a twentieth of the notes moved are no twins and are counted apart. So are ties of
what no change touched: a span whose lowest and highest notes stay, a longest stay in and beside
which no note moved.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from corpusreg.measures.analysis import Analysis, analyse
from corpusreg.score.played import Played

from . import changes
from .materials import Piece
from .tally import LEFT_OUT, Trial

__all__ = ["AIMS", "FOLD_AIMED", "compared", "twins"]

CORE = 24  # semitones of core span that a texture needs
MOVED = 0.05
# Measures that rise with mobility, and those that fall.
RISE = (
    "span", "core_span", "octaves_in_use", "movement_beat", "movement_bar",
    "movement_phrase", "travel", "shift_rate",
)  # fmt: skip
FALL = ("longest_dwell", "expected_dwell", "narrow_dwell")
SPAN_LIKE = ("span", "core_span")
# What (c) changes, by the passages it keeps in place: not the movement inside them.
MUSICAL = (*SPAN_LIKE, "movement_bar", "shift_rate", "longest_dwell", "expected_dwell")
MUSICAL_PHRASES = ("movement_phrase",)
FOLD_AIMED = (
    "span", "core_span", "movement_beat", "movement_bar", "movement_phrase", "shift_rate",
    "longest_dwell", "expected_dwell",
)  # fmt: skip

STILL = ("pedal_point", "crossing")
TEXTURES = ("piano", "quartet", "song")
AIMS = (
    {
        ("twins", f"fold: {m}", k): 0.995
        for m in (*FOLD_AIMED, "events of movement")
        for k in TEXTURES
    }
    | {
        ("twins", f"{change}: {m}", k): 0.97
        for change in ("gentle", "musical")
        for m in SPAN_LIKE
        for k in TEXTURES
    }
    | {
        ("twins", f"{c}: {m}", k): 0.93
        for c, m, kinds in (
            ("gentle", "shift_rate", TEXTURES),
            ("gentle", "longest_dwell", TEXTURES),
            ("gentle", "expected_dwell", TEXTURES),
            ("musical", "shift_rate", (*TEXTURES, "line")),
            ("musical", "longest_dwell", (*TEXTURES, "line")),
            ("musical", "expected_dwell", (*TEXTURES, "line")),
        )
        for k in kinds
    }
)


@dataclass(frozen=True)
class _Twin:
    change: str
    played: Played
    measures: tuple[str, ...]


def twins(piece: Piece, original: Analysis) -> Iterator[Trial]:
    """Comparisons of one work with each of its twins, measure by measure."""
    line = piece.kind == "line"
    if not line and original.core[1] - original.core[0] < CORE:
        return
    for twin in _twins(piece, line):
        moved = _share_moved(piece.played, twin.played)
        if moved < MOVED:
            yield replace(_trial(piece, f"{twin.change}: too like", True), part=LEFT_OUT)
            continue
        found = analyse(twin.played)
        for measure in twin.measures:
            for trial in compared(piece, twin.change, measure, original, found):
                if trial.tied and not _touched(measure, piece.played, twin.played, original):
                    question = f"{trial.question}, not touched"
                    trial = replace(trial, part=LEFT_OUT, question=question)
                yield trial
        yield from _events(piece, twin.change, original, found)


def _twins(piece: Piece, line: bool) -> Iterator[_Twin]:
    played = piece.played
    everything = (*RISE, *FALL)
    if not line:
        pitch = changes.fold(played.notes.pitch, changes.middle(played.notes))
        yield _Twin("fold", changes.with_pitch(played, pitch), everything)
        yield _Twin("gentle", changes.gentle(played), everything)
    yield _Twin("musical", changes.musical(played, changes.shift_bars(played)), MUSICAL)
    phrases = range(changes.PHRASE, len(played.bars), changes.PHRASE)
    yield _Twin("musical phrases", changes.musical(played, phrases), MUSICAL_PHRASES)


def _touched(measure: str, original: Played, twin: Played, analysis: Analysis) -> bool:
    """Whether the twin changes any of the notes that a measure looks at."""
    a, b = original.notes, twin.notes
    if measure == "span":
        return (a.pitch.min(), a.pitch.max()) != (b.pitch.min(), b.pitch.max())
    if measure == "longest_dwell" and analysis.stays:
        longest = max(analysis.stays, key=lambda stay: stay.last - stay.first)
        moved = a.bar[a.pitch != b.pitch]
        return bool(((moved >= longest.first - 1) & (moved <= longest.last)).any())
    return True


def _share_moved(a: Played, b: Played) -> float:
    """Share of sounding time whose pitch the change moved, at the least.

    Notes of both are in order of onset and pitch, so that equal onsets pair up.
    """
    time = a.notes.duration
    return float(time[a.notes.pitch != b.notes.pitch].sum() / time.sum())


def compared(
    piece: Piece, change: str, measure: str, original: Analysis, twin: Analysis
) -> Iterator[Trial]:
    """Whether one measure ranks the original as the more mobile; nothing if not placed."""
    a, b = original.values[measure], twin.values[measure]
    if a.reason or b.reason or a.value is None or b.value is None:
        return
    better = a.value - b.value if measure in RISE else b.value - a.value
    tied = bool(np.isclose(a.value, b.value, rtol=1e-9, atol=1e-12))
    detail = f"{a.value:.4g} against {b.value:.4g}"
    yield _trial(piece, f"{change}: {measure}", better > 0 and not tied, tied, detail)


def _events(piece: Piece, change: str, original: Analysis, twin: Analysis) -> Iterator[Trial]:
    """Events must be fewer in a folded twin: those of movement, since a bass that leaps by
    octaves folds into a pedal point, and hands that lie apart into crossings."""
    if change != "fold":
        return
    for question, left in (("events", ()), ("events of movement", STILL)):
        a, b = (
            sum(each.kind not in left for each in found.events) for found in (original, twin)
        )
        yield _trial(piece, f"fold: {question}", b < a, a == b, f"{a} against {b}")


def _trial(
    piece: Piece, question: str, right: bool, tied: bool = False, detail: str = ""
) -> Trial:
    return Trial("twins", question, piece.kind, piece.half, piece.name, right, tied, detail)
