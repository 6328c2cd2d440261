"""What lies on the desk: the scores given, their reports, their sheets; one job at a time.

Everything is kept in one folder that is removed at the end. Where the desk is full, someone
says what is put away. Requests only look and put jobs into a queue; one thread does them.

The folder is private, dated and locked while the run lasts. Some ends cannot be caught: the
power goes, the process is killed. What such a run left behind is known by its lock, which the
system lets go with the process; the next run removes it.
"""

from __future__ import annotations

import contextlib
import io
import itertools
import os
import queue
import secrets
import shutil
import sys
import tempfile
import threading
import time
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import IO, Any, TypeVar

from corpusreg.building.batch import Progress
from corpusreg.comparison.class_file import LARGEST, SavedClass, decoded
from corpusreg.comparison.class_piece import Assignment, Correction
from corpusreg.comparison.classroom import Unread
from corpusreg.demonstration import pieces_folder
from corpusreg.documents.handout.edits import FILE_NAME, Edits, read_edits
from corpusreg.documents.handout.piece import DrawnPiece, chain, earlier_drafts
from corpusreg.documents.handout.reading import Read, class_of, problem_of, titled, with_scores
from corpusreg.documents.handout.roster import NO_ROSTER, Roster, read_roster, with_codes
from corpusreg.documents.handout.writing import measures_of, write
from corpusreg.room.changes import ContrastTask, DraftTask, ReviseTask, Task, TaskResult, work
from corpusreg.room.piles import (
    FilledForm,
    Pile,
    PilePiece,
    PileSheets,
    PileWork,
    names_of,
    saved_class,
    without_scores,
)
from corpusreg.room.tasks import DrawTask, PlacedWorks, PlaceTask, ReportTask, inside, report
from corpusreg.room.uploads import PER_FILE, Taken, keep, score_name, take, too_large
from corpusreg.session import Session, Way
from corpusreg.system import settings
from corpusreg.system.errors import CorpusregError, UsageError
from corpusreg.system.isolate import Outcome, Pool, StoppedError
from corpusreg.system.lock import taken
from corpusreg.text.classroom import correction_words

__all__ = ["Desk", "run_folder", "sweep"]

_PILES = 12  # kept at once; each is bounded by what may be given at once
_MADE = 12  # drafts, contrasts and options kept of what was given at once
_WORKERS = 2
_FIRST, _LATER = 0, 1  # reports that somebody waits for, and the others
_REPORT_SECONDS = 300.0
_POLL = 0.1
_READING, _DRAWING = "Reading and comparing", "Making the sheets"
_ROSTER = "the table of who wrote which piece"
_SMALL = 2**20  # bytes of a roster or a text
_PATIENCE = 5.0  # seconds for what is under way at the end; measuring goes on from there
_WARM = ("two-shores.mid", "stairs.musicxml")
T = TypeVar("T")


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
        self._reports: queue.PriorityQueue[tuple[int, int, Pile, PilePiece]] = (
            queue.PriorityQueue()
        )
        self._numbers = itertools.count()
        inside = _kept_inside(self._folder)
        self._scores = Pool(work, _WORKERS, environment=inside)
        self._writers = Pool(report, 1, environment=inside)
        self._workers = [
            threading.Thread(target=each, daemon=True) for each in (self._work, self._write)
        ]
        for each in self._workers:
            each.start()
        return self

    def __exit__(self, *_: object) -> None:
        for pool in (self._scores, self._writers):
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
            kept = saved_class(several)
            if kept is not None:
                several = [
                    (f"{kept.name}/{file}", io.BytesIO(data))
                    for file, data in kept.scores.items()
                ]
                if not several:
                    return self._put_down(without_scores(key, folder, kept))
            taken = take(several, folder / "scores")
            before = earlier_drafts(taken.files, NO_ROSTER)
            pieces = [PilePiece(file) for file in taken.files if file not in before.values()]
            pile = Pile(key, folder, taken, pieces, before=before)
            if kept is not None:
                pile.settings, pile.names = kept.settings, names_of(kept)
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
        self, pile: Pile, cohort: str, places: Iterable[int], asked: FilledForm | None = None
    ) -> None:
        """Begin to compare pieces with works chosen by `cohort`, '' for those most like each.

        places: of the pieces.
        """
        chosen = list(places)
        for place in chosen:
            file = pile.pieces[place].file
            pile.pieces[place] = PilePiece(file)
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
        pile.settings = settings
        pile.done(f"{correction_words(correction)}.")

    def take_back(self, pile: Pile, number: int) -> None:
        """Undo a correction, by its place."""
        kept = [each for n, each in enumerate(pile.settings.corrections) if n != number]
        pile.settings = replace(pile.settings, corrections=tuple(kept))
        pile.done("Undone.")

    def assign(self, pile: Pile, asked: Assignment | None) -> None:
        """State an intention for all, None for none."""
        pile.settings = replace(pile.settings, asked=asked)
        pile.done("How each piece does it is shown above, under What the class shares.")

    def set_beside(self, pile: Pile, name: str, earlier: IO[bytes]) -> None:
        """Set an earlier class beside it, from its file. Raises DataError where it is none."""
        pile.earlier = decoded(earlier.read(LARGEST + 1), name)
        pile.done("The two classes are compared above, under What the class shares.")

    def class_file(self, pile: Pile, *, scores: bool) -> SavedClass:
        """The class to be kept, with its scores where they are wanted and here."""
        return with_scores(pile.saved, pile.scores) if scores else pile.saved

    def report(self, pile: Pile, piece: PilePiece) -> Path | None:
        """The report of a piece, which is waited for; None where there is none."""
        while not piece.done and pile.doing:
            time.sleep(_POLL)
        if piece.kept is None:
            return None
        if not piece.written.is_set():
            self._reports.put((_FIRST, next(self._numbers), pile, piece))
            piece.written.wait(_REPORT_SECONDS)
        return piece.report

    def set_names(self, pile: Pile, table: IO[bytes], asked: FilledForm) -> None:
        """Say who wrote which piece, by a table as `corpusreg handout --roster` reads it.

        Raises UsageError where it is too large, DataError where it is no such table.
        """
        path = self._next(pile) / "roster.csv"
        keep(table, path, _SMALL, too_large(_ROSTER, _SMALL))
        names: Roster = _about(path, _ROSTER, read_roster)
        before = earlier_drafts(pile.taken.files, names) if pile.with_scores else {}
        pile.names = names
        pile.done("The names stand beside the pieces.")
        others = {f for f in pile.taken.files if before.get(f) != pile.before.get(f)}
        if others:  # other drafts belong together than the names of the files say
            known = {piece.file: piece for piece in pile.pieces if piece.file not in others}
            pile.before = before
            pile.pieces = [
                known.get(file, PilePiece(file))
                for file in pile.taken.files
                if file not in before.values()
            ]
            anew = [n for n, piece in enumerate(pile.pieces) if not piece.done]
            self._put(pile, _READING, partial(self._compare, pile, anew), asked)

    def make_sheets(
        self, pile: Pile, text: IO[bytes] | None, *, codes: bool, paper: str, asked: FilledForm
    ) -> None:
        """Begin the handouts. text: sentences as `corpusreg handout` reads them, or None.

        Raises UsageError where these are too large and where there is no code for a piece,
        DataError where they cannot be read.
        """
        if codes and not pile.names.rows:
            raise UsageError(f"codes come from {_ROSTER}; fill it in first, on this page")
        names = with_codes(pile.names, _ROSTER) if codes else pile.names
        work, edits = self._next(pile), Edits()
        if text:
            path = work.with_suffix(".txt")
            keep(text, path, _SMALL, too_large("the sentences", _SMALL))
            edits = _about(path, FILE_NAME, read_edits)
        if pile.sheets and pile.sheets.folder:
            shutil.rmtree(pile.sheets.folder, ignore_errors=True)
        pile.sheets = None
        job = partial(self._make_sheets, pile, names, edits, paper, work)
        self._put(pile, _DRAWING, job, asked)

    def set_against(
        self, pile: Pile, file: str, name: str, earlier: IO[bytes], asked: FilledForm
    ) -> None:
        """Begin to set a score beside an earlier draft of it. name: of the draft's file.

        Raises UsageError where that is no score or too large.
        """
        to = self._next(pile)
        draft = to / score_name(name)
        keep(earlier, draft, PER_FILE, too_large(name))
        task = DraftTask(pile.scores, file, draft, to, pile.settings.cohorts.get(file))
        self._begin(pile, "Setting the two beside each other", task, asked)

    def contrast(
        self, pile: Pile, chosen: PileWork, how: Way, bars: str, asked: FilledForm
    ) -> None:
        """Begin a version in other registers. bars: '' for all."""
        to = self._next(pile)
        task = ContrastTask(pile.scores, chosen.file, chosen.number, how, bars, to)
        self._begin(pile, "Writing the version", task, asked)

    def revise(self, pile: Pile, chosen: PileWork, toward: str, asked: FilledForm) -> None:
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
        self,
        pile: Pile,
        doing: str,
        task: DraftTask | ContrastTask | ReviseTask,
        asked: FilledForm,
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
        self, pile: Pile, doing: str, job: Callable[[], None], asked: FilledForm | None
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
        tasks = {}
        for place in places:
            piece = pile.pieces[place]
            pile.made += 1
            to = pile.folder / f"kept{pile.made}"
            cohort = pile.settings.cohorts.get(piece.file)
            before = tuple(chain(piece.file, pile.before))
            tasks[PlaceTask(pile.scores, piece.file, to, cohort, before)] = piece
        for answer in self._counted(pile, _READING, list(tasks)):
            _settle(tasks[answer.item], answer)
            if answer.error is None:
                pile.reference_id = answer.result.reference_id
        for place in places:
            piece = pile.pieces[place]
            if piece.kept:
                self._reports.put((_LATER, next(self._numbers), pile, piece))
        read = sum(bool(piece.works) for piece in pile.pieces)
        if read:
            what = "The piece is" if read == 1 else f"{read} pieces are"
            pile.news = f"{what} compared."

    def _counted(self, pile: Pile, doing: str, tasks: Sequence[Any]) -> Iterator[Outcome]:
        """The answers one by one, while the page says how many are there."""
        for done, answer in enumerate(self._scores.in_turn(tasks), start=1):
            yield answer
            if len(tasks) > 1:
                pile.doing = f"{doing}, {done} of {len(tasks)} done"

    def _write(self) -> None:
        """Write reports until the end, first those that somebody waits for."""
        while True:
            when, number, pile, piece = self._reports.get()
            if self._closed:
                return
            if when == _LATER and any(each.doing for each in list(self.piles.values())):
                # What somebody waits for goes first.
                self._reports.put((when, number, pile, piece))
                time.sleep(_POLL)
                continue
            wanted = pile.key in self.piles and any(piece is each for each in pile.pieces)
            if piece.written.is_set() or piece.kept is None or not wanted:
                continue
            to = piece.kept.with_suffix(".html")
            try:
                (answer,) = self._writers.answers([ReportTask(piece.kept, to)])
                if answer.error:
                    raise answer.error
                piece.report = to
            except CorpusregError as error:
                piece.problems += (f"{piece.file}: no report ({_line(error)})",)
            except Exception as error:  # noqa: BLE001 - the next report must be written
                piece.problems += (f"{piece.file}: {_fault(error)}",)
            piece.written.set()

    def _make_sheets(
        self, pile: Pile, names: Roster, edits: Edits, paper: str, work: Path
    ) -> None:
        saved = pile.saved
        settings = replace(saved.settings, measures=measures_of(None, edits, saved.settings))
        tasks = [
            DrawTask(
                pile.scores, piece.file, piece.kept, piece.works, settings.corrections,
                settings.measures,
            )
            for piece in pile.pieces
            if piece.kept
        ]  # fmt: skip
        drawn: dict[tuple[str, str], DrawnPiece] = {}
        for answer in self._counted(pile, _DRAWING, tasks):
            if answer.error:
                raise answer.error
            pieces = answer.item.pieces
            drawn |= {(p.file, p.number): d for p, d in zip(pieces, answer.result, strict=True)}
        called = names.known([piece.file for piece in pile.pieces])
        problems = [
            problem_of(f"{each.file}: {each.why}", Path(each.file), called[each.file][0])
            for each in saved.unread
        ]
        unread = [
            Unread(each.file, called[each.file][0], problem.shown.partition(": ")[2])
            for each, problem in zip(saved.unread, problems, strict=True)
        ]
        saved = replace(saved, called=called, settings=settings, unread=tuple(unread))
        read = Read(titled(saved, names.hidden), tuple(problems), pile.before, drawn)
        pile.doing = "Setting the sheets on paper"
        roster = Path(_ROSTER) if names.rows else None
        made = write(
            read, Path(), work, names=names, roster=roster, edits=edits, paper=paper,
            earlier=pile.earlier,
        )  # fmt: skip
        sheets = {f"sheets/{file}.html": title for file, title in made.titles.items()}
        pile.sheets = PileSheets(
            _packed(work), work, made.pieces, (*made.problems, *made.remarks),
            {"overview.html": "Overview", **sheets, "teacher.html": "For the teacher"},
        )  # fmt: skip
        pile.news = "The handouts are ready."

    def _change(self, pile: Pile, number: int, file: str, task: Task) -> None:
        (answer,) = self._scores.answers([task])
        if answer.error:
            raise answer.error
        made: TaskResult = answer.result
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
            self._scores.answers(tasks)


def _packed(folder: Path) -> Path:
    """An archive of the sheets in a folder, beside it."""
    to = folder.with_suffix(".zip")
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(each for each in folder.rglob("*") if each.is_file()):
            archive.write(path, f"handouts/{path.relative_to(folder).as_posix()}")
    return to


def _about(path: Path, called: str, read: Callable[[Path], T]) -> T:
    """What is read from a file that people know by another name."""
    try:
        return read(path)
    except CorpusregError as error:
        raise type(error)(str(error).replace(str(path), called)) from error


def _kept_inside(folder: Path) -> dict[str, str]:
    """Variables by which children leave nothing of a score outside the folder of the run."""
    aside = folder / "aside"
    aside.mkdir()
    temporary = dict.fromkeys(("TMPDIR", "TEMP", "TMP"), str(aside))
    return temporary | {settings.LILYPOND_CACHE: str(folder / "lilypond")}


def _settle(piece: PilePiece, answer: Outcome) -> None:
    """What became of a file, kept with it."""
    if answer.error is None:
        found: PlacedWorks = answer.result
        piece.works, piece.problems = found.pieces, found.problems
        piece.kept = answer.item.to if found.pieces else None
    else:
        (words,) = inside(answer.item.folder, [_line(answer.error)])
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


_NO_PIECE = PilePiece("")
_NO_PILE = Pile("", Path(), Taken("", (), ()), [_NO_PIECE])
_NAME = "corpusreg-room-"
_LOCK = "lock"
_YOUNG = 600.0  # seconds in which a folder without a lock may be one that is just made
_PATIENCE_REMOVING = 2.0  # seconds in which what is still being written there comes to its end


@contextlib.contextmanager
def run_folder() -> Iterator[Path]:
    """A new folder that only this user can read; it goes at the end, with all that is in it.

    Its name has the date. Raises CorpusregError where it cannot be removed, naming it.
    """
    folder = Path(tempfile.mkdtemp(prefix=f"{_NAME}{date.today():%Y-%m-%d}-"))
    handle = os.open(folder / _LOCK, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        taken(handle)
        yield folder
    finally:
        os.close(handle)
        _remove(folder)


def sweep() -> None:
    """Remove the folders of this user's runs that have ended without doing so."""
    for folder in Path(tempfile.gettempdir()).glob(f"{_NAME}*"):
        # Where it cannot be looked at or removed, it stays for a run that can.
        with contextlib.suppress(OSError):
            if _is_ours(folder) and _is_left(folder):
                shutil.rmtree(folder, ignore_errors=True)


def _is_ours(folder: Path) -> bool:
    """Whether it is a folder of this user's own: nothing in others' is opened."""
    found = folder.lstat()
    mine = not hasattr(os, "getuid") or found.st_uid == os.getuid()
    return mine and folder.is_dir() and not folder.is_symlink()


def _is_left(folder: Path) -> bool:
    """Whether no run holds its lock."""
    try:
        handle = os.open(folder / _LOCK, os.O_RDWR)
    except FileNotFoundError:
        return time.time() - folder.stat().st_mtime > _YOUNG
    try:
        return taken(handle)
    finally:
        os.close(handle)


def _remove(folder: Path) -> None:
    """Remove it, again for a while: a child that is ending may still write or read there."""
    end = time.monotonic() + _PATIENCE_REMOVING
    while True:
        try:
            shutil.rmtree(folder)
            return
        except FileNotFoundError:  # something went by itself meanwhile
            if not folder.exists():
                return
        except OSError as error:
            if time.monotonic() > end:
                why = error.strerror or error
                raise CorpusregError(
                    f"{folder}: cannot be removed ({why}); remove it yourself"
                ) from error
        time.sleep(0.05)
