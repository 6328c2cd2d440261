"""Options toward an intention: changes tried, measured, and the best of each kind kept.

An option is offered where the work, measured with it as the piece itself would be,
comes nearer to what was asked for; how near is its gain. None is a rule.

Gains
-----
move at   the size of the shift at the bar, in its own thresholds (4.5 semitones of
          mass, 12 of an edge), at least 1; a shift that comes elsewhere costs a tenth
clear     strength of the entry at the bar (0 to 100), also hold (a low one)
lift      strength of the lifting at the bar
move      movement from bar to bar, in semitones, where there are more shifts
narrower  core span of the bars, in semitones, where there are no more shifts
lighter   share of the sound (weight) of the bars that goes, where the lowest note and
          the lower edge stay
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.analysis import Analysis, analyse
from corpusreg.errors import UsageError
from corpusreg.heights import find_bars
from corpusreg.measures.events import Event
from corpusreg.measures.shifts import EDGE_MOVES, MASS_MOVES, MASS_MOVES_LINE, Shift
from corpusreg.measures.texture import EDGE
from corpusreg.played import Played, perform
from corpusreg.revising import moves
from corpusreg.revising.contrast import FEWEST, phrase_bars
from corpusreg.revising.intentions import Intention
from corpusreg.revising.limits import Limits
from corpusreg.revising.moves import Move
from corpusreg.revising.units import Music
from corpusreg.rewrite import changed

__all__ = ["MOST", "Goal", "Option", "goal", "options"]

MOST = 5
LEAST_LIGHTER = 0.05  # of the sound
STAYS_LOW = 2  # semitones by which the lower edge may move where lightness is asked for
_ELSEWHERE = 0.1


@dataclass(frozen=True)
class Goal:
    """What to make great. first, last: the written bars it is about, half-open.

    gain: of an analysis; the larger the better, None where it does not serve at all.
    """

    intention: Intention
    first: int
    last: int
    gain: Callable[[Analysis], float | None]


@dataclass(frozen=True)
class Option:
    """A move that serves, the work measured with it, and its gain and the piece's own."""

    move: Move
    analysis: Analysis
    gain: float
    before: float | None
    notes: int


def goal(wanted: Intention, music: Music, before: Analysis, where: str) -> Goal:
    """The intention as a goal for this piece.

    Raises UsageError where it names bars that are not there, or a first bar with
    nothing before it.
    """
    labels = music.score.bars.labels
    if wanted.bar:
        at, _ = find_bars(labels, wanted.bar, where)
        if at == 0:
            raise UsageError(
                f"{where}: nothing comes before bar {wanted.bar}; name a later one"
            )
        return Goal(wanted, at, at + 1, _at_bar(wanted, at, before))
    first, last = find_bars(labels, wanted.bars, where) if wanted.bars else (0, len(labels))
    return Goal(wanted, first, last, _over_bars(wanted, first, last, before))


def options(music: Music, limits: Limits, before: Analysis, wanted: Goal) -> list[Option]:
    """At most MOST options, best first, of different kinds; none where nothing serves."""
    own = wanted.gain(before)
    best: dict[str, Option] = {}
    for move in _moves(music, limits, wanted):
        found = _tried(music, limits, move, wanted, own)
        if found and (move.key not in best or _rank(found) < _rank(best[move.key])):
            best[move.key] = found
    return sorted(best.values(), key=_rank)[:MOST]


def _rank(option: Option) -> tuple[float, int, int]:
    return -option.gain, option.notes, option.move.last - option.move.first


def _moves(music: Music, limits: Limits, wanted: Goal) -> Iterable[Move]:
    kind, first, last = wanted.intention.kind, wanted.first, wanted.last
    if kind == "lighter":
        return moves.lighter(music, first, last)
    page = analyse(perform(music.score, as_written=True))
    starts = phrase_bars(music, page)
    if kind == "narrower":
        return moves.narrower(music, limits, page, first, last)
    if kind == "move":
        return moves.restless(music, limits, page, first, last)
    if kind == "hold":
        return moves.before(music, first, starts)
    if kind == "lift":
        return moves.after(music, first, starts)
    return moves.around(music, first, starts)


def _tried(
    music: Music, limits: Limits, move: Move, wanted: Goal, own: float | None
) -> Option | None:
    """The option that a move makes, None where it breaks a limit or does not serve."""
    change = move.change
    count = music.attacks(change.touched)
    if count < FEWEST:
        return None
    played: Played | None
    if change.octaves.any():
        if not limits.inside(change):
            return None
        played = limits.heard(change)
    else:
        played = perform(changed(music.score, change))
    if played is None:
        return None
    analysis = analyse(played)
    gain = wanted.gain(analysis)
    if gain is None or (own is not None and gain <= own + 1e-9):
        return None
    return Option(move, analysis, gain, own, count)


def _at_bar(
    wanted: Intention, bar: int, before: Analysis
) -> Callable[[Analysis], float | None]:
    """Gain of what happens where a written bar is heard for the first time."""
    at = int(np.flatnonzero(before.played.bars.written == bar)[0])
    if wanted.kind == "move at":
        others = len(before.shifts) - len(_shifts_at(before, at))

        def shifted(analysis: Analysis) -> float | None:
            here = _shifts_at(analysis, at)
            extra = max(len(analysis.shifts) - len(here) - others, 0)
            sizes = [_size(shift, analysis.texture.single_line) for shift in here]
            return max(sizes) - _ELSEWHERE * extra if sizes else None

        return shifted
    kinds = ("lift",) if wanted.kind == "lift" else ("entry", "held_back", "solo")
    side = "low" if wanted.kind == "hold" else wanted.side

    def strongest(analysis: Analysis) -> float | None:
        found = events_at(analysis, at, kinds, side)
        return max((event.strength for event in found), default=None)

    return strongest


def events_at(analysis: Analysis, at: int, kinds: Sequence[str], side: str) -> Iterator[Event]:
    """Events of some kinds in a played bar. side: 'low', 'high' or '' for either."""
    for event in analysis.events:
        if event.first == at and event.kind in kinds and side in ("", event.side):
            yield event


def _shifts_at(analysis: Analysis, at: int) -> list[Shift]:
    return [shift for shift in analysis.shifts if shift.bar == at]


def _size(shift: Shift, single_line: bool) -> float:
    """Size of a shift in the threshold of what moved."""
    if shift.by in ("top", "bottom"):
        return shift.size / EDGE_MOVES
    return shift.size / (MASS_MOVES_LINE if single_line else MASS_MOVES)


def _over_bars(
    wanted: Intention, first: int, last: int, before: Analysis
) -> Callable[[Analysis], float | None]:
    inside = (before.played.bars.written >= first) & (before.played.bars.written < last)
    shifts = len(before.shifts)

    def sound(analysis: Analysis) -> NDArray[np.float64]:
        return np.asarray(analysis.texture.bars[inside].sum(axis=0), np.float64)

    def edges(analysis: Analysis) -> tuple[int, int]:
        heard = np.cumsum(sound(analysis))
        low, high = np.searchsorted(heard, np.array([EDGE, 1 - EDGE]) * heard[-1] - 1e-9)
        return int(low), int(high)

    full, (low, _) = sound(before).sum(), edges(before)

    def lighter(analysis: Analysis) -> float | None:
        left = 1 - float(sound(analysis).sum() / full)
        stays = abs(edges(analysis)[0] - low) <= STAYS_LOW
        return (
            left
            if stays and left >= LEAST_LIGHTER and analysis.lowest == before.lowest
            else None
        )

    def moving(analysis: Analysis) -> float | None:
        return analysis.values["movement_bar"].value if len(analysis.shifts) > shifts else None

    def narrow(analysis: Analysis) -> float | None:
        below, above = edges(analysis)
        return float(below - above) if len(analysis.shifts) <= shifts else None

    return {"lighter": lighter, "move": moving, "narrower": narrow}[wanted.kind]
