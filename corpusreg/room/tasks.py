"""What is done with scores, each call in a bounded child process."""

from __future__ import annotations

import os
import pickle
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from corpusreg.comparison.class_file import SavedClass, Settings
from corpusreg.comparison.class_piece import ClassPiece
from corpusreg.comparison.comparison import Comparison
from corpusreg.system.errors import CorpusregError
from corpusreg.system.writing import replacing

__all__ = [
    "PlaceTask",
    "Placed",
    "ReportTask",
    "SheetsMade",
    "SheetsTask",
    "inside",
    "make_sheets",
    "place",
    "report",
]


@dataclass(frozen=True)
class PlaceTask:
    """A file to be compared. folder: what names are relative to. to: where the comparisons
    are kept for its report. before: files of earlier drafts, the oldest first."""

    folder: Path
    file: str
    to: Path
    cohort: str | None
    before: tuple[str, ...] = ()


@dataclass(frozen=True)
class Placed:
    """What a class keeps of the works in a file, in order, and what could not be read.

    reference_id: what they were compared with.
    """

    pieces: tuple[ClassPiece, ...]
    problems: tuple[str, ...]
    reference_id: str


@dataclass(frozen=True)
class ReportTask:
    """A report to be written of the comparisons that were kept in the file `kept`."""

    kept: Path
    to: Path


@dataclass(frozen=True, eq=False)
class SheetsTask:
    """Sheets of a class, to be packed into the archive `to`, which is new.

    work: a folder to make them in; a text `sentences.txt` in it is heeded. settings: the
    teacher's. earlier: a class to set beside it, None without one.
    """

    folder: Path
    work: Path
    to: Path
    roster: Path | None
    codes: bool
    paper: str
    settings: Settings
    earlier: SavedClass | None = None


@dataclass(frozen=True)
class SheetsMade:
    """How many sheets, and what is to be said about them. pages: of `work`, to be looked at
    before they are saved."""

    pieces: int
    lines: tuple[str, ...]
    pages: tuple[str, ...]


def place(task: PlaceTask) -> Placed:
    """Compare the works of a file, as `compare` does, and keep the comparisons.

    Raises CorpusregError where there is no usable reference or cohort.
    """
    from corpusreg.documents.handout.piece import place_class_file
    from corpusreg.store import kept_reference

    reference = kept_reference()
    comparisons, pieces, failures = place_class_file(
        reference, task.folder, task.file, task.before, task.cohort
    )
    problems, made = tuple(inside(task.folder, failures)), reference.reference_id
    kept = Kept(tuple(comparisons), problems, made)
    task.to.write_bytes(pickle.dumps(kept))
    return Placed(tuple(pieces), problems, made)


@dataclass(frozen=True)
class Kept:
    """Comparisons between two tasks, in a file of the run's own folder."""

    comparisons: tuple[Comparison, ...]
    problems: tuple[str, ...]
    reference_id: str


def report(task: ReportTask) -> None:
    """Write the report of a file, as `compare --report` does.

    Raises CorpusregError where there is no usable reference.
    """
    from corpusreg.comparison.compared import studied
    from corpusreg.documents.report import write_report
    from corpusreg.store import kept_reference

    kept: Kept = pickle.loads(task.kept.read_bytes())
    reference = kept_reference()
    write_report(
        kept.comparisons, kept.problems, kept.reference_id, task.to,
        studied=studied(reference, kept.comparisons), reference=reference,
    )  # fmt: skip


def make_sheets(task: SheetsTask) -> SheetsMade:
    """Make the sheets of a class, as `handout` does, and pack them.

    Raises CorpusregError as `corpusreg.documents.handout.writing.handout` does.
    """
    from corpusreg.documents.handout.writing import handout

    try:
        made = handout(
            task.folder,
            task.work,
            roster=task.roster,
            codes=task.codes,
            paper=task.paper,
            settings=task.settings,
            earlier=task.earlier,
        )
    except CorpusregError as error:
        raise CorpusregError(_told(task, [str(error)])[0]) from error
    with (
        replacing(task.to) as aside,
        zipfile.ZipFile(aside, "w", zipfile.ZIP_DEFLATED) as archive,
    ):
        for path in sorted(each for each in task.work.rglob("*") if each.is_file()):
            archive.write(path, f"handouts/{path.relative_to(task.work).as_posix()}")
    pages = ("overview.html", *_sheets(task.work), "teacher.html")
    return SheetsMade(made.pieces, _told(task, (*made.problems, *made.remarks)), pages)


def _sheets(work: Path) -> list[str]:
    return sorted(path.relative_to(work).as_posix() for path in work.glob("sheets/*.html"))


def _told(task: SheetsTask, lines: Iterable[str]) -> tuple[str, ...]:
    """Lines about a class without the folders of the room."""
    lines = inside(task.work, inside(task.folder, lines))
    return tuple(line.replace(str(task.roster), "the roster") for line in lines)


def inside(folder: Path, lines: Iterable[str]) -> list[str]:
    """Lines that name files as people know them, without the folder that holds them."""
    return [line.replace(f"{folder}{os.sep}", "") for line in lines]
