"""A class: what its pieces share, and who could show what to the others.

What counts as a habit that the class shares is the rule of `corpusreg.comparison.classroom`,
for the picture and the words alike. It is neither a fault nor a merit. Pieces are in
alphabetical order throughout; nothing is ranked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from corpusreg.comparison.classroom import LEAST, side, unlike
from corpusreg.documents.handout.piece import TOPICS, Piece
from corpusreg.measures.definitions import BY_NAME, Measure

__all__ = ["Class", "Habit", "Member", "Offered", "Row", "classroom", "offers"]

_EACH = 2  # pieces that are named for a topic


@dataclass(frozen=True)
class Member:
    """A piece of the class. key: its file or code, with a number where the file holds
    several. label: its title, told apart from others. who: name or code, '' for neither."""

    key: str
    label: str
    who: str
    piece: Piece


@dataclass(frozen=True)
class Row:
    """A measure and where the class lies: percentiles in rising order, each with its side
    ('low', 'high', 'middle', 'none'), and pieces not placed."""

    measure: Measure
    dots: tuple[tuple[float, str], ...]
    unplaced: int


@dataclass(frozen=True)
class Habit:
    """A habit that the class shares: `many` of `placed` lie in an outer quarter.

    other: the member who does the contrary most clearly, and the bars; None for nobody.
    """

    measure: Measure
    high: bool
    many: int
    placed: int
    other: tuple[Member, str] | None


@dataclass(frozen=True)
class Offered:
    """A topic, and members who could show it, each with the passage in words."""

    topic: str
    shown_by: tuple[tuple[Member, str], ...]


@dataclass(frozen=True)
class Class:
    """members: in alphabetical order. rows: the chosen measures. too_few: so few pieces
    are placed that no habit is looked for."""

    name: str
    members: tuple[Member, ...]
    rows: tuple[Row, ...]
    habits: tuple[Habit, ...]
    offers: tuple[Offered, ...]

    @property
    def too_few(self) -> bool:
        """Whether there are too few placed pieces to speak of habits."""
        return all(len(row.dots) < LEAST for row in self.rows)


def classroom(
    name: str,
    pieces: Sequence[Piece],
    known: Mapping[str, tuple[str, str]],
    chosen: Sequence[str],
) -> Class:
    """A class from its pieces.

    known: by file, what it is called (file or code), and its writer's name or code, or ''.
    chosen: names of measures.
    """
    members = _members(pieces, known)
    rows = tuple(_row(BY_NAME[measure], members) for measure in chosen)
    habits = [
        habit
        for measure in chosen
        for high in (False, True)
        if (habit := _habit(BY_NAME[measure], members, high=high))
    ]
    return Class(name, members, rows, tuple(habits), offers(members))


def _members(
    pieces: Sequence[Piece], known: Mapping[str, tuple[str, str]]
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


def _key(piece: Piece, pieces: Sequence[Piece], called: str) -> str:
    alone = sum(other.file == piece.file for other in pieces) == 1
    return called if alone else f"{called}#{piece.number}"


def _row(measure: Measure, members: Sequence[Member]) -> Row:
    ranks = [m.piece.ranks[measure.name] for m in members if measure.name in m.piece.ranks]
    dots = sorted((rank, side(rank, tied)) for rank, tied in ranks)
    return Row(measure, tuple(dots), len(members) - len(ranks))


def _habit(measure: Measure, members: Sequence[Member], *, high: bool) -> Habit | None:
    placed = [member for member in members if measure.name in member.piece.ranks]
    there = [member for member in placed if _outer(member, measure.name, high=high)]
    many = len(there)
    if many < LEAST or 2 * many < len(placed):
        return None
    contrary = [m for m in placed if _outer(m, measure.name, high=not high)]
    contrary.sort(key=lambda m: (-abs(m.piece.ranks[measure.name][0] - 50), m.key))
    other = (contrary[0], _where(contrary[0], measure.name)) if contrary else None
    return Habit(measure, high, many, len(placed), other)


def _outer(member: Member, name: str, *, high: bool) -> bool:
    return side(*member.piece.ranks[name]) == ("high" if high else "low")


def _where(member: Member, name: str) -> str:
    row = next(row for row in member.piece.content.measures.rows if row.name == name)
    return row.places[0].words if row.places else ""


def offers(members: Sequence[Member]) -> tuple[Offered, ...]:
    """For each topic up to two members whose pieces show it clearly, each member once.

    Once through all topics and then once more, so that no topic takes the examples of
    another. One who could show several things is named for the first.
    """
    free = list(members)
    found: dict[str, list[tuple[Member, str]]] = {topic: [] for topic in TOPICS}
    for _ in range(_EACH):
        for topic, shown in found.items():
            able = [
                (-example.strength, member.key, member, example.words)
                for member in free
                for example in member.piece.examples
                if example.topic == topic
            ]
            if able:
                *_, member, words = min(able, key=lambda each: each[:2])
                shown.append((member, words))
                free.remove(member)
    return tuple(
        Offered(topic, tuple(sorted(shown, key=lambda each: each[0].label.casefold())))
        for topic, shown in found.items()
        if shown
    )
