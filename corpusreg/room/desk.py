"""What lies on the desk: the scores given, their reports, their sheets; one job at a time.

Everything is kept in one folder that is removed at the end. Where the desk is full, someone
says what is put away. Requests only look and put jobs into a queue; one thread does them.
"""

from __future__ import annotations

import contextlib
import queue
import secrets
import shutil
import sys
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import IO

from corpusreg.demonstration import pieces_folder
from corpusreg.room.changes import ContrastTask, DraftTask, Made, ReviseTask, Task, work
from corpusreg.room.folder import run_folder, sweep
from corpusreg.room.tasks import Reported, ReportTask, SheetsMade, SheetsTask, make_sheets
from corpusreg.room.uploads import PER_FILE, Taken, keep, score_name, take, too_large
from corpusreg.session import Session, Way
from corpusreg.store.building.batch import Progress
from corpusreg.system import settings
from corpusreg.system.errors import CorpusregError, UsageError
from corpusreg.system.isolate import Answer, Limits, Pool, StoppedError

__all__ = ["Asked", "Desk", "Measuring", "Piece", "Pile", "Sheets", "Work"]

_PILES = 12  # kept at once; each is bounded by what may be given at once
_MADE = 12  # drafts, contrasts and options kept of what was given at once
_WORKERS = 2
# Sheets of a class: many pieces, each read in a child of its own with its own limits.
_SHEETS_LIMITS = Limits(cpu_seconds=600, wall_seconds=3600)
_SMALL = 2**20  # bytes of a roster or a text
_PATIENCE = 5.0  # seconds for what is under way at the end; measuring goes on from there
_WARM = ("two-shores.mid", "stairs.musicxml")


@dataclass
class Piece:
    """A file: its report once there is one, its titles, what could not be read."""

    file: str
    report: Path | None = None
    titles: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    numbers: tuple[str, ...] = ()
    done: bool = False

    @property
    def title(self) -> str:
        """What it is called."""
        several = f" and {len(self.titles) - 1} more" if len(self.titles) > 1 else ""
        return f"{self.titles[0]}{several}" if self.titles else self.file


@dataclass(frozen=True)
class Work:
    """A work that could be read: its file, its number there, and what it is called."""

    file: str
    number: str
    title: str


@dataclass
class Sheets:
    """The handouts asked for: the archive once it is there."""

    archive: Path | None = None
    pieces: int = 0
    lines: tuple[str, ...] = ()


@dataclass(frozen=True)
class Asked:
    """A form of the page as it was filled in. fields: by name, without files."""

    form: str
    fields: Mapping[str, str]


@dataclass
class Pile:
    """What was given at once. doing: what is under way, '' for nothing; news: what is done
    last; problem: why the last thing asked for could not be done, one line; asked: the form
    that asked for it, None for the first reports. changes: drafts, contrasts and options by
    number, oldest first; looked_at: the last that has a page."""

    key: str
    folder: Path
    taken: Taken
    pieces: list[Piece]
    cohort: str = ""
    doing: str = ""
    news: str = ""
    problem: str = ""
    asked: Asked | None = None
    sheets: Sheets | None = None
    changes: dict[int, Made] = field(default_factory=dict)
    looked_at: int | None = None
    made: int = 0  # reports, sheets and changes so far, for names of files

    @property
    def scores(self) -> Path:
        """The folder of the scores."""
        return self.folder / "scores" / self.taken.name

    @property
    def name(self) -> str:
        """Of the class or, of a single score, its title."""
        return self.taken.name if len(self.pieces) > 1 else self.pieces[0].title

    @property
    def first(self) -> int | None:
        """Number of the first piece that has a report."""
        ready = [number for number, piece in enumerate(self.pieces) if piece.report]
        return ready[0] if ready else None

    @property
    def recent(self) -> list[tuple[int, Made]]:
        """Drafts, contrasts and options with their numbers, the last first."""
        # A copy in one step: another thread adds to them while a page is made.
        return list(self.changes.items())[::-1]

    @property
    def works(self) -> list[Work]:
        """All works that could be read, in order."""
        return [
            Work(piece.file, number, title)
            for piece in self.pieces
            for number, title in zip(piece.numbers, piece.titles, strict=True)
        ]


@dataclass
class Measuring:
    """The measuring of the bundled scores. share: of their bytes, 0 to 1."""

    doing: bool = False
    works: int = 0
    share: float = 0.0
    problem: str = ""


@dataclass
class Desk:
    """The state of a run. Use it in a `with` statement; at the end all of it is removed."""

    measuring: Measuring = field(default_factory=Measuring)
    piles: dict[str, Pile] = field(default_factory=dict)

    def __enter__(self) -> Desk:
        sweep()
        self._ending = contextlib.ExitStack()
        self._folder = self._ending.enter_context(run_folder())
        self._adding = threading.Lock()
        self._jobs: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        inside = _kept_inside(self._folder)
        self._scores = Pool(work, _WORKERS, environment=inside)
        self._sheets = Pool(make_sheets, 1, _SHEETS_LIMITS, inside)
        self._worker = threading.Thread(target=self._work, daemon=True)
        self._worker.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._scores.close()
        self._sheets.close()
        self._jobs.put(None)
        self._worker.join(_PATIENCE)
        self._ending.close()

    def warm(self) -> None:
        """Have the children load what they need before someone waits for it."""
        self._jobs.put(self._warm)

    def add(self, given: Iterable[tuple[str, IO[bytes]]]) -> Pile:
        """Take what is given and begin its reports.

        Raises UsageError as `take` does, and where the desk is full.
        """
        self._refuse_more()
        key = secrets.token_urlsafe(12)
        folder = self._folder / f"pile{key}"
        (folder / "scores").mkdir(parents=True)
        try:
            taken = take(given, folder / "scores")
            pile = Pile(key, folder, taken, [Piece(file) for file in taken.files])
            with self._adding:
                self._refuse_more()
                self.piles[key] = pile
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        self.compare(pile, "")
        return pile

    @property
    def full(self) -> bool:
        """Whether something has to be put away before more can be given."""
        return len(self.piles) >= _PILES

    def put_away(self, pile: Pile) -> None:
        """Remove what was given at once, and all that was made of it."""
        self.piles.pop(pile.key, None)
        shutil.rmtree(pile.folder, ignore_errors=True)

    def _refuse_more(self) -> None:
        if self.full:
            raise UsageError(
                f"{_PILES} are open, and no more can be kept at once; "
                "put one away on the first page, then give these again"
            )

    def compare(self, pile: Pile, cohort: str, asked: Asked | None = None) -> None:
        """Begin the reports, with works chosen by `cohort`, '' for those most like each."""
        pile.cohort, pile.looked_at = cohort, None
        pile.pieces = [Piece(file) for file in pile.taken.files]
        self._put(pile, "Reading and comparing", partial(self._compare, pile), asked)

    def make_sheets(
        self,
        pile: Pile,
        roster: IO[bytes] | None,
        text: IO[bytes] | None,
        *,
        codes: bool,
        paper: str,
        asked: Asked,
    ) -> None:
        """Begin the handouts. roster, text: as `corpusreg handout` reads them, or None.

        Raises UsageError where one of these is too large.
        """
        pile.made += 1
        work = pile.folder / f"sheets{pile.made}"
        work.mkdir()
        names = pile.folder / f"roster{pile.made}.csv" if roster else None
        if roster and names:
            keep(roster, names, _SMALL, too_large("the roster", _SMALL))
        if text:
            keep(text, work / "sentences.txt", _SMALL, too_large("the sentences", _SMALL))
        task = SheetsTask(
            pile.scores, work, pile.folder / f"handouts{pile.made}.zip", names, codes, paper,
            pile.cohort or None,
        )  # fmt: skip
        pile.sheets = None
        doing = "Making the handouts, a few seconds for each piece"
        self._put(pile, doing, partial(self._make_sheets, pile, task), asked)

    def set_against(
        self, pile: Pile, file: str, name: str, earlier: IO[bytes], asked: Asked
    ) -> None:
        """Begin to set a score beside an earlier draft of it. name: of the draft's file.

        Raises UsageError where that is no score or too large.
        """
        to = self._next(pile)
        draft = to / score_name(name)
        keep(earlier, draft, PER_FILE, too_large(name))
        task = DraftTask(pile.scores, file, draft, to, pile.cohort or None)
        self._begin(pile, "Setting the two beside each other", task, asked)

    def contrast(self, pile: Pile, chosen: Work, how: Way, bars: str, asked: Asked) -> None:
        """Begin a version in other registers. bars: '' for all."""
        to = self._next(pile)
        task = ContrastTask(pile.scores, chosen.file, chosen.number, how, bars, to)
        self._begin(pile, "Writing the version", task, asked)

    def revise(self, pile: Pile, chosen: Work, toward: str, asked: Asked) -> None:
        """Begin to look for small changes toward an intention."""
        to, cohort = self._next(pile), pile.cohort or None
        task = ReviseTask(pile.scores, chosen.file, chosen.number, toward, to, cohort)
        self._begin(pile, "Trying small changes", task, asked)

    def measure(self) -> None:
        """Begin measuring the bundled scores, where that is not under way."""
        if not self.measuring.doing:
            self.measuring = Measuring(doing=True)
            self._jobs.put(self._measure)

    def _begin(self, pile: Pile, doing: str, task: Task, asked: Asked) -> None:
        self._put(pile, doing, partial(self._change, pile, pile.made, task), asked)

    def _next(self, pile: Pile) -> Path:
        """A new folder for something that is made."""
        pile.made += 1
        folder = pile.folder / f"made{pile.made}"
        folder.mkdir()
        return folder

    def _put(
        self, pile: Pile, doing: str, job: Callable[[], None], asked: Asked | None
    ) -> None:
        pile.doing, pile.news, pile.problem, pile.asked = doing, "", "", asked

        def guarded() -> None:
            try:
                job()
            except CorpusregError as error:
                pile.problem = _line(error)
            except Exception as error:  # noqa: BLE001 - the next job must be done
                pile.problem = _fault(error)
            pile.doing = ""

        self._jobs.put(guarded)

    def _work(self) -> None:
        while (job := self._jobs.get()) is not None:
            job()

    def _compare(self, pile: Pile) -> None:
        waiting = list(pile.pieces)
        while waiting:
            now, waiting = waiting[:_WORKERS], waiting[_WORKERS:]
            if waiting:
                done = len(pile.pieces) - len(waiting)
                pile.doing = f"Reading and comparing, {done} of {len(pile.pieces)}"
            tasks = {}
            for piece in now:
                pile.made += 1
                to = pile.folder / f"report{pile.made}.html"
                tasks[ReportTask(pile.scores, piece.file, to, pile.cohort or None)] = piece
            for answer in self._scores.each(list(tasks)):
                _settle(tasks[answer.item], answer)
        if pile.first is not None:
            pile.news = f"The report{' is' if len(pile.pieces) == 1 else 's are'} ready."

    def _make_sheets(self, pile: Pile, task: SheetsTask) -> None:
        (answer,) = self._sheets.each([task])
        shutil.rmtree(task.work, ignore_errors=True)
        if answer.error:
            raise answer.error
        made: SheetsMade = answer.result
        pile.sheets = Sheets(task.to, made.pieces, made.lines)
        pile.news = "The handouts are ready."

    def _change(self, pile: Pile, number: int, task: Task) -> None:
        (answer,) = self._scores.each([task])
        if answer.error:
            raise answer.error
        made: Made = answer.result
        pile.changes[number] = made
        if made.page:
            pile.looked_at = number
        many = "One way" if len(made.offers) == 1 else f"{len(made.offers)} ways"
        pile.news = "The page is ready, below." if made.page else f"{many} to try."
        while len(pile.changes) > _MADE:
            oldest = next(iter(pile.changes))
            del pile.changes[oldest]
            pile.looked_at = None if pile.looked_at == oldest else pile.looked_at
            shutil.rmtree(pile.folder / f"made{oldest}", ignore_errors=True)

    def _measure(self) -> None:
        state = self.measuring

        def show(progress: Progress) -> None:
            state.works = progress.works
            state.share = progress.bytes_done / max(progress.bytes_total, 1)

        try:
            Session().extract(on_progress=show)
            self.warm()
        except CorpusregError as error:
            state.problem = _line(error)
        except Exception as error:  # noqa: BLE001 - the room stays open
            state.problem = _fault(error)
        state.doing = False

    def _warm(self) -> None:
        """A piece of the demo for each child; what comes of it does not matter."""
        folder = self._folder / "warm"
        folder.mkdir(exist_ok=True)
        tasks = [
            ReportTask(pieces_folder(), name, folder / f"{name}.html", None) for name in _WARM
        ]
        with contextlib.suppress(StoppedError):  # the room is closed already
            self._scores.each(tasks)


def _kept_inside(folder: Path) -> dict[str, str]:
    """Variables by which children leave nothing of a score outside the folder of the run."""
    aside = folder / "aside"
    aside.mkdir()
    temporary = dict.fromkeys(("TMPDIR", "TEMP", "TMP"), str(aside))
    return temporary | {settings.LILYPOND_CACHE: str(folder / "lilypond")}


def _settle(piece: Piece, answer: Answer) -> None:
    """What became of a file, kept with it."""
    if answer.error is None:
        found: Reported = answer.result
        piece.titles, piece.problems = found.titles, found.problems
        piece.numbers = found.numbers
        piece.report = answer.item.to if found.titles else None
    else:
        words = _line(answer.error)
        if isinstance(answer.error, StoppedError):
            words += "; give a smaller score, or export it again"
        named = words if piece.file in words else f"{piece.file}: {words}"
        piece.problems = (named,)
    piece.done = True


def _line(error: Exception) -> str:
    return " ".join(str(error).split())


def _fault(error: Exception) -> str:
    """What is said when corpusreg itself is at fault; the whole goes to the terminal."""
    print(f"corpusreg: {type(error).__name__}: {_line(error)}", file=sys.stderr)
    return f"corpusreg is at fault here ({type(error).__name__}); try it with another score"
