"""Which bars a report shows in notation: at most six passages, chosen from what was found.

Taken in this order until six are found: the bars of each measure that stands out, parts at
the edge of their range, the strongest event, the clearest shift, the stay most worth saying,
then further events, shifts and stays. A change is shown with the bar before it. What is
longer than LONGEST bars is shown by its beginning. A passage that lies for half or more in
one that is chosen adds its reason to that one, a change only where its own bar is shown.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from corpusreg.comparison.comparison import Comparison
from corpusreg.documents.report.model import Passage, Picture, Place
from corpusreg.score.played import segments
from corpusreg.system.phrases import capital
from corpusreg.system.plaintext import plain
from corpusreg.text import sentences
from corpusreg.text.bars import bar_range, first_times
from corpusreg.text.events import event_words, told_events
from corpusreg.text.players import lies_far, reaching

__all__ = ["LONGEST", "MOST", "passages", "place"]

MOST = 6
LONGEST = 4  # bars, about a line of music
_TOLD = 3  # measures that stand out, events, shifts and stays


@dataclass(frozen=True)
class _Candidate:
    """change: the bar that must be shown, None where any of them will do."""

    first: int
    last: int
    why: tuple[str, ...]
    part: str | None = None
    shortened: bool = False
    change: int | None = None


def place(c: Comparison, first: int, last: int) -> Place:
    """Played bars with their printed numbers in words."""
    return Place(first, last, bar_range(c.bars, first, last))


def passages(c: Comparison) -> tuple[Passage, ...]:
    """The passages in the order they are heard."""
    chosen: list[_Candidate] = []
    for candidate in map(_shortened, _candidates(c)):
        like = next((each for each in chosen if _same(each, candidate)), None)
        if like:
            why = tuple(dict.fromkeys((*like.why, *candidate.why)))
            chosen[chosen.index(like)] = replace(like, why=why)
        elif len(chosen) < MOST:
            chosen.append(candidate)
    chosen.sort(key=lambda each: (each.first, each.last))
    return tuple(_passage(c, number, each) for number, each in enumerate(chosen, start=1))


def _passage(c: Comparison, number: int, each: _Candidate) -> Passage:
    here = place(c, each.first, each.last)
    alone = f", {plain(each.part)} alone" if each.part else ""
    name = capital(here.words)
    return Passage(
        number=number,
        why=each.why,
        place=here,
        written=tuple(segments(c.bars, each.first, each.last)),
        part=each.part,
        shortened=each.shortened,
        picture=Picture(f"notation-{number}", f"{name}{alone}", f"{name} in notation{alone}"),
    )


def _candidates(c: Comparison) -> Iterator[_Candidate]:
    """All that might be shown, most worth showing first."""
    for each, _ in sentences.leading(c)[:_TOLD]:
        for first, last in first_times(c.bars, sorted(set(sentences.where(each, c))))[:1]:
            said = sentences.measure_words(each.measure, each.value, each.placement)
            yield _Candidate(first, last, (f"the piece {said}",))
    for player in reaching(c)[:_TOLD]:
        reach = player.lying.reach if player.lying else None
        if reach:
            part = player.name if len(c.players.parts) > 1 else None
            yield _Candidate(reach.first, reach.last, (lies_far(player),), part)
    kinds = (_events(c), _shifts(c), _stays(c))
    for row in range(_TOLD):
        for found in kinds:
            yield from found[row : row + 1]


def _events(c: Comparison) -> list[_Candidate]:
    """The strongest first."""
    told = told_events(c, _TOLD)
    return [
        _Candidate(event.first, event.last, (event_words(event, c.bars),))
        if event.last - event.first > 1
        else _with_bar_before(event.bar, event_words(event, c.bars))
        for event in told
    ]


def _shifts(c: Comparison) -> list[_Candidate]:
    """The clearest first."""
    told = sorted(sentences.clearest_shifts(c, _TOLD), key=lambda s: (-s.mass, s.bar))
    return [_with_bar_before(s.bar, sentences.shift_words(s, c.bars)) for s in told]


def _stays(c: Comparison) -> list[_Candidate]:
    told = sentences.told_stays(c, _TOLD)
    return [
        _Candidate(s.stay.first, s.stay.last, (f"a stay, {sentences.stay_words(s, c.bars)}",))
        for s in told
        if s.stay.bars > 1
    ]


def _with_bar_before(bar: int, why: str) -> _Candidate:
    return _Candidate(max(bar - 1, 0), bar + 1, (why,), change=bar)


def _shortened(each: _Candidate) -> _Candidate:
    if each.last - each.first <= LONGEST:
        return each
    return replace(each, last=each.first + LONGEST, shortened=True)


def _same(one: _Candidate, other: _Candidate) -> bool:
    """Whether the other lies for half or more in the one, in the same part or in all."""
    shared = min(one.last, other.last) - max(one.first, other.first)
    alike = one.part == other.part and (other.change is None or other.change < one.last)
    return alike and 2 * shared >= other.last - other.first
