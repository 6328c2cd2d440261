"""What is done with scores, each call in a bounded child process."""

from __future__ import annotations

import os
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from corpusreg.session import Session
from corpusreg.system.errors import CorpusregError
from corpusreg.system.writing import replacing

__all__ = [
    "ReportTask",
    "Reported",
    "SheetsMade",
    "SheetsTask",
    "inside",
    "make_sheets",
    "report",
]


@dataclass(frozen=True)
class ReportTask:
    """A file to be placed and its report to be written. folder: what names are relative to."""

    folder: Path
    file: str
    to: Path
    cohort: str | None


@dataclass(frozen=True)
class Reported:
    """Titles of the works in the report, none where nothing could be read; problems.

    numbers: of the same works in their file, '' for its only one.
    """

    titles: tuple[str, ...]
    problems: tuple[str, ...]
    numbers: tuple[str, ...] = ()


@dataclass(frozen=True)
class SheetsTask:
    """Sheets of a class, to be packed into the archive `to`, which is new.

    work: a folder to make them in; a text `sentences.txt` in it is heeded.
    """

    folder: Path
    work: Path
    to: Path
    roster: Path | None
    codes: bool
    paper: str
    cohort: str | None


@dataclass(frozen=True)
class SheetsMade:
    """How many sheets, and what is to be said about them."""

    pieces: int
    lines: tuple[str, ...]


def report(task: ReportTask) -> Reported:
    """Write the report of a file, as `compare --report` does.

    Raises CorpusregError where there is no usable reference or cohort.
    """
    from corpusreg.documents.report.writing import write_report

    with Session() as session:
        found = session.compare_all(task.folder / task.file, task.cohort)
        problems = tuple(inside(task.folder, found.failures))
        if found.comparisons:
            write_report(
                found.comparisons, problems, found.reference_id, task.to,
                studied=found.studied, reference=session.reference,
            )  # fmt: skip
    pieces = [each.piece for each in found.comparisons]
    numbers = tuple(piece.number for piece in pieces)
    return Reported(tuple(piece.title for piece in pieces), problems, numbers)


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
            cohort=task.cohort,
        )
    except CorpusregError as error:
        raise CorpusregError(_told(task, [str(error)])[0]) from error
    with (
        replacing(task.to) as aside,
        zipfile.ZipFile(aside, "w", zipfile.ZIP_DEFLATED) as archive,
    ):
        for path in sorted(each for each in task.work.rglob("*") if each.is_file()):
            archive.write(path, f"handouts/{path.relative_to(task.work).as_posix()}")
    return SheetsMade(made.pieces, _told(task, (*made.problems, *made.remarks)))


def _told(task: SheetsTask, lines: Iterable[str]) -> tuple[str, ...]:
    """Lines about a class without the folders of the room."""
    lines = inside(task.work, inside(task.folder, lines))
    return tuple(line.replace(str(task.roster), "the roster") for line in lines)


def inside(folder: Path, lines: Iterable[str]) -> list[str]:
    """Lines that name files as people know them, without the folder that holds them."""
    return [line.replace(f"{folder}{os.sep}", "") for line in lines]
