"""What was given at once: its files, their works, and what its teacher has said of them."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from corpusreg.comparison.class_file import LARGEST, SavedClass, Settings, decoded
from corpusreg.comparison.class_piece import ClassPiece
from corpusreg.comparison.classroom import Class, Unread
from corpusreg.documents.handout.reading import class_of
from corpusreg.documents.handout.roster import NO_ROSTER, Roster, Writer
from corpusreg.room.changes import TaskResult
from corpusreg.room.uploads import Taken, clean
from corpusreg.system.errors import UsageError

__all__ = [
    "FilledForm", "Pile", "PilePiece", "PileSheets", "PileWork", "names_of", "saved_class",
    "without_scores",
]  # fmt: skip


@dataclass
class PilePiece:
    """A file: its works once they are compared, what could not be read, its report.

    kept: the comparisons, from which the report is written when it is first looked at, or
    when nothing else is to do. written: set when the report is there or cannot be.
    """

    file: str
    works: tuple[ClassPiece, ...] = ()
    problems: tuple[str, ...] = ()
    kept: Path | None = None
    report: Path | None = None
    done: bool = False
    written: threading.Event = field(default_factory=threading.Event)

    @property
    def title(self) -> str:
        """What it is called."""
        several = f" and {len(self.works) - 1} more" if len(self.works) > 1 else ""
        return f"{self.works[0].title}{several}" if self.works else self.file


@dataclass(frozen=True)
class PileWork:
    """A work that could be read: the place of its file, its number there, its title."""

    piece: int
    file: str
    number: str
    title: str


@dataclass
class PileSheets:
    """The handouts asked for: the archive once it is there, and their pages: titles by name.
    old: something was changed after them."""

    archive: Path | None = None
    folder: Path | None = None
    pieces: int = 0
    lines: tuple[str, ...] = ()
    pages: Mapping[str, str] = field(default_factory=dict)
    old: bool = False


@dataclass(frozen=True)
class FilledForm:
    """A form of the page as it was filled in. fields: by name, without files."""

    form: str
    fields: Mapping[str, str]


@dataclass
class Pile:
    """What was given at once. doing: what is under way, '' for nothing; news: what is done
    last; problem: why the last thing asked for could not be done, one line; asked: the form
    that asked for it, None for the first comparison. settings: what its teacher has chosen.
    names: who wrote which piece. called: the class, by its teacher. earlier: a class to set
    beside it. reference_id: what it is compared with. before: earlier drafts, by the file of
    the later one. changes: drafts, contrasts and options by number, oldest first, each with
    the file it is about."""

    key: str
    folder: Path
    taken: Taken
    pieces: list[PilePiece]
    settings: Settings = field(default_factory=Settings)
    names: Roster = NO_ROSTER
    called: str = ""
    earlier: SavedClass | None = None
    reference_id: str = ""
    before: Mapping[str, str] = field(default_factory=dict)
    doing: str = ""
    news: str = ""
    problem: str = ""
    asked: FilledForm | None = None
    sheets: PileSheets | None = None
    changes: dict[int, tuple[str, TaskResult]] = field(default_factory=dict)
    made: int = 0  # reports, sheets and changes so far, for names of files

    def done(self, news: str) -> None:
        """Something was changed: what is said of it; the handouts are from before."""
        self.problem, self.news = "", news
        if self.sheets:
            self.sheets.old = True

    @property
    def scores(self) -> Path:
        """The folder of the scores."""
        return self.folder / "scores" / self.taken.name

    @property
    def name(self) -> str:
        """Of the class or, of a single score, its title."""
        if len(self.pieces) == 1:
            return self.pieces[0].title
        return self.called or self.taken.name

    @property
    def group(self) -> Class:
        """The class as far as its pieces are compared, as its teacher reads it."""
        return class_of(self.saved)

    @property
    def saved(self) -> SavedClass:
        """The class as it is kept, without its scores."""
        unread = [
            Unread(piece.file, piece.file, problem.removeprefix(f"{piece.file}: "))
            for piece in self.pieces
            for problem in piece.problems
        ]
        pieces = [each for piece in self.pieces for each in piece.works]
        called = self.names.known([piece.file for piece in self.pieces])
        return SavedClass(
            self.called or self.taken.name, tuple(pieces), tuple(unread), called, self.settings,
            self.reference_id,
        )  # fmt: skip

    @property
    def with_scores(self) -> bool:
        """Whether the scores are here; a class may have been saved without them."""
        return all(piece.kept or not piece.works for piece in self.pieces)

    def place(self, piece: ClassPiece) -> int:
        """The place of a piece's file among all."""
        return next(n for n, each in enumerate(self.pieces) if each.file == piece.file)

    def recent(self, file: str) -> list[tuple[int, TaskResult]]:
        """Drafts, contrasts and options of a file with their numbers, the last first."""
        # A copy in one step: another thread adds to them while a page is made.
        return [(n, made) for n, (of, made) in list(self.changes.items())[::-1] if of == file]

    @property
    def works(self) -> list[PileWork]:
        """All works that could be read, in order."""
        return [
            PileWork(place, piece.file, each.number, each.title)
            for place, piece in enumerate(self.pieces)
            for each in piece.works
        ]


def saved_class(given: Sequence[tuple[str, IO[bytes]]]) -> SavedClass | None:
    """A class that was saved, None where scores are given."""
    # A browser calls a second copy NAME.class (1).json.
    files = [(name, stream) for name, stream in given if name.lower().endswith(".json")]
    if not files:
        return None
    if len(given) > 1:
        raise UsageError("a saved class is opened alone; give its file by itself")
    name, stream = files[0]
    return decoded(stream.read(LARGEST + 1), name)


def names_of(kept: SavedClass) -> Roster:
    """Who wrote which piece, as a class was saved."""
    return Roster(tuple(Writer(file, who) for file, (_, who) in kept.called.items() if who))


def without_scores(key: str, folder: Path, kept: SavedClass) -> Pile:
    """A class that was saved without its scores: its table and its overview."""
    found: dict[str, PilePiece] = {}
    for each in kept.pieces:
        piece = found.setdefault(each.file, PilePiece(each.file, done=True))
        piece.works = (*piece.works, each)
    for unread in kept.unread:
        piece = found.setdefault(unread.file, PilePiece(unread.file, done=True))
        piece.problems = (*piece.problems, unread.why)
    return Pile(
        key, folder, Taken(clean(kept.name), tuple(found), ()), list(found.values()),
        settings=kept.settings, names=names_of(kept), reference_id=kept.reference_id,
        news="The class as it was saved, without its scores.",
    )  # fmt: skip
