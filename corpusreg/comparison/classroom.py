"""A class: pieces beside each other, what they share, who does what.

One model for everything that shows a class: the page in a browser, `compare FOLDER`,
handouts, Python. It is plain data, without arrays, so that it goes between processes and
into a file as it is. Pieces are in alphabetical order throughout; nothing is ranked.

Where a piece lies
------------------
A piece stands among the works that it is compared with itself, so that pieces for different
media can stand side by side: on a line from 0 to 100 these works are spread evenly, a
quarter of them in each quarter.

What a class shares
-------------------
One rule, for pictures and words alike: a class shares a habit where at least half of the
pieces that have a place on a line lie in the same outer quarter of it, and these are `LEAST`
pieces or more. A piece whose very value many of its works have (`findings.TIED`) lies on no
side: it has its place on the line, and is counted in neither quarter. `chance` says how often
as many pieces would lie there if they were drawn at random; it decides nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from corpusreg.instruments.ensembles import kinds
from corpusreg.measures.definitions import BY_NAME, Measure
from corpusreg.norms.reference import Rung

__all__ = [
    "LEAST",
    "QUARTER",
    "Class",
    "ClassPiece",
    "Device",
    "Dot",
    "Group",
    "Happening",
    "Line",
    "Member",
    "Place",
    "Shared",
    "Unread",
    "Unusual",
    "chance",
    "classroom",
    "misfit",
    "side",
    "unlike",
]

QUARTER = 25.0
LEAST = 3


@dataclass(frozen=True)
class Group:
    """The works that a piece is compared with. name: as after --cohort; title: in words.

    misfit: why they do not fit the piece, '' where they do: 'medium' (for other players),
    'texture' (single lines, or several voices), 'few' (too few of about its length to place
    it), 'broad' (works of all media, since the reference has few of its own).
    """

    name: str
    title: str
    works: int
    composers: int
    misfit: str


@dataclass(frozen=True)
class Place:
    """Where a piece lies by a measure. value: with its unit; words: its place among the works,
    or why it has none. percentile: 0 to 100, None without a place. tied: it lies on no side."""

    value: str
    words: str
    percentile: float | None
    tied: bool = False


@dataclass(frozen=True)
class Happening:
    """The clearest event of its kind in a piece. where: its bars in words; short: it in a few
    words with its bar; said: a sentence."""

    kind: str
    where: str
    short: str
    said: str


@dataclass(frozen=True)
class Unusual:
    """What is unusual in a piece. lead: what, with its value; said: where that lies among
    the works; where: the bars that show it in words, '' for the whole piece."""

    name: str
    lead: str
    said: str
    where: str


@dataclass(frozen=True)
class ClassPiece:
    """One work. file: relative to the folder of the class, with '/'; number: of the work in
    a file of many, else ''. kind: of its ensemble, in words; length: in words; bars: on the
    page, and their printed numbers. happenings: first what is told first. places: by measure.
    changed: since the earlier draft, in a sentence or two, '' without one."""

    file: str
    number: str
    title: str
    kind: str
    single_line: bool
    length: str
    bars: int
    labels: tuple[str, ...]
    group: Group
    happenings: tuple[Happening, ...]
    unusual: tuple[Unusual, ...]
    places: Mapping[str, Place]
    changed: str = ""


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
    'middle', or 'none' where many of the works share its value."""

    member: Member
    percentile: float
    side: str


@dataclass(frozen=True)
class Line:
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

    others: who lies on the other side.
    """

    measure: Measure
    side: str
    many: int
    placed: int
    others: tuple[Member, ...]


@dataclass(frozen=True)
class Device:
    """A kind of event, and the members in whose pieces it happens, each with its bars."""

    kind: str
    members: tuple[tuple[Member, Happening], ...]


@dataclass(frozen=True)
class Class:
    """members: in alphabetical order. lines: of the chosen measures. shared: in their order.
    devices: kinds of events, in the order in which events are told."""

    name: str
    members: tuple[Member, ...]
    unread: tuple[Unread, ...]
    lines: tuple[Line, ...]
    shared: tuple[Shared, ...]
    devices: tuple[Device, ...]

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


def misfit(kind: str, *, single_line: bool, rung: Rung, placed: bool) -> str:
    """Why a group of works does not fit a piece; see `Group`.

    kind: of the piece's ensemble. placed: whether it has a place among them by any measure.
    """
    where, own = rung.where, kinds()[kind]
    ensemble, family = where.get("ensemble", kind), where.get("family", own.family)
    texture = "single line" if single_line else "several voices"
    if ensemble != kind or family != own.family:
        return "medium"
    if where.get("texture", texture) != texture:
        return "texture"
    if not placed:
        return "few"
    return "broad" if rung.broad else ""


def _members(
    pieces: Sequence[ClassPiece], known: Mapping[str, tuple[str, str]]
) -> tuple[Member, ...]:
    """In alphabetical order by title; pieces with one title are told apart."""
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


def _line(measure: Measure, members: Sequence[Member]) -> Line:
    dots, unplaced = [], []
    for member in members:
        place = member.piece.places.get(measure.name)
        if place is None or place.percentile is None:
            unplaced.append(member)
        else:
            dots.append(Dot(member, place.percentile, side(place.percentile, place.tied)))
    return Line(measure, tuple(sorted(dots, key=lambda dot: dot.percentile)), tuple(unplaced))


def side(percentile: float, tied: bool) -> str:
    """The side on which a place lies, as in `Dot`."""
    if tied:
        return "none"
    if percentile < QUARTER:
        return "low"
    return "high" if percentile > 100 - QUARTER else "middle"


def _shared(line: Line, end: str) -> Shared | None:
    many, placed = len(line.on(end)), len(line.dots)
    if many < LEAST or 2 * many < placed:
        return None
    others = line.on("low" if end == "high" else "high")
    members = sorted((dot.member for dot in others), key=lambda m: (m.label.casefold(), m.key))
    return Shared(line.measure, end, many, placed, tuple(members))


def _devices(members: Sequence[Member]) -> tuple[Device, ...]:
    """Kinds of events by how early they are told, each with its members."""
    first: dict[str, int] = {}
    for member in members:
        for place, each in enumerate(member.piece.happenings):
            first[each.kind] = min(place, first.get(each.kind, place))
    return tuple(
        Device(
            kind,
            tuple(
                (member, each)
                for member in members
                for each in member.piece.happenings
                if each.kind == kind
            ),
        )
        for kind in sorted(first, key=lambda kind: (first[kind], kind))
    )
