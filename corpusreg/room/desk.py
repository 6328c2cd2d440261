"""What lies on the desk: the scores given, their reports, their sheets; one job at a time.

Everything is kept in one folder that is removed at the end. Where the desk is full, someone
says what is put away. Requests only look and put jobs into a queue; one thread does them.
"""

from __future__ import annotations

import contextlib
import io
import itertools
import queue
import secrets
import shutil
import sys
import threading
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import IO

from corpusreg.comparison.assignments import Assignment
from corpusreg.comparison.class_file import ENDING, LARGEST, SavedClass, Settings, decoded
from corpusreg.comparison.class_piece import ClassPiece, Correction
from corpusreg.comparison.classroom import Class, Unread
from corpusreg.demonstration import pieces_folder
from corpusreg.documents.handout.drafts import chain, earlier_drafts
from corpusreg.documents.handout.reading import class_of, with_scores
from corpusreg.documents.handout.roster import NO_ROSTER
from corpusreg.room.changes import ContrastTask, DraftTask, Made, ReviseTask, Task, work
from corpusreg.room.folder import run_folder, sweep
from corpusreg.room.tasks import (
    Placed,
    PlaceTask,
    ReportTask,
    SheetsMade,
    SheetsTask,
    make_sheets,
    report,
)
from corpusreg.room.uploads import PER_FILE, Taken, clean, keep, score_name, take, too_large
from corpusreg.session import Session, Way
from corpusreg.store.building.batch import Progress
from corpusreg.system import settings
from corpusreg.system.errors import CorpusregError, UsageError
from corpusreg.system.isolate import Answer, Limits, Pool, StoppedError

__all__ = ["Asked", "Desk", "Piece", "Pile", "Work"]

_PILES = 12  # kept at once; each is bounded by what may be given at once
_MADE = 12  # drafts, contrasts and options kept of what was given at once
_WORKERS = 2
_FIRST, _LATER = 0, 1  # reports that somebody waits for, and the others
_REPORT_SECONDS = 300.0
_POLL = 0.1
_READING = "Reading and comparing"
# Sheets of a class: many pieces, each read in a child of its own with its own limits.
_SHEETS_LIMITS = Limits(cpu_seconds=600, wall_seconds=3600)
_SMALL = 2**20  # bytes of a roster or a text
_PATIENCE = 5.0  # seconds for what is under way at the end; measuring goes on from there
_WARM = ("two-shores.mid", "stairs.musicxml")


@dataclass
class Piece:
    """A file: its works once they are compared, what could not be read, its report.

    kept: the comparisons, from which the report is written when it is first looked at, or
    when nothing else is to do. written: set when the report is there or cannot be.
    """

    file: str
    told: tuple[ClassPiece, ...] = ()
    problems: tuple[str, ...] = ()
    kept: Path | None = None
    report: Path | None = None
    done: bool = False
    written: threading.Event = field(default_factory=threading.Event)

    @property
    def title(self) -> str:
        """What it is called."""
        several = f" and {len(self.told) - 1} more" if len(self.told) > 1 else ""
        return f"{self.told[0].title}{several}" if self.told else self.file


@dataclass(frozen=True)
class Work:
    """A work that could be read: the place of its file, its number there, its title."""

    piece: int
    file: str
    number: str
    title: str


@dataclass
class Sheets:
    """The handouts asked for: the archive once it is there, and their pages by name."""

    archive: Path | None = None
    folder: Path | None = None
    pieces: int = 0
    lines: tuple[str, ...] = ()
    pages: tuple[str, ...] = ()


@dataclass(frozen=True)
class Asked:
    """A form of the page as it was filled in. fields: by name, without files."""

    form: str
    fields: Mapping[str, str]


@dataclass
class Pile:
    """What was given at once. doing: what is under way, '' for nothing; news: what is done
    last; problem: why the last thing asked for could not be done, one line; asked: the form
    that asked for it, None for the first comparison. settings: what its teacher has chosen.
    earlier: a class to set beside it. reference_id: what it is compared with. before: earlier
    drafts, by the file of the later one. changes: drafts, contrasts and options by number,
    oldest first, each with the file it is about."""

    key: str
    folder: Path
    taken: Taken
    pieces: list[Piece]
    settings: Settings = field(default_factory=Settings)
    earlier: SavedClass | None = None
    reference_id: str = ""
    before: Mapping[str, str] = field(default_factory=dict)
    doing: str = ""
    news: str = ""
    problem: str = ""
    asked: Asked | None = None
    sheets: Sheets | None = None
    changes: dict[int, tuple[str, Made]] = field(default_factory=dict)
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
        pieces = [each for piece in self.pieces for each in piece.told]
        called = {piece.file: (piece.file, "") for piece in self.pieces}
        return SavedClass(
            self.taken.name, tuple(pieces), tuple(unread), called, self.settings,
            self.reference_id,
        )  # fmt: skip

    @property
    def with_scores(self) -> bool:
        """Whether the scores are here; a class may have been saved without them."""
        return all(piece.kept or not piece.told for piece in self.pieces)

    def place(self, piece: ClassPiece) -> int:
        """The place of a piece's file among all."""
        return next(n for n, each in enumerate(self.pieces) if each.file == piece.file)

    def recent(self, file: str) -> list[tuple[int, Made]]:
        """Drafts, contrasts and options of a file with their numbers, the last first."""
        # A copy in one step: another thread adds to them while a page is made.
        return [(n, made) for n, (of, made) in list(self.changes.items())[::-1] if of == file]

    @property
    def works(self) -> list[Work]:
        """All works that could be read, in order."""
        return [
            Work(place, piece.file, each.number, each.title)
            for place, piece in enumerate(self.pieces)
            for each in piece.told
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
    _closed: bool = False

    def __enter__(self) -> Desk:
        sweep()
        self._ending = contextlib.ExitStack()
        self._folder = self._ending.enter_context(run_folder())
        self._adding = threading.Lock()
        self._jobs: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._reports: queue.PriorityQueue[tuple[int, int, Pile, Piece]] = queue.PriorityQueue()
        self._numbers = itertools.count()
        inside = _kept_inside(self._folder)
        self._scores = Pool(work, _WORKERS, environment=inside)
        self._writers = Pool(report, 1, environment=inside)
        self._sheets = Pool(make_sheets, 1, _SHEETS_LIMITS, inside)
        self._workers = [
            threading.Thread(target=each, daemon=True) for each in (self._work, self._write)
        ]
        for each in self._workers:
            each.start()
        return self

    def __exit__(self, *_: object) -> None:
        for pool in (self._scores, self._writers, self._sheets):
            pool.close()
        self._jobs.put(None)
        self._closed = True
        self._reports.put((_FIRST, next(self._numbers), _NO_PILE, _NO_PIECE))
        for each in self._workers:
            each.join(_PATIENCE)
        self._ending.close()

    def warm(self) -> None:
        """Have the children load what they need before someone waits for it."""
        self._jobs.put(self._warm)

    def add(self, given: Iterable[tuple[str, IO[bytes]]]) -> Pile:
        """Take what is given and begin to compare it.

        Raises UsageError as `take` does, and where the desk is full.
        """
        self._refuse_more()
        key = secrets.token_urlsafe(12)
        folder = self._folder / f"pile{key}"
        (folder / "scores").mkdir(parents=True)
        try:
            several = list(given)
            kept = _opened(several)
            if kept is not None:
                several = [
                    (f"{kept.name}/{file}", io.BytesIO(data))
                    for file, data in kept.scores.items()
                ]
                if not several:
                    return self._put_down(_without_scores(key, folder, kept))
            taken = take(several, folder / "scores")
            before = earlier_drafts(taken.files, NO_ROSTER)
            pieces = [Piece(file) for file in taken.files if file not in before.values()]
            pile = Pile(key, folder, taken, pieces, before=before)
            if kept is not None:
                pile.settings = kept.settings
            self._put_down(pile)
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        self._put(pile, _READING, partial(self._compare, pile, range(len(pieces))), None)
        return pile

    def _put_down(self, pile: Pile) -> Pile:
        with self._adding:
            self._refuse_more()
            self.piles[pile.key] = pile
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

    def compare(
        self, pile: Pile, cohort: str, places: Iterable[int], asked: Asked | None = None
    ) -> None:
        """Begin to compare pieces with works chosen by `cohort`, '' for those most like each.

        places: of the pieces.
        """
        chosen = list(places)
        for place in chosen:
            file = pile.pieces[place].file
            pile.pieces[place] = Piece(file)
            cohorts = {f: c for f, c in pile.settings.cohorts.items() if f != file}
            if cohort:
                cohorts[file] = cohort
            pile.settings = replace(pile.settings, cohorts=cohorts)
        self._put(pile, _READING, partial(self._compare, pile, chosen), asked)

    def correct(self, pile: Pile, correction: Correction) -> None:
        """Let an event be struck, called otherwise, moved or added.

        Raises UsageError for bars that are not there and for an event without a name.
        """
        corrections = (*pile.settings.corrections, correction)
        settings = replace(pile.settings, corrections=corrections)
        class_of(replace(pile.saved, settings=settings))
        pile.settings, pile.problem = settings, ""
        pile.news = "The sheets will follow."

    def take_back(self, pile: Pile, number: int) -> None:
        """Undo a correction, by its place."""
        kept = [each for n, each in enumerate(pile.settings.corrections) if n != number]
        pile.settings = replace(pile.settings, corrections=tuple(kept))
        pile.problem, pile.news = "", "It is as it was found."

    def assign(self, pile: Pile, asked: Assignment | None) -> None:
        """State an intention for all, None for none."""
        pile.settings = replace(pile.settings, asked=asked)
        pile.problem, pile.news = "", "What happens in each piece is told below."

    def set_beside(self, pile: Pile, name: str, earlier: IO[bytes]) -> None:
        """Set an earlier class beside it, from its file. Raises DataError where it is none."""
        pile.earlier = decoded(earlier.read(LARGEST + 1), name)
        pile.problem, pile.news = "", "The two classes stand side by side below."

    def class_file(self, pile: Pile, *, scores: bool) -> SavedClass:
        """The class to be kept, with its scores where they are wanted and here."""
        return with_scores(pile.saved, pile.scores) if scores else pile.saved

    def report(self, pile: Pile, piece: Piece) -> Path | None:
        """The report of a piece, which is waited for; None where there is none."""
        while not piece.done and pile.doing:
            time.sleep(_POLL)
        if piece.kept is None:
            return None
        if not piece.written.is_set():
            self._reports.put((_FIRST, next(self._numbers), pile, piece))
            piece.written.wait(_REPORT_SECONDS)
        return piece.report

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
            pile.settings, pile.earlier,
        )  # fmt: skip
        if pile.sheets and pile.sheets.folder:
            shutil.rmtree(pile.sheets.folder, ignore_errors=True)
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
        task = DraftTask(pile.scores, file, draft, to, pile.settings.cohorts.get(file))
        self._begin(pile, "Setting the two beside each other", task, asked)

    def contrast(self, pile: Pile, chosen: Work, how: Way, bars: str, asked: Asked) -> None:
        """Begin a version in other registers. bars: '' for all."""
        to = self._next(pile)
        task = ContrastTask(pile.scores, chosen.file, chosen.number, how, bars, to)
        self._begin(pile, "Writing the version", task, asked)

    def revise(self, pile: Pile, chosen: Work, toward: str, asked: Asked) -> None:
        """Begin to look for small changes toward an intention."""
        to, cohort = self._next(pile), pile.settings.cohorts.get(chosen.file)
        task = ReviseTask(pile.scores, chosen.file, chosen.number, toward, to, cohort)
        self._begin(pile, "Trying small changes", task, asked)

    def measure(self) -> None:
        """Begin measuring the bundled scores, where that is not under way."""
        if not self.measuring.doing:
            self.measuring = Measuring(doing=True)
            self._jobs.put(self._measure)

    def _begin(
        self, pile: Pile, doing: str, task: DraftTask | ContrastTask | ReviseTask, asked: Asked
    ) -> None:
        job = partial(self._change, pile, pile.made, task.file, task)
        self._put(pile, doing, job, asked)

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

    def _compare(self, pile: Pile, places: Sequence[int]) -> None:
        waiting = [pile.pieces[place] for place in places]
        many = len(waiting)
        while waiting:
            now, waiting = waiting[:_WORKERS], waiting[_WORKERS:]
            if many > _WORKERS:
                done = many - len(waiting) - len(now)
                pile.doing = f"Reading and comparing, {done} of {many} done"
            tasks = {}
            for piece in now:
                pile.made += 1
                to = pile.folder / f"kept{pile.made}"
                cohort = pile.settings.cohorts.get(piece.file)
                before = tuple(chain(piece.file, pile.before))
                tasks[PlaceTask(pile.scores, piece.file, to, cohort, before)] = piece
            for answer in self._scores.each(list(tasks)):
                _settle(tasks[answer.item], answer)
                if answer.error is None:
                    pile.reference_id = answer.result.reference_id
        for place in places:
            piece = pile.pieces[place]
            if piece.kept:
                self._reports.put((_LATER, next(self._numbers), pile, piece))
        read = sum(bool(piece.told) for piece in pile.pieces)
        if read:
            what = "The piece is" if read == 1 else f"{read} pieces are"
            pile.news = f"{what} compared."

    def _write(self) -> None:
        """Write reports until the end, first those that somebody waits for."""
        while True:
            _, _, pile, piece = self._reports.get()
            if self._closed:
                return
            wanted = pile.key in self.piles and any(piece is each for each in pile.pieces)
            if piece.written.is_set() or piece.kept is None or not wanted:
                continue
            to = piece.kept.with_suffix(".html")
            try:
                (answer,) = self._writers.each([ReportTask(piece.kept, to)])
                if answer.error:
                    raise answer.error
                piece.report = to
            except CorpusregError as error:
                piece.problems += (f"{piece.file}: no report ({_line(error)})",)
            except Exception as error:  # noqa: BLE001 - the next report must be written
                piece.problems += (f"{piece.file}: {_fault(error)}",)
            piece.written.set()

    def _make_sheets(self, pile: Pile, task: SheetsTask) -> None:
        (answer,) = self._sheets.each([task])
        if answer.error:
            shutil.rmtree(task.work, ignore_errors=True)
            raise answer.error
        made: SheetsMade = answer.result
        pile.sheets = Sheets(task.to, task.work, made.pieces, made.lines, made.pages)
        pile.news = "The handouts are ready."

    def _change(self, pile: Pile, number: int, file: str, task: Task) -> None:
        (answer,) = self._scores.each([task])
        if answer.error:
            raise answer.error
        made: Made = answer.result
        pile.changes[number] = file, made
        many = "One way" if len(made.offers) == 1 else f"{len(made.offers)} ways"
        pile.news = "The page is ready, below." if made.page else f"{many} to try."
        while len(pile.changes) > _MADE:
            oldest = next(iter(pile.changes))
            del pile.changes[oldest]
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
            PlaceTask(pieces_folder(), name, folder / f"kept-{name}", None) for name in _WARM
        ]
        with contextlib.suppress(StoppedError):  # the room is closed already
            self._scores.each(tasks)


def _opened(given: Sequence[tuple[str, IO[bytes]]]) -> SavedClass | None:
    """A class that was saved, None where scores are given."""
    files = [(name, stream) for name, stream in given if name.lower().endswith(ENDING)]
    if not files:
        return None
    if len(given) > 1:
        raise UsageError("a saved class is opened alone; give its file by itself")
    name, stream = files[0]
    return decoded(stream.read(LARGEST + 1), name)


def _without_scores(key: str, folder: Path, kept: SavedClass) -> Pile:
    """A class that was saved without its scores: its table and its overview."""
    found: dict[str, Piece] = {}
    for each in kept.pieces:
        piece = found.setdefault(each.file, Piece(each.file, done=True))
        piece.told = (*piece.told, each)
    for unread in kept.unread:
        piece = found.setdefault(unread.file, Piece(unread.file, done=True))
        piece.problems = (*piece.problems, unread.why)
    return Pile(
        key, folder, Taken(clean(kept.name), tuple(found), ()), list(found.values()),
        settings=kept.settings, reference_id=kept.reference_id,
        news="The class as it was saved, without its scores.",
    )  # fmt: skip


def _kept_inside(folder: Path) -> dict[str, str]:
    """Variables by which children leave nothing of a score outside the folder of the run."""
    aside = folder / "aside"
    aside.mkdir()
    temporary = dict.fromkeys(("TMPDIR", "TEMP", "TMP"), str(aside))
    return temporary | {settings.LILYPOND_CACHE: str(folder / "lilypond")}


def _settle(piece: Piece, answer: Answer) -> None:
    """What became of a file, kept with it."""
    if answer.error is None:
        found: Placed = answer.result
        piece.told, piece.problems = found.pieces, found.problems
        piece.kept = answer.item.to if found.pieces else None
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


_NO_PIECE = Piece("")
_NO_PILE = Pile("", Path(), Taken("", (), ()), [_NO_PIECE])
