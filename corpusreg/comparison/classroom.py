"""A class: pieces beside each other, what they share, who does what.

One model for everything that shows a class: the page in a browser, `compare FOLDER`,
handouts, Python. Pieces are in alphabetical order throughout; nothing is ranked.

Where a piece lies
------------------
A piece stands among the works that it is compared with itself, so that pieces for different
media can stand side by side: on a line from 0 to 100 these works are spread evenly, a
quarter of them in each quarter.

What a class shares
-------------------
One rule, for pictures and words alike: a class shares a habit where at least half of the
pieces that have a place on a line lie in the same outer quarter of it, and these are `LEAST`
pieces or more. A piece of which the side cannot be told has its place on the line, and is
counted in neither quarter: many of its works have its very value (`findings.TIED`), or so few
are like it that its place may as well be beyond the middle. `chance` says how often as many
pieces would lie there if they were drawn at random; it decides nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from corpusreg.comparison.class_piece import DEVICES, ClassPiece, Happening, MeasurePlace
from corpusreg.comparison.findings import OPEN
from corpusreg.measures.definitions import BY_NAME, Measure
from corpusreg.system.phrases import shared_start

__all__ = [
    "LEAST", "MEASURES", "Class", "ClassLine", "Dot", "Member", "Shared", "Since", "Unread",
    "chance", "classroom", "since",
]  # fmt: skip

QUARTER, MIDDLE = 25.0, 50.0
LEAST = 3
# Lines that are drawn where none are chosen: one of each side of register use.
MEASURES = (
    "span",
    "movement_bar",
    "shift_rate",
    "expected_dwell",
    "hollow_share",
    "entries",
)


@dataclass(frozen=True)
class Member:
    """A piece of the class. key: its file or code, with a number where the file holds
    several. label: its title, told apart from others. who: name or code, '' for neither."""

    key: str
    label: str
    who: str
    piece: ClassPiece


@dataclass(frozen=True)
class Unread:
    """A file, or one of its works, that could not be read. called: file or code; why: one
    line that need not name it."""

    file: str
    called: str
    why: str


@dataclass(frozen=True)
class Dot:
    """A member on a line. percentile: 0 to 100. side: 'low' or 'high' in an outer quarter,
    'middle', or 'none' where it counts on neither side."""

    member: Member
    percentile: float
    side: str


@dataclass(frozen=True)
class ClassLine:
    """A measure and where the class lies: dots from low to high, pieces without a place."""

    measure: Measure
    dots: tuple[Dot, ...]
    unplaced: tuple[Member, ...]

    def on(self, end: str) -> tuple[Dot, ...]:
        """The dots of a side."""
        return tuple(dot for dot in self.dots if dot.side == end)


@dataclass(frozen=True)
class Shared:
    """A habit that the class shares: `many` of `placed` lie on one side of a line.

    others: who lies on the other side; perhaps: whose ring is drawn there.
    """

    measure: Measure
    side: str
    many: int
    placed: int
    others: tuple[Member, ...]
    perhaps: tuple[Member, ...] = ()


@dataclass(frozen=True)
class Device:
    """What events are counted under, and the members in whose pieces such a thing happens,
    each with the clearest."""

    device: str
    members: tuple[tuple[Member, Happening], ...]


@dataclass(frozen=True)
class Class:
    """members: in alphabetical order. lines: of the chosen measures. shared: in their order.
    devices: in the order in which events are told."""

    name: str
    members: tuple[Member, ...]
    unread: tuple[Unread, ...]
    lines: tuple[ClassLine, ...]
    shared: tuple[Shared, ...]
    devices: tuple[Device, ...]

    @property
    def unplaced(self) -> tuple[tuple[Member, tuple[Measure, ...]], ...]:
        """Members that lack a place, each with the measures."""
        found = (
            (each, tuple(line.measure for line in self.lines if each in line.unplaced))
            for each in self.members
        )
        return tuple(pair for pair in found if pair[1])

    @property
    def too_few(self) -> bool:
        """Whether no line has as many pieces as can share a habit."""
        return all(len(line.dots) < LEAST for line in self.lines)


def classroom(
    name: str,
    pieces: Sequence[ClassPiece],
    chosen: Sequence[str],
    known: Mapping[str, tuple[str, str]] | None = None,
    unread: Sequence[Unread] = (),
) -> Class:
    """A class from its pieces.

    chosen: names of measures. known: by file, what it is called (file or code), and its
    writer's name or code, or ''; None where every file is called by its name.
    """
    names = known or {piece.file: (piece.file, "") for piece in pieces}
    members = _members(pieces, names)
    lines = tuple(_line(BY_NAME[measure], members) for measure in chosen)
    shared = tuple(
        found for line in lines for end in ("low", "high") if (found := _shared(line, end))
    )
    return Class(name, members, tuple(unread), lines, shared, _devices(members))


def chance(many: int, of: int) -> float:
    """How often at least `many` of `of` pieces drawn at random lie in one given quarter.

    >>> round(chance(5, 8), 3)
    0.027
    """
    share = QUARTER / 100
    return sum(
        math.comb(of, k) * share**k * (1 - share) ** (of - k) for k in range(many, of + 1)
    )


def _members(
    pieces: Sequence[ClassPiece], known: Mapping[str, tuple[str, str]]
) -> tuple[Member, ...]:
    """In alphabetical order by title; pieces with one title are told apart."""
    start = len(shared_start([piece.title for piece in pieces]))
    pieces = [replace(piece, title=piece.title[start:]) for piece in pieces]
    titles = [piece.title.casefold() for piece in pieces]
    keys = unlike([_key(piece, pieces, known[piece.file][0]) for piece in pieces])
    labels = [
        f"{piece.title} ({known[piece.file][1] or key})"
        if titles.count(piece.title.casefold()) > 1
        else piece.title
        for piece, key in zip(pieces, keys, strict=True)
    ]
    found = [
        Member(key, label, known[piece.file][1], piece)
        for key, label, piece in zip(keys, unlike(labels), pieces, strict=True)
    ]
    return tuple(sorted(found, key=lambda member: (member.label.casefold(), member.key)))


def _key(piece: ClassPiece, pieces: Sequence[ClassPiece], called: str) -> str:
    alone = sum(other.file == piece.file for other in pieces) == 1
    return called if alone else f"{called}#{piece.number}"


def unlike(texts: Sequence[str]) -> list[str]:
    """The texts, with ' (2)' after one that is there already."""
    seen: dict[str, int] = {}
    found = []
    for text in texts:
        seen[text] = seen.get(text, 0) + 1
        found.append(text if seen[text] == 1 else f"{text} ({seen[text]})")
    return found


def _line(measure: Measure, members: Sequence[Member]) -> ClassLine:
    dots, unplaced = [], []
    for member in members:
        place = member.piece.places.get(measure.name)
        if place is None or place.percentile is None:
            unplaced.append(member)
        else:
            dots.append(Dot(member, place.percentile, side(place)))
    return ClassLine(
        measure, tuple(sorted(dots, key=lambda dot: dot.percentile)), tuple(unplaced)
    )


def side(place: MeasurePlace) -> str:
    """The side on which a piece with a percentile lies, as in `Dot`."""
    percentile, (low, high) = place.percentile or 0.0, place.reach
    if place.tied or high - low >= OPEN:
        return "none"
    if percentile < QUARTER:
        return "low" if high < MIDDLE else "none"
    if percentile > 100 - QUARTER:
        return "high" if low > MIDDLE else "none"
    return "middle"


def _shared(line: ClassLine, end: str) -> Shared | None:
    many, placed = len(line.on(end)), len(line.dots)
    if many < LEAST or 2 * many < placed:
        return None
    others = line.on("low" if end == "high" else "high")
    rings = (
        dot
        for dot in line.on("none")
        if (dot.percentile < QUARTER if end == "high" else dot.percentile > 100 - QUARTER)
    )
    return Shared(line.measure, end, many, placed, _by_name(others), _by_name(rings))


def _by_name(dots: Iterable[Dot]) -> tuple[Member, ...]:
    members = (dot.member for dot in dots)
    return tuple(sorted(members, key=lambda m: (m.label.casefold(), m.key)))


def _devices(members: Sequence[Member]) -> tuple[Device, ...]:
    """Devices in the order in which events are told, each with its members."""
    found = {each.device for member in members for each in member.piece.clearest()}
    order = {kind: place for place, kind in enumerate(DEVICES)}
    return tuple(
        Device(
            kind,
            tuple(
                (member, each)
                for member in members
                for each in member.piece.clearest()
                if each.device == kind
            ),
        )
        for kind in sorted(found, key=lambda kind: (order.get(kind, len(order)), kind))
    )


@dataclass(frozen=True)
class Since:
    """A class beside an earlier one. pairs: members of both by what they are called, or by
    their title, the earlier first. devices: for each what now stands in the piece and did not
    before, and the other way. joined, left: members without a partner."""

    earlier: str
    pairs: tuple[tuple[Member, Member], ...]
    devices: tuple[tuple[tuple[str, ...], tuple[str, ...]], ...]
    shared_before: tuple[Shared, ...]
    shared_now: tuple[Shared, ...]
    joined: tuple[Member, ...]
    left: tuple[Member, ...]


def since(earlier: Class, later: Class) -> Since:
    """Two classes beside each other: writers where they are known, else titles."""
    free = list(earlier.members)
    pairs = []
    for member in later.members:
        same = next((each for each in free if _same(each, member)), None)
        if same is not None:
            free.remove(same)
            pairs.append((same, member))
    met = [now for _, now in pairs]
    return Since(
        earlier=earlier.name,
        pairs=tuple(pairs),
        devices=tuple(_new_and_gone(*pair) for pair in pairs),
        shared_before=earlier.shared,
        shared_now=later.shared,
        joined=tuple(each for each in later.members if each not in met),
        left=tuple(free),
    )


def _same(one: Member, other: Member) -> bool:
    if one.who and other.who:
        return one.who.casefold() == other.who.casefold()
    return one.label.casefold() == other.label.casefold()


def _new_and_gone(before: Member, now: Member) -> tuple[tuple[str, ...], tuple[str, ...]]:
    was, has = ([each.device for each in member.piece.clearest()] for member in (before, now))
    return (
        tuple(each for each in has if each not in was),
        tuple(each for each in was if each not in has),
    )
