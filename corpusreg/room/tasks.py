"""What is done with scores, each call in a bounded child process."""

from __future__ import annotations

import os
import pickle
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from corpusreg.comparison.class_piece import ClassPiece, Correction
from corpusreg.comparison.compared import studied
from corpusreg.comparison.comparison import Comparison
from corpusreg.documents.handout.piece import DrawnPiece, drawn, place_class_file
from corpusreg.documents.report import write_report
from corpusreg.store import kept_reference

__all__ = [
    "DrawTask", "PlaceTask", "PlacedWorks", "ReportTask", "draw", "inside", "place", "report",
]  # fmt: skip


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
class PlacedWorks:
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
class DrawTask:
    """What the sheets show of a file whose comparisons were kept. pieces: as they were found;
    corrections: the teacher's; chosen: names of measures."""

    folder: Path
    file: str
    kept: Path
    pieces: tuple[ClassPiece, ...]
    corrections: tuple[Correction, ...]
    chosen: tuple[str, ...]


def place(task: PlaceTask) -> PlacedWorks:
    """Compare the works of a file, as `compare` does, and keep the comparisons.

    Raises CorpusregError where there is no usable reference or cohort.
    """
    reference = kept_reference()
    comparisons, pieces, failures = place_class_file(
        reference, task.folder, task.file, task.before, task.cohort
    )
    problems, made = tuple(inside(task.folder, failures)), reference.reference_id
    kept = Kept(tuple(comparisons), problems, made)
    task.to.write_bytes(pickle.dumps(kept))
    return PlacedWorks(tuple(pieces), problems, made)


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
    kept: Kept = pickle.loads(task.kept.read_bytes())
    reference = kept_reference()
    write_report(
        kept.comparisons, kept.problems, kept.reference_id, task.to,
        studied=studied(reference, kept.comparisons), reference=reference,
    )  # fmt: skip


def draw(task: DrawTask) -> tuple[DrawnPiece, ...]:
    """The map, the sentences and the passages of each work of a file."""
    kept: Kept = pickle.loads(task.kept.read_bytes())
    path = task.folder / task.file
    return drawn(kept.comparisons, task.pieces, task.corrections, task.chosen, path)


def inside(folder: Path, lines: Iterable[str]) -> list[str]:
    """Lines that name files as people know them, without the folder that holds them."""
    return [line.replace(f"{folder}{os.sep}", "") for line in lines]
