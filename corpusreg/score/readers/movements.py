"""A file that holds several movements -> one Score each, with its bars as printed.

A movement is taken to begin where two of these are on the page: an end (a final barline
or a da capo before it); bar numbers that begin again at 0 or 1, with a new page, metre,
key, tempo or heading; the numeral of the next movement. Nothing sounds across. Trios,
variations and the like belong to the movement they stand in, whatever their bar numbers
do, and a bar or three without a numeral are no movement. Where the numbers begin again
and the rest is not there, the split is not certain: the file stays one work, and says so.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from corpusreg.score.notes import Bars, Score

__all__ = ["movements"]

_NUMERAL = re.compile(
    r"^\W*(?:(?:n[or]\.?|nº|mov(?:ement|t)?\.?)\s*)?([IVX]+|\d{1,2})\b\W", re.I
)
_ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII")
_SHORTEST = 4  # bars; what is shorter is an ossia or a sketch, unless it has a numeral
_ENDS = {"dacapo", "dalsegno", "fine"}
# Headings of what is part of a movement.
_INSIDE = re.compile(
    r"^\W*(?:[IVX\d]+\W+)?(trio|var(\b|iat|iaz)|minore?\b|maggiore\b|alternativo|coda|doubles?\b"
    r"|tempo (i\b|1|primo)|reprise|ripresa|verse|refrain|chorus|strophe)",
    re.IGNORECASE,
)


def movements(score: Score) -> list[Score]:
    """The movements of a score in order, numbered from 1; the score itself where it is one."""
    begins, doubt = _beginnings(score)
    if doubt:
        return [replace(score, assumed=(*score.assumed, doubt))]
    if not begins:
        return [score]
    edges = [0, *begins, len(score.bars)]
    return [
        _movement(score, first, last, number)
        for number, (first, last) in enumerate(pairwise(edges), 1)
    ]


def _beginnings(score: Score) -> tuple[list[int], str]:
    """First bars of the second and later movements; why there is doubt, or ''."""
    begins: list[int] = []
    again = _numbers_begin_again(score.bars)
    finals = {sign.bar for sign in score.signs if sign.kind == "final"}
    for bar in sorted(again | {final + 1 for final in finals}):
        heads = _headings(score, bar)
        if bar >= len(score.bars) or any(_INSIDE.search(text) for text in heads):
            continue
        ended = bar - 1 in finals or bool(score.bars.marks[bar - 1] & _ENDS)
        last = min((f + 1 for f in finals if f >= bar), default=len(score.bars))
        anew = bar in again and _begins_anew(score, bar) and last - bar >= _SHORTEST
        next_one = any(_numeral(text) == len(begins) + 2 for text in heads)
        if ended + anew + next_one > 1 and not _sounds_across(score, bar):
            begins.append(bar)
        elif bar in again:
            where = f"the {_ordinal(bar + 1)} bar of the file"
            return [], (
                f"bar numbers begin again at {where}, where it is not certain that a movement "
                "ends: read as one work"
            )
    return begins, ""


def _ordinal(number: int) -> str:
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if number % 100 in (11, 12, 13) else ending}"


def _numbers_begin_again(bars: Bars) -> set[int]:
    """Bars numbered 0 or 1 after a bar of a higher number."""
    found, last = set(), 0
    for bar, label in enumerate(bars.labels):
        if label.isdecimal():
            number = int(label)
            if number <= 1 and last > max(number, 1):
                found.add(bar)
            last = number
    return found


def _headings(score: Score, bar: int) -> list[str]:
    return [s.text for s in score.signs if s.bar == bar and s.kind == "heading"]


def _numeral(text: str) -> int:
    """Number of a movement that a heading begins with, 0 for none.

    >>> _numeral("IV. Finale"), _numeral("Vivace"), _numeral("No. 2 Adagio")
    (4, 0, 2)
    """
    found = _NUMERAL.match(f"{text} ")
    if found is None:
        return 0
    word = found.group(1)
    if word.isdecimal():
        return int(word)
    return _ROMAN.index(word) + 1 if word in _ROMAN else 0


def _begins_anew(score: Score, bar: int) -> bool:
    """Whether the page shows a new beginning at a bar, besides its number."""
    start = int(score.bars.start[bar])
    return any(sign.bar == bar and sign.kind != "final" for sign in score.signs) or any(
        tempo.tick == start for tempo in score.tempos
    )


def _sounds_across(score: Score, bar: int) -> bool:
    """Whether a note is tied or held over into a bar."""
    notes, start = score.notes, int(score.bars.start[bar])
    held = (notes["onset"] < start) & (notes["onset"] + notes["duration"] > start)
    tied = (notes["bar"] == bar) & (notes["onset"] == start) & notes["tie_in"]
    return bool(held.any() or tied.any())


def _movement(score: Score, first: int, last: int, number: int) -> Score:
    """Bars `first` to `last` (without it) as a work of their own."""
    bars = score.bars
    low = int(bars.start[first])
    high = int(bars.start[last - 1] + bars.length[last - 1])
    notes = score.notes[(score.notes["bar"] >= first) & (score.notes["bar"] < last)].copy()
    notes["bar"] -= first
    notes["onset"] -= low
    sung = np.bincount(notes["part"], minlength=len(score.parts))
    title = _title(_headings(score, first))
    return replace(
        score,
        # Words are counted for the whole file: a part that is silent here sings none.
        parts=tuple(
            replace(part, lyrics=min(part.lyrics, int(sung[i])))
            for i, part in enumerate(score.parts)
        ),
        bars=_bars(bars, first, last, low),
        notes=notes,
        dynamics=tuple(
            replace(d, tick=d.tick - low, end=None if d.end is None else min(d.end, high) - low)
            for d in score.dynamics
            if low <= d.tick < high
        ),
        pedals=tuple(
            replace(p, start=p.start - low, end=min(p.end, high) - low)
            for p in score.pedals
            if low <= p.start < high
        ),
        tempos=tuple(
            replace(t, tick=t.tick - low) for t in score.tempos if low <= t.tick < high
        ),
        metadata={**score.metadata, **({"movement": title} if title else {})},
        assumed=(*score.assumed, "the file holds several movements: each is a work of its own"),
        number=f"{score.number}.{number}" if score.number else str(number),
        first_bar=score.first_bar + first,
        signs=tuple(
            replace(s, bar=s.bar - first) for s in score.signs if first <= s.bar < last
        ),
    )


def _bars(bars: Bars, first: int, last: int, low: int) -> Bars:
    cut = slice(first, last)
    return Bars(
        labels=bars.labels[cut],
        start=bars.start[cut] - low,
        length=bars.length[cut],
        full=bars.full[cut],
        beat=bars.beat[cut],
        section=bars.section[cut],
        repeat_start=bars.repeat_start[cut],
        repeat_end=bars.repeat_end[cut],
        endings=bars.endings[cut],
        marks=bars.marks[cut],
        order=None
        if bars.order is None
        else tuple(bar - first for bar in bars.order if first <= bar < last),
    )


def _title(headings: Sequence[str]) -> str:
    """What stands over a movement: the heading with its numeral, and the words after it."""
    numbered = [text for text in headings if _numeral(text)]
    # What a movement is called begins with a capital; 'arco' does not.
    words = [t for t in headings if t not in numbered and t[:1].isupper() and len(t) < 60]
    kept = [text.strip(" \n") for text in (*numbered[:1], *words[:1])]
    return " ".join(" ".join(kept).split())
