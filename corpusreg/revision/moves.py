"""Small changes that may serve an intention: whole phrases of hands by octaves, or less.

A `Move` is tried by `corpusreg.revision.search`; nothing here is measured.

Conventions: bars are written bars, half-open. `key` says what kind of change it is:
of several with one key only the best is offered.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.practice import CLEARLY
from corpusreg.instruments.limits import low_interval_limit
from corpusreg.revision.contrast import contrast, phrase_bars
from corpusreg.revision.limits import SPAN, MoveLimits
from corpusreg.revision.units import Hand, HandGroup, LazyAnalysis, Music, groups
from corpusreg.score.rewrite import Change, Exchange
from corpusreg.system.phrases import joined

__all__ = [
    "Move", "after", "around", "before", "given", "lighter", "like", "narrower", "phrases",
    "respaced", "restless", "rests",
]  # fmt: skip

_FEW = 3  # hands up to which two octaves are tried, too
_LENGTHS = (2, 4, 8)  # bars of a passage that ends with no phrase
_FAST = 0.25  # of a hand's notes between the beats, from which its figure is one of quavers
_LINES = ("strings", "woodwind", "brass")  # whose lines can change hands
_SHORTEST = 4  # bars of a phrase that is moved against the next

Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Move:
    """A change, its kind, the bars it is in, and what it does, without the bars."""

    key: str
    change: Change
    first: int
    last: int
    what: str


def after(music: Music, bar: int, starts: Sequence[int]) -> Iterator[Move]:
    """Groups of hands moved from a bar on, to the end of a phrase or for some bars."""
    count = len(music.score.bars)
    later = [b for b in starts if b >= bar + _LENGTHS[0]][:3]
    ends = {*later, *(min(bar + n, count) for n in _LENGTHS), _section(music, bar), count}
    for end in sorted(ends):
        yield from _octave_moves(music, bar, end)


def before(music: Music, bar: int, starts: Sequence[int]) -> Iterator[Move]:
    """Groups of hands moved up to a bar, from the beginning of a phrase or of the piece."""
    earlier = [b for b in starts if b <= bar - _LENGTHS[0]][-3:]
    begins = {*earlier, *(max(bar - n, 0) for n in _LENGTHS), 0}
    for begin in sorted(begins - {bar}, reverse=True):
        yield from _octave_moves(music, begin, bar)


def rests(music: Music, bar: int, starts: Sequence[int]) -> Iterator[Move]:
    """Groups of hands that rest up to a bar, for some bars or from where a phrase begins.

    Never all of them.
    """
    earlier = [b for b in starts if b <= bar - _LENGTHS[0]][-1:]
    begins = {*earlier, *(max(bar - n, 0) for n in _LENGTHS)} - {bar}
    for begin in sorted(begins, reverse=True):
        for group, rows in _sounding(music, [(begin, bar)]):
            if len(group.hands) < len(music.hands):
                what = f"{group.name} {'rests' if len(group.hands) == 1 else 'rest'}"
                yield from _silenced(what, _whole(music, rows), begin, bar, what)


def around(music: Music, bar: int, starts: Sequence[int]) -> Iterator[Move]:
    """Hands moved one way up to a bar, and others from there on."""
    yield from after(music, bar, starts)
    yield from before(music, bar, starts)


def like(music: Music, bar: int, starts: Sequence[int], length: int) -> Iterator[Move]:
    """Hands moved in the phrase from a bar on, in the one before it, or so long before it."""
    later = [b for b in starts if b >= bar + _LENGTHS[0]]
    yield from _octave_moves(music, bar, min([*later, len(music.score.bars)]))
    earlier = [b for b in starts if b <= bar - _LENGTHS[0]]
    for begin in sorted({max([0, *earlier]), max(bar - length, 0)} - {bar}):
        yield from _octave_moves(music, begin, bar)


def _octave_moves(music: Music, first: int, last: int) -> Iterator[Move]:
    steps = (-1, 1, -2, 2) if len(music.hands) <= _FEW else (-1, 1)
    for group, rows in _sounding(music, [(first, last)]):
        for step in steps:
            yield _octaves(music, rows, step, group, first, last)
    outer = {0, len(music.hands) - 1}
    sound = [music.passage(HandGroup((hand,), ""), first, last).any() for hand in outer]
    if len(outer) == 2 and all(sound):
        for step in (1, -1):
            yield _apart(music, step, first, last)


def _sounding(
    music: Music, passages: Sequence[tuple[int, int]]
) -> list[tuple[HandGroup, Flags]]:
    """Groups with notes in some passages, and these; of equal ones that of fewest hands."""
    found: dict[bytes, tuple[HandGroup, Flags]] = {}
    for group in groups(music.hands):
        rows = np.zeros(len(music.score.notes), bool)
        for a, b in passages:
            rows |= music.passage(group, a, b)
        known = found.get(rows.tobytes())
        if rows.any() and (known is None or len(group.hands) < len(known[0].hands)):
            found[rows.tobytes()] = group, rows
    return list(found.values())


def _octaves(
    music: Music, rows: Flags, step: int, group: HandGroup, first: int, last: int
) -> Move:
    way = f"{_octave(step)} {'higher' if step > 0 else 'lower'}"
    change = Change.of(len(rows), np.where(rows, step, 0))
    return Move(f"{group.name} {way.split()[-1]}", change, first, last, f"{group.name} {way}")


def _octave(step: int) -> str:
    return "an octave" if abs(step) == 1 else "two octaves"


def _apart(music: Music, step: int, first: int, last: int) -> Move:
    """The highest hand one way and the lowest the other: apart (1) or together (-1)."""
    low, high = 0, len(music.hands) - 1
    octaves = np.zeros(len(music.score.notes), np.int64)
    octaves[music.passage(HandGroup((high,), ""), first, last)] = step
    octaves[music.passage(HandGroup((low,), ""), first, last)] = -step
    way = "apart" if step > 0 else "together"
    names = f"{music.hands[low].name} and {music.hands[high].name}"
    what = f"{names} an octave each, {'away from' if step > 0 else 'towards'} each other"
    return Move(way, Change.of(len(octaves), octaves), first, last, what)


def _section(music: Music, bar: int) -> int:
    """The bar in which the next section begins, or the end."""
    later = np.flatnonzero(music.score.bars.section[bar + 1 :])
    return bar + 1 + int(later[0]) if len(later) else len(music.score.bars)


def respaced(music: Music, first: int, last: int) -> Iterator[Move]:
    """The second lowest note of close low chords an octave higher, where the hand reaches it;
    or a whole upper part.
    """
    notes = music.score.notes
    raised = np.zeros(len(notes), bool)
    for rows, pitch, _ in _chords(music):
        bottom, second = int(pitch[0]), int(pitch[1])
        limit = low_interval_limit(second - bottom)
        reach = max(SPAN, int(pitch[-1]) - bottom)
        if (
            first <= notes["bar"][rows[0]] < last
            and limit is not None
            and bottom <= limit - CLEARLY
            and second + 12 - bottom <= reach
            and second + 12 not in pitch
        ):
            raised |= music.chain == music.chain[rows[1]]
    if raised.any():
        change = Change.of(len(raised), np.where(raised, 1, 0))
        what = "the second lowest note of close low chords an octave higher"
        yield Move("low chords respaced", change, first, last, what)
    for hand in range(1, len(music.hands)):
        group = HandGroup((hand,), music.hands[hand].name)
        yield _octaves(music, music.passage(group, first, last), 1, group, first, last)


def narrower(
    music: Music, limits: MoveLimits, page: LazyAnalysis, first: int, last: int
) -> Iterator[Move]:
    """Hands drawn together for a whole passage, or phrase by phrase."""
    yield from _octave_moves(music, first, last)
    change = contrast(music, limits, page, "narrow", first, last)
    what = "phrases that lie far out an octave nearer to the middle"
    yield Move("phrases inward", change, first, last, what)


def restless(
    music: Music, limits: MoveLimits, page: LazyAnalysis, first: int, last: int
) -> Iterator[Move]:
    """Every other phrase moved, single phrases moved, or all opened out."""
    passages = phrases(phrase_bars(music, page), first, last)
    for odd in (0, 1):
        for group, rows in _sounding(music, passages[odd::2]):
            for step in (-1, 1):
                move = _octaves(music, rows, step, group, first, last)
                what = f"every other phrase: {move.what}"
                yield Move(f"alternate {move.key}", move.change, first, last, what)
    for a, b in passages[1:]:
        for group, rows in _sounding(music, [(a, b)]):
            for step in (-1, 1):
                yield _octaves(music, rows, step, group, a, b)
    change = contrast(music, limits, page, "open", first, last)
    yield Move("phrases outward", change, first, last, "phrases an octave or two further out")


def phrases(starts: Sequence[int], first: int, last: int) -> list[tuple[int, int]]:
    """Phrases of _SHORTEST bars or more; where nothing divides the music, of just these."""
    found = [first]
    for bar in [*(b for b in starts if first < b < last), last]:
        while bar - found[-1] >= 2 * _SHORTEST:
            found.append(found[-1] + _SHORTEST)
        if bar < last and bar - found[-1] >= _SHORTEST:
            found.append(bar)
    return list(pairwise([*found, last]))


def lighter(
    music: Music, first: int, last: int, starts: Sequence[int]
) -> Iterator[Move]:  # fmt: skip
    """Fewer notes in chords or in a figure, or rests for an inner part; no pitch moves."""
    notes = music.score.notes
    inside = (notes["bar"] >= first) & (notes["bar"] < last)
    ways = [
        ("without octave doublings", _doublings(music)),
        ("without the inner notes of chords", _inner(music)),
    ]
    for what, rows in ways:
        thin = _whole(music, rows & inside)
        for group in groups(music.hands):
            silent = thin & np.logical_or.reduce([music.hands[h].rows for h in group.hands])
            yield from _silenced(what, silent, first, last, f"{group.name} {what}")
    for hand in music.hands[:-1]:
        off, kept = _off_beat(music, inside & hand.rows)
        what = f"{hand.name} on {kept}, with the lowest note of each bar"
        yield from _silenced("figure thinned", _whole(music, off), first, last, what)
    passages = phrases(starts, first, last)
    for hand in music.hands[1:-1]:
        for odd in (0, 1):
            rest = np.zeros(len(notes), bool)
            for a, b in passages[odd::2]:
                rest |= hand.rows & (notes["bar"] >= a) & (notes["bar"] < b)
            what = f"every other phrase: {hand.name} rests"
            yield from _silenced("an inner part rests", _whole(music, rest), first, last, what)


def given(music: Music, part: int, first: int, last: int) -> Iterator[Move]:
    """The line of a part and that of another exchanged, each where it lies or an octave away.

    Only lines on one staff of instruments that are known and not sung, where fewer notes then
    lie outside what is comfortable, and no tie or slur is torn.
    """
    notes, chain = music.score.notes, music.chain
    lines = [each for each in music.hands if _alone(music, each)]
    giver = next((each for each in lines if each.part == part), None)
    for taker in lines if giver else ():
        swap = Exchange(part, taker.part, first, last)
        handed = swap.rows(notes)
        ends = (handed[a] != handed[b] for a, b in music.slurs)
        if giver is None or taker is giver or (handed != handed[chain]).any() or any(ends):
            continue
        own, other = handed & giver.rows, handed & taker.rows
        here, before = _outside(music, own, giver, 0), _outside(music, other, taker, 0)
        ways = []
        for a, b in product((0, 1, -1), (0, 1, -1) if other.any() else (0,)):
            there, back = _outside(music, own, taker, a), _outside(music, other, giver, b)
            fits = _fits(music, own, taker, a) and _fits(music, other, giver, b)
            if fits and there < here and there + back < here + before:
                ways.append((there + back, abs(a) + abs(b), a, b))
        for _, _, a, b in sorted(ways)[:2]:
            octaves = np.where(own, a, 0) + np.where(other, b, 0)
            change = Change(octaves, np.zeros(len(notes), bool), swap)
            what = _handed(giver.name, taker.name, a, b, rests=not other.any())
            yield Move(f"to {taker.name}", change, first, last, what)


def _alone(music: Music, hand: Hand) -> bool:
    """Whether a hand is all of a part that plays a line, and does not sing."""
    several = sum(each.part == hand.part for each in music.hands) > 1
    sung = music.score.parts[hand.part].lyrics > 0
    return not several and not sung and hand.family in _LINES


def _outside(music: Music, rows: Flags, hand: Hand, octaves: int) -> int:
    """Ticks of some notes, moved, that lie outside what is comfortable for a hand."""
    notes = music.score.notes[rows]
    pitch = notes["pitch"] + 12 * octaves
    low, high = hand.comfortable
    return int(notes["duration"][(pitch < low) | (pitch > high)].sum())


def _fits(music: Music, rows: Flags, hand: Hand, octaves: int) -> bool:
    pitch = music.score.notes["pitch"][rows] + 12 * octaves
    return bool(((pitch >= hand.low) & (pitch <= hand.high)).all())


def _handed(giver: str, taker: str, own: int, other: int, *, rests: bool) -> str:
    def far(octaves: int) -> str:
        return f"an octave {'higher' if octaves > 0 else 'lower'}"

    if rests:
        return (
            f"{taker} plays the line of {giver}{', ' + far(own) if own else ''}; {giver} rests"
        )
    moved = [f"that of {name} {far(by)}" for name, by in ((giver, own), (taker, other)) if by]
    return f"{giver} and {taker} exchange lines{', ' + joined(moved) if moved else ''}"


def _silenced(key: str, silent: Flags, first: int, last: int, what: str) -> Iterator[Move]:
    if silent.any():
        yield Move(key, Change.of(len(silent), silent=silent), first, last, what)


def _off_beat(music: Music, rows: Flags) -> tuple[Flags, str]:
    """Notes of a figure that a thinner one does without, and what it keeps, in words.

    A figure faster than the beat keeps its beats, any other the strong ones. The lowest
    note of each bar stays, so that the bass is heard wherever it falls.
    """
    notes, bars = music.score.notes, music.score.bars
    bar = notes["bar"]
    beat = bars.beat[bar]
    into = notes["onset"] - bars.start[bar]
    fast = np.mean((into % beat != 0)[rows]) > _FAST if rows.any() else False
    half = np.where(bars.length[bar] % (2 * beat), bars.length[bar], bars.length[bar] // 2)
    lowest = np.full(len(bars), 128, np.int64)
    np.minimum.at(lowest, bar[rows], notes["pitch"][rows])
    off = rows & (into % (beat if fast else half) != 0) & (notes["pitch"] > lowest[bar])
    return off, "the beats" if fast else "the strong beats"


def _whole(music: Music, rows: Flags) -> Flags:
    """Of tied notes only those of which every part may go; never a grace note."""
    notes, chain = music.score.notes, music.chain
    stays = np.zeros(len(notes), bool)
    np.logical_or.at(stays, chain, ~rows | notes["grace"])
    return np.asarray(rows & ~stays[chain], np.bool_)


def _chords(music: Music) -> Iterator[tuple[Ints, Ints, bool]]:
    """Rows and pitches of every chord, lowest first, and whether the lowest hand has it."""
    notes = music.score.notes
    lowest = music.hands[0].rows
    order = np.lexsort(
        (notes["pitch"], notes["onset"], notes["voice"], notes["staff"], notes["part"])
    )
    order = order[~notes["grace"][order]]
    same = np.ones(max(len(order) - 1, 0), bool)
    for column in ("part", "staff", "voice", "onset"):
        same &= notes[column][order][1:] == notes[column][order][:-1]
    for rows in np.split(order, np.flatnonzero(~same) + 1):
        if len(rows) > 1:
            yield rows, notes["pitch"][rows].astype(np.int64), bool(lowest[rows[0]])


def _doublings(music: Music) -> Flags:
    """Notes that double another of their chord at an octave.

    In the lowest hand the upper one goes, in the others the lower one, so that bass and
    melody stay.
    """
    gone = np.zeros(len(music.score.notes), bool)
    for rows, pitch, bass in _chords(music):
        ordered = range(len(rows)) if bass else range(len(rows) - 1, -1, -1)
        kept: set[int] = set()
        for i in ordered:
            if int(pitch[i]) % 12 in kept:
                gone[rows[i]] = True
            kept.add(int(pitch[i]) % 12)
    return gone


def _inner(music: Music) -> Flags:
    """Notes between the lowest and the highest of their chord."""
    gone = np.zeros(len(music.score.notes), bool)
    for rows, _, _ in _chords(music):
        gone[rows[1:-1]] = True
    return gone
