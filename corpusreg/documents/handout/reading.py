"""A class from a folder, or from the file in which it was saved: read by several workers."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath
from typing import Any

from corpusreg.comparison.class_file import ENDING, SavedClass, Settings, opened
from corpusreg.comparison.class_piece import ClassPiece
from corpusreg.comparison.classroom import Class, Unread, classroom
from corpusreg.comparison.compared import score_files
from corpusreg.documents.handout.piece import DrawnPiece, PlacedFile, PlaceOne, earlier_drafts
from corpusreg.documents.handout.roster import NO_ROSTER, Roster, cleaned, without_names
from corpusreg.measures.definitions import BY_NAME
from corpusreg.system.errors import ReadError, StoreError, UsageError
from corpusreg.system.isolate import Pool
from corpusreg.system.plaintext import plain
from corpusreg.text.classroom import corrected

__all__ = [
    "Problem", "Read", "class_of", "coded", "members_of", "pieces_of", "problem_of",
    "read_class", "titled", "with_scores",
]  # fmt: skip

_UNNAMED, _UNTITLED = "The class", "Untitled"


@dataclass(frozen=True)
class Problem:
    """A line for the terminal, and the same for the teacher's sheet, without names."""

    line: str
    shown: str


@dataclass(frozen=True)
class Read:
    """A class that was read. drawn: what its sheets show, by file and number, where asked
    for. before: for each later draft the file of the draft before."""

    saved: SavedClass
    problems: tuple[Problem, ...]
    before: Mapping[str, str]
    drawn: Mapping[tuple[str, str], DrawnPiece]

    @property
    def group(self) -> Class:
        """The class as its teacher reads it."""
        return class_of(self.saved)


def class_of(found: SavedClass) -> Class:
    """The class with the corrections of its teacher."""
    settings = found.settings
    pieces = [corrected(piece, settings.corrections) for piece in found.pieces]
    return classroom(found.name, pieces, settings.measures, found.called, found.unread)


@contextmanager
def pieces_of(source: Path) -> Iterator[tuple[Path, SavedClass | None]]:
    """The folder of a class's scores, which is removed where the class was saved with them.

    Raises UsageError for what is neither a folder nor a saved class, DataError as `opened`.
    """
    if source.is_dir():
        yield source.resolve(), None
        return
    if not source.name.endswith(ENDING):
        raise UsageError(
            f"{source}: not a folder; give the folder of the class's pieces, or the file in "
            f"which it was saved, NAME{ENDING}"
        )
    found = opened(source)
    if not found.scores:
        raise UsageError(
            f"{source}: saved without its scores; give the folder of the class's pieces"
        )
    with tempfile.TemporaryDirectory() as aside:
        folder = Path(aside) / "class"
        for file, data in found.scores.items():
            path = (folder / file).resolve()
            if not path.is_relative_to(folder.resolve()):
                raise UsageError(f"{source}: holds a file outside its folder; choose another")
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        yield folder, found


def read_class(
    folder: Path,
    name: str = "",
    *,
    names: Roster = NO_ROSTER,
    known: Mapping[str, tuple[str, str]] | None = None,
    settings: Settings | None = None,
    cohort: str | None = None,
    draw: bool = False,
    workers: int = 2,
    on_piece: Callable[[int, int], None] | None = None,
) -> Read:
    """Read all pieces of a folder.

    name: of the class, by default the folder's. known: what files are called, where it was
    saved; by default the roster says it. cohort: works to compare with where the
    settings have none of a file's own. draw: whether sheets are to follow. on_piece: told how
    many files are done, and of how many.

    Raises UsageError for what does not exist, ReadError where no piece can be read,
    DataError for drafts that go round in a circle, StoreError without a reference.
    """
    chosen = settings or Settings()
    unknown = [each for each in chosen.measures if each not in BY_NAME]
    if unknown:
        raise UsageError(f"no measure '{unknown[0]}'; choose among {', '.join(BY_NAME)}")
    members, before, faults = members_of(folder, names)
    called = {**names.known(members), **(known or {})}
    place = PlaceOne(
        folder,
        chosen.measures if draw else None,
        cohort,
        tuple(chosen.cohorts.items()),
        tuple(before.items()),
        chosen.corrections,
    )
    problems = [Problem(each, without_names(each, names.hidden)) for each in faults]
    unread: list[Unread] = []
    pieces: list[ClassPiece] = []
    drawn: dict[tuple[str, str], DrawnPiece] = {}
    made = ""
    for file, found in _placed(place, members, workers, on_piece):
        made = made or found.reference_id
        pieces += found.pieces
        drawn |= {
            (p.file, p.number): d for p, d in zip(found.pieces, found.drawn, strict=False)
        }
        for failure in found.failures:
            problem = problem_of(failure, folder / file, called[file][0])
            problems.append(problem)
            why = problem.shown.removeprefix(f"{called[file][0]}: ")
            unread.append(Unread(file, called[file][0], why))
    if not pieces:
        raise ReadError(f"{folder}: no piece can be read; the first: {problems[0].line}")
    saved = SavedClass(name or folder.name, tuple(pieces), tuple(unread), called, chosen, made)
    return Read(titled(saved, names.hidden), tuple(problems), before, drawn)


def titled(found: SavedClass, hidden: Mapping[str, str]) -> SavedClass:
    """The class without the names that `hidden` maps to codes in its name and in titles;
    a title that is only the name of a file goes too."""

    def own(piece: ClassPiece) -> ClassPiece:
        if piece.title == PurePosixPath(piece.file).stem:
            return replace(piece, title=_UNTITLED)
        return replace(piece, title=without_names(piece.title, hidden, any_case=True))

    name = without_names(plain(found.name), hidden, any_case=True) or _UNNAMED
    pieces = tuple(map(own, found.pieces)) if hidden else found.pieces
    return replace(found, name=name, pieces=pieces)


def members_of(folder: Path, names: Roster) -> tuple[list[str], Mapping[str, str], list[str]]:
    """Files of a class that have a sheet, for each later draft the file of the draft before,
    and what could not be entered, one line each.

    Raises ReadError for a folder without scores, DataError as `earlier_drafts`.
    """
    faults: list[str] = []
    files = sorted(
        path.relative_to(folder).as_posix() for path in score_files([folder], faults)
    )
    before = earlier_drafts(files, names)
    return [file for file in files if file not in before.values()], before, faults


def _placed(
    place: PlaceOne,
    files: Sequence[str],
    workers: int,
    on_piece: Callable[[int, int], None] | None,
) -> Iterator[tuple[str, PlacedFile]]:
    """Each file's works, or why it has none."""
    with Pool(place, workers) as pool:
        for done, answer in enumerate(pool.in_turn(files), start=1):
            if isinstance(answer.error, (UsageError, StoreError)):
                raise answer.error
            failed = PlacedFile((), (str(answer.error),), "")
            yield answer.item, answer.result if answer.error is None else failed
            if on_piece:
                on_piece(done, len(files))


def problem_of(failure: str, path: Path, called: str) -> Problem:
    """What could not be read. called: the file, on the teacher's sheet."""
    reason = failure.removeprefix(f"{path.name}: ")
    line = failure if str(path) in failure else f"{path}: {reason}"
    return Problem(line, line.replace(str(path), called).replace(path.name, called))


def coded(found: SavedClass, hidden: Mapping[str, str]) -> SavedClass:
    """The class without the names that `hidden` maps to codes, also in names of files."""
    if not hidden:
        return found
    files = {file: f"{code}{Path(file).suffix}" for file, (code, _) in found.called.items()}

    def own(each: Any) -> Any:
        return replace(each, file=files.get(each.file, each.file))

    settings = replace(
        found.settings,
        cohorts={files.get(f, f): cohort for f, cohort in found.settings.cohorts.items()},
        corrections=tuple(map(own, found.settings.corrections)),
    )
    renamed = replace(
        found,
        pieces=tuple(map(own, found.pieces)),
        unread=tuple(map(own, found.unread)),
        called={files[file]: called for file, called in found.called.items()},
        settings=settings,
        scores={},
    )
    return cleaned(renamed, hidden)


def with_scores(found: SavedClass, folder: Path) -> SavedClass:
    """The class with the scores of its pieces in it."""
    files = dict.fromkeys(piece.file for piece in found.pieces)
    return replace(found, scores={file: (folder / file).read_bytes() for file in files})
