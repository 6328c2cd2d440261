"""What stands on the sheets, as plain data: for the PDF and for the page alike.

    overview     the class among the repertoire, what it shares, who does what
    piece sheet  the map, the sentences, two passages, a question, lines to write on
    teacher's    one row a piece in alphabetical order, problems, what was assumed

Pictures are SVG as text; all other text is as people read it, and whoever shows it
escapes it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from corpusreg.comparison.class_piece import Assignment, ClassPiece, Happening
from corpusreg.comparison.classroom import Class, Member
from corpusreg.documents.handout.dots import class_picture, key
from corpusreg.documents.handout.edits import Edited
from corpusreg.documents.handout.piece import DrawnPiece, ShownPassage
from corpusreg.system.phrases import capital, joined, plural
from corpusreg.text.classroom import (
    RULE,
    assignment_answer,
    assignment_words,
    chance_words,
    device_words,
    question,
    shared_words,
)
from corpusreg.text.measures import title

__all__ = ["Overview", "PieceSheet", "Sheets", "TeacherRow", "TeacherSheet", "made", "sheets"]

_DRAFTS = 4  # earlier ones that have a column
_DEVICES = 8  # those that most pieces share
_SHOWN_BY = 12  # pieces that are named for a device


@dataclass(frozen=True)
class PieceSheet:
    """One piece. file: a name for its files, without an ending. map_alt: the map in words.
    changed: since the earlier draft, '' without one; progress: rows of a table of all drafts,
    its head first, () without any. question: '' for none. asked: what all were asked to do,
    '' for nothing, and answers: what happens there. compared: with which works."""

    file: str
    title: str
    who: str
    facts: tuple[str, ...]
    map: str
    map_alt: str
    asked: str
    answers: tuple[str, ...]
    changed: str
    progress: tuple[tuple[str, ...], ...]
    sentences: tuple[str, ...]
    passages: tuple[ShownPassage, ...]
    question: str
    compared: str


@dataclass(frozen=True)
class Overview:
    """The class. key: number and name of each dot. measures: title and meaning of each.
    devices: what, then who and where. asked, answers: the assignment, and for each piece its
    name and what happens there."""

    title: str
    facts: tuple[str, ...]
    picture: str
    picture_alt: str
    key: tuple[tuple[str, str], ...]
    reading: str
    measures: tuple[tuple[str, str], ...]
    shared: tuple[str, ...]
    devices: tuple[tuple[str, str], ...]
    asked: str
    answers: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class TeacherRow:
    """A piece for the teacher. stands_out: what happens and what is unusual, with bars.
    figures: title, value and place of each chosen measure. edited: the sheet holds
    sentences of the teacher's own. notes: about this piece alone."""

    title: str
    who: str
    file: str
    facts: tuple[str, ...]
    stands_out: tuple[str, ...]
    figures: tuple[tuple[str, str, str], ...]
    edited: bool
    notes: tuple[str, ...]


@dataclass(frozen=True)
class TeacherSheet:
    """All pieces in alphabetical order. problems: files that could not be read and the like.
    since: what is otherwise than in an earlier class. notes: each with the titles it is
    about."""

    title: str
    introduction: str
    rows: tuple[TeacherRow, ...]
    problems: tuple[str, ...]
    since: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Sheets:
    """All of them. pieces: in alphabetical order."""

    overview: Overview
    pieces: tuple[PieceSheet, ...]
    teacher: TeacherSheet


def made(member: Member, drawn: DrawnPiece) -> Edited:
    """What is made for a piece: its sentences and its question."""
    told = drawn.sentences
    return Edited(tuple(each.said for each in told), question(told, member.piece))


def sheets(
    group: Class,
    drawn: Mapping[str, DrawnPiece],
    edits: Mapping[str, Edited],
    files: Mapping[str, str],
    problems: Sequence[str],
    asked: Assignment | None = None,
    since: Sequence[str] = (),
) -> Sheets:
    """All sheets of a class.

    drawn: the pictures of each piece by a member's key. edits: the teacher's own words, and
    files: names for its files, by the same. problems: lines for the teacher's sheet. since:
    what is otherwise than in an earlier class, line by line.
    """
    return Sheets(
        _overview(group, asked),
        tuple(
            _sheet(member, drawn[member.key], edits[member.key], files[member.key], asked)
            for member in group.members
        ),
        _teacher(group, edits, problems, since),
    )


def _sheet(
    member: Member, drawn: DrawnPiece, own: Edited, file: str, asked: Assignment | None
) -> PieceSheet:
    piece, fresh = member.piece, made(member, drawn)
    answers = assignment_answer(piece, asked) if asked else ()
    sentences = fresh.sentences if own.sentences is None else own.sentences
    return PieceSheet(
        file=file,
        title=_title(member),
        who=member.who,
        facts=_facts(piece),
        map=drawn.map,
        map_alt=drawn.map_alt,
        asked=assignment_words(asked) if asked else "",
        answers=answers,
        changed=piece.changed and f"Since the earlier draft: {piece.changed}",
        progress=tuple(_progress(piece)),
        sentences=tuple(each for each in sentences or () if each not in answers),
        passages=drawn.passages,
        question=(fresh if own.question is None else own).question or "",
        compared=piece.compared,
    )


def _facts(piece: ClassPiece) -> tuple[str, ...]:
    return (piece.kind, piece.length, piece.reach)


def _progress(piece: ClassPiece) -> list[tuple[str, ...]]:
    """The drafts of a term side by side: length, values, what each does first."""
    drafts = piece.drafts[-_DRAFTS:]
    if not drafts:
        return []
    start = len(piece.drafts) - len(drafts) + 1
    head = ("", *(f"Draft {n}" for n in range(start, start + len(drafts))), "Now")
    first = piece.first.short if piece.first else ""
    rows = [("Length", *(each.length for each in drafts), piece.length)]
    rows += [
        (
            capital(title(name)),
            *(each.values.get(name, "–") for each in drafts),
            piece.places[name].value,
        )
        for name in drafts[0].values
        if name in piece.places
    ]
    rows.append(
        ("What it does first", *(capital(each.first) or "–" for each in drafts), capital(first))
    )
    return [head, *rows]


def _overview(group: Class, asked: Assignment | None) -> Overview:
    picture = class_picture(group, prefix="class")
    several = [each for each in group.devices if len(each.members) > 1]
    most = sorted(several, key=lambda each: -len(each.members))[:_DEVICES]
    others = [device_words(each.device) for each in several if each not in most]
    return Overview(
        title=group.name,
        facts=(plural(len(group.members), "piece"),),
        picture=picture.svg,
        picture_alt=picture.description,
        key=key(group),
        reading=RULE,
        measures=tuple(
            (capital(title(line.measure.name)), line.measure.meaning) for line in group.lines
        ),
        shared=shared_words(group),
        devices=(
            *(
                (capital(device_words(each.device)), _who(each.members))
                for each in several
                if each in most
            ),
            *([("Also", f"{joined(others)}.")] if others else []),
        ),
        asked=assignment_words(asked) if asked else "",
        answers=tuple(
            (member.label, " ".join(assignment_answer(member.piece, asked)))
            for member in group.members
            if asked
        ),
    )


def _who(members: Sequence[tuple[Member, Happening]]) -> str:
    """Who does it and where; of very many the number."""
    shown = [f"{member.label}, {each.where}" for member, each in members]
    if len(shown) <= _SHOWN_BY:
        return "; ".join(shown) + "."
    return "; ".join(shown[:_SHOWN_BY]) + f"; and {len(shown) - _SHOWN_BY} more."


def _title(member: Member) -> str:
    """A title where the writer stands beside it."""
    return member.label.removesuffix(f" ({member.who})")


def _teacher(
    group: Class, edits: Mapping[str, Edited], problems: Sequence[str], since: Sequence[str]
) -> TeacherSheet:
    measures = tuple(line.measure.name for line in group.lines)
    about: dict[str, list[str]] = {}
    for member in group.members:
        for note in member.piece.notes:
            about.setdefault(note, []).append(member.label)
    common = {note: titles for note, titles in about.items() if len(titles) > 1}
    return TeacherSheet(
        title=group.name,
        introduction=(
            "For the teacher. Pieces are in alphabetical order. 'More than 83 of 100 (74 to "
            "90)' means that of 100 works it is compared with, about 83 have less (most "
            "probably 74 to 90). This describes a piece; it is not a mark."
        ),
        rows=tuple(
            _row(member, measures, edits[member.key], common) for member in group.members
        ),
        problems=tuple(problems),
        since=tuple(since),
        notes=(
            *(chance_words(h.measure.name, h.many, h.placed) for h in group.shared),
            *(f"{_of_whom(titles, group)}: {note}" for note, titles in common.items()),
        ),
    )


def _of_whom(titles: Sequence[str], group: Class) -> str:
    return "All pieces" if len(titles) == len(group.members) else joined(titles)


def _row(
    member: Member, measures: Sequence[str], own: Edited, common: Mapping[str, object]
) -> TeacherRow:
    piece = member.piece
    unusual = [
        f"{capital(each.lead)}: {each.said}" + (f" ({each.where})." if each.where else ".")
        for each in piece.unusual
    ]
    nothing = (
        "No measure is unusual."
        if piece.unusual_known
        else "It is not placed among other works."
    )
    first = [piece.first.said] if piece.first else []
    events = dict.fromkeys([*first, *(each.said for each in piece.clearest())])
    return TeacherRow(
        title=_title(member),
        who=member.who,
        file=member.key.rpartition("/")[2],
        facts=_facts(piece),
        stands_out=(
            *list(events)[:3],
            *(unusual or [nothing]),
            *(each.said for each in piece.players if each.said not in first),
        ),
        figures=tuple(_figure(piece, name) for name in measures),
        edited=bool(own),
        notes=(piece.compared, *(note for note in piece.notes if note not in common)),
    )


def _figure(piece: ClassPiece, name: str) -> tuple[str, str, str]:
    place = piece.places[name]
    return capital(title(name)), place.value, place.words
