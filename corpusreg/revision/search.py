"""Options toward an intention: changes tried, measured, and the best of each kind kept.

An option is offered where the work, measured with it as the piece itself would be,
comes nearer to what was asked for; how near is its gain. None is a rule.

Of two changes the smaller one comes first where both gain alike: see `_rank`.

Gains
-----
move at   the size of the shift at the bar, in its own thresholds (4.5 semitones of
          mass, 12 of an edge), at least 1; a shift that comes elsewhere costs a tenth
clear     strength of the entry at the bar (0 to 100), also hold (a low one)
lift      strength of the lifting at the bar
move      registral activity, in semitones, where there are no fewer shifts
narrower  main range of the bars, in semitones, where there are no more shifts
respace   bars whose lowest notes, struck together, lie too close, the fewer the better
as in     how much what happens at the bar is like the model (below);
          where no bar is named, at one of several; where the model is a shift, one that
          comes elsewhere costs a tenth
give      beats of the bars that lie outside what is comfortable for a player, the fewer the
          better
lighter   share of the sound of the bars, as long as it is written, that goes, where the
          lowest note and the lower edge stay

Models
------
A model is a passage of the reference (`corpusreg.comparison.examples`). Like it is, where a
bar is heard for the first time,

shift           a shift of the same direction, by the same (mass, top or bottom)
entry           an entry after about as many bars of absence
held-back-bass  one at the low end, after a long wait; held-back-top: at the high end
lift            a held or repeated sound on the same side that stops after about as long
dwell           a narrow stay of about as many bars that begins there, or a bar from there

with the smaller of the two sizes (semitones or bars) LIKE of the greater one or more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.examples import Example
from corpusreg.comparison.heights import find_bars, find_part
from corpusreg.comparison.placing import part_names
from corpusreg.comparison.practice import crowded
from corpusreg.measures.analysis import is_narrow
from corpusreg.measures.events import Event
from corpusreg.measures.height import longest_run
from corpusreg.measures.shifts import EDGE_MOVES, MASS_MOVES, MASS_MOVES_LINE, Shift
from corpusreg.measures.stays import Stay
from corpusreg.measures.texture import EDGE, texture
from corpusreg.revision import moves
from corpusreg.revision.contrast import FEWEST, phrase_bars
from corpusreg.revision.intentions import Intention
from corpusreg.revision.limits import MoveLimits
from corpusreg.revision.moves import Move
from corpusreg.revision.units import LazyAnalysis, Music
from corpusreg.score.played import Played, perform
from corpusreg.system.errors import UsageError

__all__ = [
    "MOST", "Option", "alike", "events_at", "first_played", "goals", "options", "places",
    "wait",
]  # fmt: skip

Gain = Callable[[LazyAnalysis], float | None]
MOST = 5
LEAST_LIGHTER = 0.05  # of the sound
STAYS_LOW = 2  # semitones by which the lower edge may move where lightness is asked for
_SIDES = {"bass": "low", "top": "high"}
_ELSEWHERE = 0.1
# A change of everything counts half as much as one of little, two octaves half as much as
# one, and one that makes a line leap where nothing was asked for half as much as one that
# moves it as a whole.
_MUCH, _FAR, _LEAPS = 0.5, 0.5, 0.5


@dataclass(frozen=True)
class Goal:
    """What to make great. first, last: the written bars it is about, half-open.

    gain: of a work as heard; the larger the better, None where it does not serve at all.
    model: the passage that it should be like.
    """

    intention: Intention
    first: int
    last: int
    gain: Gain
    model: Example | None = None


@dataclass(frozen=True)
class Option:
    """A move that serves a goal, the work measured with it, its gain and the piece's own."""

    goal: Goal
    move: Move
    measured: LazyAnalysis
    gain: float
    before: float | None
    notes: int


def goals(
    wanted: Intention,
    music: Music,
    before: LazyAnalysis,
    where: str,
    model: Example | None = None,
) -> list[Goal]:
    """The intention as goals for this piece, of which one is to be reached.

    model: the passage of an 'as in'. Raises UsageError where the intention names bars that
    are not there, a first bar with nothing before it, or a bar that is like the model.
    """
    labels = music.score.bars.labels
    if model:
        return _like(wanted, model, music, before, where)
    if wanted.kind == "give":
        return [_given(wanted, music, where)]
    if wanted.bar:
        at, _ = find_bars(labels, wanted.bar, where)
        if at == 0:
            raise UsageError(
                f"{where}: nothing comes before bar {wanted.bar}; name a later one"
            )
        return [Goal(wanted, at, at + 1, _at_bar(wanted, at, before))]
    first, last = find_bars(labels, wanted.bars, where) if wanted.bars else (0, len(labels))
    return [Goal(wanted, first, last, _over_bars(wanted, first, last, before))]


def _given(wanted: Intention, music: Music, where: str) -> Goal:
    """The line of a part, in the bars that are named or for as long as it lies far out."""
    page = _page(music).played
    part = find_part(part_names(page), wanted.part, where)
    own = [each for each in music.hands if each.part == part]
    if len(own) > 1:
        raise UsageError(f"{where}: a part on several staves cannot be given to another player")
    notes = page.notes.take(page.notes.part == part)
    low, high = own[0].comfortable
    pitches = np.arange(128)
    far = (pitches < low) | (pitches > high)
    labels = music.score.bars.labels
    run = find_bars(labels, wanted.bars, where) if wanted.bars else longest_run(notes, far)
    if run is None or not far[notes.pitch[(notes.bar >= run[0]) & (notes.bar < run[1])]].any():
        there = f"in bars {wanted.bars}" if wanted.bars else "for long anywhere"
        raise UsageError(
            f"{where}: '{wanted.part}' does not lie outside what is comfortable {there}; name "
            "other bars, as in 'give PART in 9-16'"
        )
    comfortable = {hand.part: hand.comfortable for hand in music.hands}

    def suits(version: LazyAnalysis) -> float:
        played = version.played
        written = played.bars.written[played.notes.bar]
        notes = played.notes.take((written >= run[0]) & (written < run[1]))
        ends = np.array([comfortable[each] for each in notes.part.tolist()]).reshape(-1, 2)
        out = (notes.pitch < ends[:, 0]) | (notes.pitch > ends[:, 1])
        return -float((out * notes.duration / played.bars.beat[notes.bar]).sum())

    return Goal(wanted, *run, suits)


def options(
    music: Music, limits: MoveLimits, before: LazyAnalysis, wanted: Sequence[Goal]
) -> list[Option]:
    """At most MOST options, best first, of different kinds; none where nothing serves."""
    rank = partial(_rank, music=music)
    page = _page(music)
    best: dict[str, Option] = {}
    for each in wanted:
        own = each.gain(before)
        for move in _moves(music, limits, page, each):
            found = _tried(music, limits, move, each, own)
            if found and (move.key not in best or rank(found) < rank(best[move.key])):
                best[move.key] = found
    return sorted(best.values(), key=rank)[:MOST]


def _rank(option: Option, music: Music) -> tuple[float, int, int]:
    """Options with much gain, little change and whole lines come first."""
    gained = option.gain - (option.before or 0.0)
    change, goal = option.move.change, option.goal
    worth = gained * (1 - _MUCH * option.notes / len(music.score.notes))
    if int(np.abs(change.octaves).max(initial=0)) > 1:
        worth *= _FAR
    at_bar = bool(goal.intention.bar or goal.model)
    if at_bar and music.leaps(change, goal.first):
        worth *= _LEAPS
    return -worth, option.notes, option.move.last - option.move.first


def _page(music: Music) -> LazyAnalysis:
    """The score in the order of the page, whose shifts begin phrases."""
    return LazyAnalysis(perform(music.score, as_written=True))


def _moves(
    music: Music, limits: MoveLimits, page: LazyAnalysis, wanted: Goal
) -> Iterable[Move]:
    kind, first, last = wanted.intention.kind, wanted.first, wanted.last
    if kind == "give":
        part = find_part(part_names(page.played), wanted.intention.part, "")
        return moves.given(music, part, first, last)
    starts = phrase_bars(music, page)
    if kind == "lighter":
        return moves.lighter(music, first, last, starts)
    if wanted.model and wanted.model.kind != "dwell":
        return moves.like(music, first, starts, wait(wanted.model))
    if kind == "narrower" or wanted.model:
        return moves.narrower(music, limits, page, first, last)
    if kind == "move":
        return moves.restless(music, limits, page, first, last)
    if kind == "respace":
        return moves.respaced(music, first, last)
    if kind == "hold":
        return chain(moves.before(music, first, starts), moves.rests(music, first, starts))
    if kind == "lift":
        return moves.after(music, first, starts)
    if kind == "clear":
        return chain(moves.around(music, first, starts), moves.rests(music, first, starts))
    return moves.around(music, first, starts)


def _tried(
    music: Music, limits: MoveLimits, move: Move, wanted: Goal, own: float | None
) -> Option | None:
    """The option that a move makes, None where it breaks a limit or does not serve."""
    change = move.change
    handed = change.exchange.rows(music.score.notes) if change.exchange else False
    count = music.attacks(change.touched | handed)
    if count < FEWEST:
        return None
    played: Played | None
    if change.exchange:
        played = limits.performed(change)
    elif change.octaves.any():
        if not limits.inside(change):
            return None
        played = limits.performed(change)
    else:
        played = limits.rested(change)
    if played is None:
        return None
    version = LazyAnalysis(played)
    gain = wanted.gain(version)
    if gain is None or (own is not None and gain <= own + 1e-9):
        return None
    return Option(wanted, move, version, gain, own, count)


def _like(
    wanted: Intention, model: Example, music: Music, before: LazyAnalysis, where: str
) -> list[Goal]:
    labels, count = music.score.bars.labels, len(music.score.bars)
    if wanted.bar:
        at, _ = find_bars(labels, wanted.bar, where)
        if at == 0 and model.kind != "dwell":
            raise UsageError(
                f"{where}: nothing comes before bar {wanted.bar}; name a later one"
            )
        if alike(model, before, first_played(before, at)):
            raise UsageError(
                f"{where}: bar {wanted.bar} is like that passage already; name another bar"
            )
        tried = [at]
    else:
        starts = phrase_bars(music, _page(music))
        heard = set(before.played.bars.written.tolist())
        begins = [a for a, _ in moves.phrases(starts, 0, count) if a in heard]
        tried = [
            bar
            for bar in places(model, begins, count)
            if not alike(model, before, first_played(before, bar))
        ]
        if not tried and wait(model) > 1:
            raise UsageError(
                f"{where}: no place for one of about {wait(model)} bars that is not like it "
                f"already (the piece has {count}); choose another passage"
            )
    length = wait(model) if model.kind == "dwell" else 1
    return [
        Goal(wanted, bar, min(bar + length, count), _likeness(model, bar, before), model)
        for bar in tried
    ]


def _likeness(model: Example, bar: int, before: LazyAnalysis) -> Gain:
    at, shifts = first_played(before, bar), len(before.shifts)

    def gain(version: LazyAnalysis) -> float | None:
        found = alike(model, version, at)
        if not found:
            return None
        extra = max(len(version.shifts) - 1 - shifts, 0) if model.kind == "shift" else 0
        return found[0][0] - _ELSEWHERE * extra

    return gain


def _at_bar(wanted: Intention, bar: int, before: LazyAnalysis) -> Gain:
    """Gain of what happens where a written bar is heard for the first time."""
    at = first_played(before, bar)
    others = len(before.shifts) - len(_shifts_at(before, at))

    def shifted(version: LazyAnalysis) -> float | None:
        here = _shifts_at(version, at)
        extra = max(len(version.shifts) - len(here) - others, 0)
        sizes = [_size(shift, version.texture.single_line) for shift in here]
        return max(sizes) - _ELSEWHERE * extra if sizes else None

    def strongest(version: LazyAnalysis) -> float | None:
        found = events_at(version, at, wanted)
        return max((event.strength for event in found), default=None)

    return shifted if wanted.kind == "move at" else strongest


def first_played(version: LazyAnalysis, bar: int) -> int:
    """The played bar in which a written bar is heard for the first time."""
    return int(np.flatnonzero(version.played.bars.written == bar)[0])


def events_at(version: LazyAnalysis, at: int, wanted: Intention) -> Iterator[Event]:
    """Events in a played bar that are what is wanted."""
    side = "low" if wanted.kind == "hold" else wanted.side
    for event in version.events:
        if event.bar != at or side not in ("", _SIDES.get(event.place, "")):
            continue
        ends = event.kind == "pedal_point" and event.ending not in ("", "with the piece")
        if ends if wanted.kind == "lift" else event.kind != "pedal_point":
            yield event


def _shifts_at(version: LazyAnalysis, at: int) -> list[Shift]:
    return [shift for shift in version.shifts if shift.bar == at]


def _size(shift: Shift, single_line: bool) -> float:
    """Size of a shift in the threshold of what moved."""
    if shift.by in ("top", "bottom"):
        return shift.size / EDGE_MOVES
    return shift.size / (MASS_MOVES_LINE if single_line else MASS_MOVES)


def _over_bars(wanted: Intention, first: int, last: int, before: LazyAnalysis) -> Gain:
    inside = (before.played.bars.written >= first) & (before.played.bars.written < last)
    shifts = len(before.shifts)
    light = wanted.kind == "lighter"

    def sound(version: LazyAnalysis) -> NDArray[np.float64]:
        whole = texture(version.played.notes, version.played.bars) if light else version.texture
        return np.asarray(whole.bars[inside].sum(axis=0), np.float64)

    def edges(version: LazyAnalysis) -> tuple[int, int]:
        reach = np.cumsum(sound(version))
        low, high = np.searchsorted(reach, np.array([EDGE, 1 - EDGE]) * reach[-1] - 1e-9)
        return int(low), int(high)

    full, (low, _) = sound(before).sum(), edges(before)

    def lighter(version: LazyAnalysis) -> float | None:
        left = 1 - float(sound(version).sum() / full)
        stays = abs(edges(version)[0] - low) <= STAYS_LOW
        serves = stays and left >= LEAST_LIGHTER and version.lowest == before.lowest
        return left if serves else None

    def moving(version: LazyAnalysis) -> float | None:
        return version.movement if len(version.shifts) >= shifts else None

    def narrow(version: LazyAnalysis) -> float | None:
        below, above = edges(version)
        return float(below - above) if len(version.shifts) <= shifts else None

    def clear(version: LazyAnalysis) -> float | None:
        return -float(sum(bool(inside[each.bar]) for each in crowded(version.played)))

    return {"lighter": lighter, "move": moving, "narrower": narrow, "respace": clear}[
        wanted.kind
    ]


LIKE = 2 / 3
PLACES = 8  # that are tried where none is named
Found = Shift | Event | Stay


def alike(model: Example, version: LazyAnalysis, at: int) -> list[tuple[float, Found]]:
    """What is like the model in a played bar, with how much (LIKE to 1), the most first."""
    found = [(_share(model, size), each) for each, size in _sized(model, version, at)]
    return sorted(
        ((share, each) for share, each in found if share >= LIKE), key=lambda pair: -pair[0]
    )


def wait(model: Example) -> int:
    """Bars that the model lasts or waits, at least one; a shift has none and gives one."""
    return max(round(model.facts["bars" if model.kind == "dwell" else "silence"] or 1), 1)


def places(model: Example, begins: Sequence[int], count: int) -> list[int]:
    """Written bars where something like the model could be, at most PLACES, spread.

    begins: where phrases begin. count: how many bars there are.
    """
    least = round(LIKE * wait(model))
    if model.kind == "dwell":
        fit = [bar for bar in begins if bar + least <= count]
    elif model.kind == "shift":
        fit = [bar for bar in begins if bar > 0]
    else:
        fit = [bar for bar in begins if bar >= max(least, 1)]
    step = max(len(fit) - 1, 1) / (PLACES - 1)
    return fit if len(fit) <= PLACES else [fit[round(step * n)] for n in range(PLACES)]


def _share(model: Example, size: float) -> float:
    measured = {"shift": "size", "dwell": "bars"}.get(model.kind, "silence")
    own = model.facts[measured]
    return min(size, own) / max(size, own) if size > 0 and own > 0 else 0.0


def _sized(model: Example, version: LazyAnalysis, at: int) -> Iterator[tuple[Found, float]]:
    """Things of the model's kind in a played bar, and their sizes."""
    if model.kind == "shift":
        for shift in version.shifts:
            if shift.bar == at and shift.direction == model.facts["direction"]:
                yield shift, _moved(shift, model.facts["moved"])
    elif model.kind == "dwell":
        for stay in version.stays:
            if abs(stay.first - at) <= 1 and is_narrow(stay, version.texture.single_line):
                yield stay, stay.bars
    else:
        for event in version.events:
            if event.bar == at and event.kind == model.kind.replace("-", "_"):
                yield event, event.silence


def _moved(shift: Shift, by: str) -> float:
    return {"top": abs(shift.top), "bottom": abs(shift.bottom)}.get(by, shift.mass)
