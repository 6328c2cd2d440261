"""What stands on the sheets, as plain data: for the PDF and for the page alike.

    overview     the class among the repertoire, habits, who could show what
    piece sheet  the map, the sentences, two passages, a question, lines to write on
    teacher's    one row a piece in alphabetical order, problems, what was assumed

Pictures are SVG as text; all other text is as people read it, and whoever shows it
escapes it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from corpusreg.documents.handout.classroom import Class, Habit, Member
from corpusreg.documents.handout.dots import class_picture
from corpusreg.documents.handout.edits import FILE_NAME, Edited
from corpusreg.documents.handout.piece import TOPICS, ShownPassage
from corpusreg.documents.handout.sentences import question
from corpusreg.measures.definitions import BY_NAME
from corpusreg.system.phrases import capital, joined, plural
from corpusreg.text.classroom import NOTHING_SHARED, RULE, TOO_FEW, chance_words

__all__ = ["Overview", "PieceSheet", "Sheets", "TeacherRow", "TeacherSheet", "made", "sheets"]


@dataclass(frozen=True)
class PieceSheet:
    """One piece. file: a name for its files, without an ending. map_alt: the map in words.
    changed: since the earlier draft, '' without one. question: '' for none. cautions: words
    about extremes. compared: with which works."""

    file: str
    title: str
    who: str
    facts: tuple[str, ...]
    map: str
    map_alt: str
    changed: str
    sentences: tuple[str, ...]
    passages: tuple[ShownPassage, ...]
    question: str
    cautions: tuple[str, ...]
    compared: str


@dataclass(frozen=True)
class Overview:
    """The class. measures: title and meaning of each. offers: topic, then who and where."""

    title: str
    facts: tuple[str, ...]
    picture: str
    picture_alt: str
    reading: str
    measures: tuple[tuple[str, str], ...]
    habits: tuple[str, ...]
    offers: tuple[tuple[str, tuple[str, ...]], ...]
    offers_note: str


@dataclass(frozen=True)
class TeacherRow:
    """A piece for the teacher. stands_out: what does, or that nothing does, with bars.
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
    notes: each with the titles it is about."""

    title: str
    introduction: str
    rows: tuple[TeacherRow, ...]
    problems: tuple[str, ...]
    notes: tuple[str, ...]
    closing: tuple[str, ...]


@dataclass(frozen=True)
class Sheets:
    """All of them. pieces: in alphabetical order."""

    overview: Overview
    pieces: tuple[PieceSheet, ...]
    teacher: TeacherSheet


def made(member: Member) -> Edited:
    """What is made for a piece: its sentences and its question."""
    told = member.piece.said
    return Edited(tuple(each.text for each in told), question(told))


def sheets(
    group: Class,
    edits: Mapping[str, Edited],
    files: Mapping[str, str],
    problems: Sequence[str],
    closing: Sequence[str],
) -> Sheets:
    """All sheets of a class.

    edits: the teacher's own words by a member's key. files: names for a piece's files by
    its key. problems, closing: lines for the teacher's sheet.
    """
    return Sheets(
        _overview(group),
        tuple(_sheet(member, edits[member.key], files[member.key]) for member in group.members),
        _teacher(group, edits, problems, closing),
    )


def _sheet(member: Member, own: Edited, file: str) -> PieceSheet:
    piece, fresh = member.piece, made(member)
    return PieceSheet(
        file=file,
        title=_title(member),
        who=member.who,
        facts=piece.content.facts,
        map=piece.map.svg,
        map_alt=piece.content.marks.picture.alt,
        changed=piece.changed and f"Since the earlier draft: {piece.changed}",
        sentences=(fresh if own.sentences is None else own).sentences or (),
        passages=piece.passages,
        question=(fresh if own.question is None else own).question or "",
        cautions=piece.content.findings.cautions,
        compared=piece.content.compared,
    )


def _overview(group: Class) -> Overview:
    picture = class_picture(group.rows, prefix="class")
    return Overview(
        title=group.name,
        facts=(plural(len(group.members), "piece"),),
        picture=picture.svg,
        picture_alt=picture.description,
        reading=RULE,
        measures=tuple((row.measure.title, row.measure.meaning) for row in group.rows),
        habits=_habits(group),
        offers=tuple(
            (
                TOPICS[offer.topic],
                tuple(f"{_named(member)}, {words}" for member, words in offer.shown_by),
            )
            for offer in group.offers
        ),
        offers_note=(
            "One example each, so that many may show something; most pieces hold others too."
            if group.offers
            else "No piece is long enough to show such a place."
        ),
    )


def _title(member: Member) -> str:
    """A title where the writer stands beside it."""
    return member.label.removesuffix(f" ({member.who})")


def _named(member: Member) -> str:
    """A title with its writer, who may already stand in it to tell two pieces apart."""
    return f"{_title(member)} ({member.who})" if member.who else member.label


def _habits(group: Class) -> tuple[str, ...]:
    if group.too_few:
        return (TOO_FEW,)
    if not group.habits:
        return (NOTHING_SHARED,)
    return tuple(map(_habit, group.habits))


def _habit(habit: Habit) -> str:
    title = habit.measure.title
    end = "highest" if habit.high else "lowest"
    text = (
        f"{capital(title)}: {habit.many} of {habit.placed} pieces lie in the "
        f"{end} quarter of the works that they are compared with."
    )
    if habit.other is not None:
        member, where = habit.other
        text += f" {_named(member)} does otherwise{f', {where}' if where else ''}."
    return text


def _teacher(
    group: Class, edits: Mapping[str, Edited], problems: Sequence[str], closing: Sequence[str]
) -> TeacherSheet:
    measures = tuple(row.measure.name for row in group.rows)
    about: dict[str, list[str]] = {}
    for member in group.members:
        for note in (*member.piece.content.notes, *member.piece.content.assumed):
            about.setdefault(note, []).append(member.label)
    common = {note: titles for note, titles in about.items() if len(titles) > 1}
    return TeacherSheet(
        title=group.name,
        introduction=(
            "For the teacher. Pieces are in alphabetical order; a place among other works "
            "is a description and no mark."
        ),
        rows=tuple(
            _row(member, measures, edits[member.key], common) for member in group.members
        ),
        problems=tuple(problems),
        notes=(
            *(chance_words(h.measure.name, h.many, h.placed) for h in group.habits),
            *(f"{_of_whom(titles, group)}: {note}" for note, titles in common.items()),
        ),
        closing=(
            " ".join(
                (
                    "The sentences and the question of every sheet can be changed in "
                    f"{FILE_NAME}, where the measures are chosen too; the next run keeps what "
                    "was changed.",
                    *closing,
                )
            ),
        ),
    )


def _of_whom(titles: Sequence[str], group: Class) -> str:
    return "All pieces" if len(titles) == len(group.members) else joined(titles)


def _row(
    member: Member, measures: Sequence[str], own: Edited, common: Mapping[str, object]
) -> TeacherRow:
    content = member.piece.content
    found = [
        f"{each.lead}: {_short(each.said)}"
        + (f" ({joined([place.words for place in each.places])})." if each.places else ".")
        for each in content.findings.found
    ]
    nothing = content.findings.nothing.replace("the measures below", "all measures")
    rows = {row.name: row for row in content.measures.rows}
    notes = (*content.notes, *content.assumed)
    return TeacherRow(
        title=_title(member),
        who=member.who,
        file=member.key,
        facts=content.facts,
        stands_out=(*found, *([nothing] if nothing else [])),
        figures=tuple(
            (BY_NAME[name].title, rows[name].value, rows[name].short or rows[name].reason)
            for name in measures
        ),
        edited=bool(own),
        notes=tuple(note for note in notes if note not in common),
    )


def _short(said: str) -> str:
    """A sentence about the piece without the piece and its full stop."""
    text = said.removeprefix("The piece ").removesuffix(".")
    return f"{text[:1].lower()}{text[1:]}"
