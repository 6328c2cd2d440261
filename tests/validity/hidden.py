"""Parts 2 and 4: stays and entrances hidden in real works must be found."""

from __future__ import annotations

import random
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.analysis import Analysis, analyse
from corpusreg.score.played import Played

from . import changes
from .materials import Piece
from .tally import Trial

__all__ = ["AIMS", "entrances", "stays", "unmoved", "whole_stays"]

SHARE = 0.2  # of the work's bars
OVERLAP = 0.5  # intersection over union
BANDS = (7, 12)  # semitones
CENTRES = {"middle": 0.5, "low": 0.1, "high": 0.9}  # shares of sounding time
ABSENT = 4  # bars without bass before it enters
LASTS = 4  # bars for which a part stays an octave lower

Mask = NDArray[np.bool_]

_FIRST = {"piano": 0.92, "quartet": 0.92, "song": 0.85}
_POOLED = "all bands"
AIMS = {
    ("stay", f"{question} ({case})", kind): rate if question == "first" else 0.98
    for kind, rate in _FIRST.items()
    for case in (_POOLED, "12, middle")
    for question in ("first", "first three")
} | {
    (part, question, kind): 1.0
    for kind in _FIRST
    for part, question in (
        ("stay", "whole work one stay"),
        ("entrance", "bass enters an octave below"),
        ("entrance", "same bar, bass part 8ve lower"),
    )
}


def stays(piece: Piece, seed: int, bands: tuple[int, ...] = BANDS) -> Iterator[Trial]:
    """A random fifth of a work moved into a narrow band, by width and centre."""
    played = piece.played
    passage = _passage(played, random.Random(f"{seed}:{piece.name}"))
    if passage is None:
        return
    first, last = passage
    rows = (played.notes.bar >= first) & (played.notes.bar < last)
    for width in bands:
        for centre, share in CENTRES.items():
            pitch = played.notes.pitch.copy()
            at = changes.middle(played.notes, share=share)
            pitch[rows] = changes.into_band(pitch[rows], at, width)
            found = analyse(changes.with_pitch(played, pitch))
            for case in (_POOLED, f"{width}, {centre}"):
                yield from _found(piece, case, first, last, found)


def unmoved(piece: Piece, seed: int) -> Trial | None:
    """The same passage left where it was, to compare with: is it among the first three?"""
    passage = _passage(piece.played, random.Random(f"{seed}:{piece.name}"))
    if passage is None:
        return None
    return list(_found(piece, "unmoved", *passage, analyse(piece.played)))[1]


def whole_stays(piece: Piece) -> Iterator[Trial]:
    """A work folded throughout must be one stay."""
    notes = piece.played.notes
    for width in BANDS:
        for share in CENTRES.values():
            pitch = changes.into_band(notes.pitch, changes.middle(notes, share=share), width)
            found = analyse(changes.with_pitch(piece.played, pitch)).stays
            detail = f"{len(found)} stays in a band of {width}"
            yield _trial(piece, "stay", "whole work one stay", len(found) == 1, detail)


def entrances(piece: Piece, seed: int) -> Iterator[Trial]:
    """A bass that enters, and a part that drops an octave, must be shifts at their bar."""
    draw = random.Random(f"{seed}:{piece.name}:entrance")
    yield from _bass_enters(piece, draw)
    if piece.kind == "quartet" and len(np.unique(piece.played.notes.part)) == 4:
        yield from _part_drops(piece, draw)


def _passage(played: Played, draw: random.Random) -> tuple[int, int] | None:
    """A random fifth of the bars in which at least half of the bars have an onset."""
    length = max(round(SHARE * len(played.bars)), 2)
    has = np.zeros(len(played.bars), bool)
    has[played.notes.bar] = True
    starts = [
        start
        for start in range(len(played.bars) - length + 1)
        if has[start : start + length].mean() >= 0.5
    ]
    if not starts:
        return None
    first = draw.choice(starts)
    return first, first + length


def _found(piece: Piece, case: str, first: int, last: int, found: Analysis) -> Iterator[Trial]:
    overlaps = [
        _overlap((first, last), (found.stays[index].first, found.stays[index].last))
        for index in found.ranking
    ]
    rank = next((r for r, o in enumerate(overlaps, start=1) if o >= OVERLAP), 0)
    detail = (
        f"bars {first}-{last} of {len(found.played.bars)}: rank {rank or 'none'}, "
        f"best overlap {max(overlaps):.2f}"
    )
    yield _trial(piece, "stay", f"first ({case})", rank == 1, detail)
    yield _trial(piece, "stay", f"first three ({case})", 1 <= rank <= 3, detail)


def _overlap(a: tuple[int, int], b: tuple[int, int]) -> float:
    inside = max(0, min(a[1], b[1]) - max(a[0], b[0]))
    return inside / (a[1] - a[0] + b[1] - b[0] - inside)


def _bass_enters(piece: Piece, draw: random.Random) -> Iterator[Trial]:
    """The lowest hand is silent for four bars and enters under the others.

    Asked of every such bar, and apart of those where the bass comes in an octave or more
    below the lowest note of the bar before it: elsewhere its register was not empty.
    """
    played = piece.played
    notes, hand = played.notes, changes.hands(played)
    if hand.max() < 1:
        return
    middles = [changes.middle(notes, hand == h) for h in range(int(hand.max()) + 1)]
    bass = hand == int(np.argmin(middles))
    plays, others = _bars_with(played, bass), _bars_with(played, ~bass)
    bars = [
        b
        for b in range(ABSENT, len(played.bars) - 1)
        if plays[b - 1 : b + 2].all() and others[b - 1 : b + 1].all()
    ]
    for bar in draw.sample(bars, min(3, len(bars))):
        gone = bass & (notes.bar < bar) & (notes.bar >= bar - ABSENT)
        changed = changes.without(played, gone)
        before = notes.pitch[~bass & (notes.bar == bar - 1)].min()
        depth = int(before) - changes.middle(notes, bass & (notes.bar == bar))
        questions = ["bass enters anywhere"]
        if depth >= 12:
            questions.append("bass enters an octave below")
        yield from _shifted(piece, questions, changed, bar, f"bass {depth} below")


def _part_drops(piece: Piece, draw: random.Random) -> Iterator[Trial]:
    """Each part of four drops an octave, in passing and where the bar before returns."""
    played = piece.played
    notes = played.notes
    parts = np.unique(notes.part)
    by_height = sorted(parts, key=lambda p: changes.middle(notes, notes.part == p))
    plays = np.array([_bars_with(played, notes.part == p) for p in parts]).all(axis=0)
    length = played.bars.length
    bars = [
        b
        for b in range(1, len(played.bars))
        if plays[b - 1 : b + 1].all() and length[b] == length[b - 1]
    ]
    for bar in draw.sample(bars, min(3, len(bars))):
        for rank, part in enumerate(by_height):
            name = ("bass", "tenor", "alto", "top")[rank]
            again = changes.repeat_bar_lower(played, part, bar)
            yield from _shifted(piece, [f"same bar, {name} part 8ve lower"], again, bar, "")
            lower = changes.octave_lower(played, part, bar, LASTS)
            yield from _shifted(piece, [f"{name} drops 8ve in passing"], lower, bar, "")


def _bars_with(played: Played, rows: Mask) -> Mask:
    has = np.zeros(len(played.bars), bool)
    has[played.notes.bar[rows]] = True
    return has


def _shifted(
    piece: Piece, questions: list[str], changed: Played, bar: int, detail: str
) -> Iterator[Trial]:
    found = any(shift.bar == bar for shift in analyse(changed).moves)
    for question in questions:
        yield _trial(piece, "entrance", question, found, f"bar {bar} {detail}".strip())


def _trial(piece: Piece, part: str, question: str, right: bool, detail: str) -> Trial:
    return Trial(part, question, piece.kind, piece.half, piece.name, right, False, detail)
