"""What is done with one score beside its report, each call in a bounded child process.

draft     what changed since an earlier draft, as `compare --against --report` shows it
contrast  the piece in other registers, as `contrast` writes it
revise    small changes that lead where its writer wants to go, as `revise` writes them
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from corpusreg.documents.handout.piece import DrawnPiece
from corpusreg.documents.report import write_report
from corpusreg.room.tasks import DrawTask, PlacedWorks, PlaceTask, draw, inside, place
from corpusreg.score.formats import FORMATS
from corpusreg.session import Session, Way
from corpusreg.system.errors import CorpusregError
from corpusreg.text.revision import own_words, shared_words

__all__ = ["WAYS", "ContrastTask", "DraftTask", "ReviseTask", "Task", "TaskResult", "work"]

# What the page calls the ways of a contrast.
WAYS = {
    "settled": "each entry kept in the register before it",
    "narrow": "drawn together, as near to the middle as octaves bring it",
    "open": "opened out, as far as octaves bring it",
}
_PAGE = "page.html"


@dataclass(frozen=True)
class DraftTask:
    """A score and its earlier draft, which lies in the folder `to`, new otherwise.

    folder, file: as in `PlaceTask`.
    """

    folder: Path
    file: str
    earlier: Path
    to: Path
    cohort: str | None


@dataclass(frozen=True)
class ContrastTask:
    """A version in other registers. number: which work of the file, '' for its only one.

    how: one of WAYS. bars: printed, as in '5-8', '' for all. to: a new folder.
    """

    folder: Path
    file: str
    number: str
    how: Way
    bars: str
    to: Path


@dataclass(frozen=True)
class ReviseTask:
    """Options toward an intention; the rest as in `ContrastTask`."""

    folder: Path
    file: str
    number: str
    toward: str
    to: Path
    cohort: str | None


@dataclass(frozen=True)
class Offer:
    """Something to take away: words about it, and the file where there is one."""

    words: str
    file: Path | None


@dataclass(frozen=True)
class TaskResult:
    """What came of a task: a heading, a page to look at or None, what to take away, and what
    is true of all of it."""

    title: str
    page: Path | None = None
    offers: tuple[Offer, ...] = ()
    shared: str = ""


Task = PlaceTask | DrawTask | DraftTask | ContrastTask | ReviseTask


def work(task: Task) -> PlacedWorks | TaskResult | tuple[DrawnPiece, ...]:
    """Do what is asked. Raises CorpusregError where it cannot be done, without folders."""
    if isinstance(task, PlaceTask):
        return place(task)
    if isinstance(task, DrawTask):
        return draw(task)
    try:
        if isinstance(task, DraftTask):
            return _draft(task)
        return _contrast(task) if isinstance(task, ContrastTask) else _revise(task)
    except CorpusregError as error:
        (told,) = inside(task.to, inside(task.folder, [str(error)]))
        raise CorpusregError(told.removeprefix("--toward ")) from error


def _draft(task: DraftTask) -> TaskResult:
    page = task.to / _PAGE
    with Session() as session:
        found = session.compare_all(task.folder / task.file, task.cohort, against=task.earlier)
        problems = inside(task.to, inside(task.folder, found.failures))
        if not found.drafts:
            raise CorpusregError(problems[0])
        write_report(
            found.comparisons, problems, found.reference_id, page,
            studied=found.studied, drafts=found.drafts, reference=session.reference,
        )  # fmt: skip
    title = found.comparisons[0].piece.title
    return TaskResult(f"{title}: what changed since {task.earlier.name}", page)


def _contrast(task: ContrastTask) -> TaskResult:
    path = task.folder / task.file
    endings = [".musicxml", ".mid"] if _family(path) == "musicxml" else [".mid"]
    files = [task.to / f"{path.stem}-{task.how}{ending}" for ending in endings]
    answer = Session().contrast(
        path, task.how, bars=task.bars or None, to=files, number=task.number or None
    )
    page, found = task.to / _PAGE, answer.result
    answer.report(page)
    where = f", {found.bars}" if task.bars else ""
    offers = tuple(Offer("", file) for file in files)
    return TaskResult(f"{found.title}{where}: {WAYS[task.how]}", page, offers)


def _revise(task: ReviseTask) -> TaskResult:
    path = task.folder / task.file
    with Session() as session:
        found = session.revise(
            path,
            task.toward,
            to=task.to if _family(path) in ("musicxml", "midi") else None,
            cohort=task.cohort,
            number=task.number or None,
        ).result
    files = (each.file for each in found.revisions)
    offers = tuple(map(Offer, own_words(found), files))
    title = f"{found.piece.piece.title}, toward '{found.toward}'"
    return TaskResult(title, None, offers, " ".join(shared_words(found)))


def _family(path: Path) -> str:
    return FORMATS[path.suffix.lower()]
