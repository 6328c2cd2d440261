"""A class in, a folder of sheets out.

What is written:

    overview.pdf, .html     the class among the repertoire
    all-sheets.pdf          the sheets of all pieces, to print in one go
    sheets/NAME.pdf, .html  one for each piece, called like its file or its code
    teacher.pdf, .html      for the teacher alone
    sentences.txt           what the teacher may change (see `edits`)

All of it is made in a folder beside the place where it goes and moved there when it is
whole; should a move fail, what was there before is put back.
"""

from __future__ import annotations

import contextlib
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from corpusreg.comparison.class_file import SavedClass, Settings
from corpusreg.comparison.class_piece import ClassPiece
from corpusreg.comparison.classroom import MEASURES, Class, since
from corpusreg.documents.handout.edits import FILE_NAME, Edited, Edits, read_edits, written
from corpusreg.documents.handout.pages import SetSheet, Shown, set_sheet
from corpusreg.documents.handout.piece import DrawnPiece
from corpusreg.documents.handout.reading import (
    Problem,
    Read,
    class_of,
    coded,
    members_of,
    pieces_of,
    read_class,
)
from corpusreg.documents.handout.roster import NO_ROSTER, Roster, cleaned, read_roster
from corpusreg.documents.handout.sheets import Sheets, made, sheets
from corpusreg.documents.layout import check_ending
from corpusreg.measures.definitions import BY_NAME
from corpusreg.system.errors import CorpusregError, UsageError
from corpusreg.system.isolate import Limits, Pool
from corpusreg.text.classroom import since_words

__all__ = ["Handout", "handout", "measures_of", "publish", "staging", "write"]

_SHEETS = "sheets"
_AT_ONCE = 2  # sheets that are typeset at the same time


@dataclass(frozen=True)
class Handout:
    """What was made. problems: one line each; nothing of these is on a sheet. remarks: what
    is worth knowing and no problem. saved: the class. titles: of the sheets, by the name of
    their files."""

    pieces: int
    problems: tuple[str, ...]
    remarks: tuple[str, ...]
    saved: SavedClass
    titles: Mapping[str, str]


def handout(
    source: Path,
    to: Path,
    *,
    measures: Sequence[str] | None = None,
    roster: Path | None = None,
    codes: bool = False,
    paper: str = "a4",
    cohort: str | None = None,
    settings: Settings | None = None,
    earlier: SavedClass | None = None,
    workers: int = 2,
    on_piece: Callable[[int, int], None] | None = None,
) -> Handout:
    """Make the sheets of a class.

    source: a folder, or a class that was saved with its scores. measures: names, None for
    those in the teacher's text or the usual ones. paper: 'a4' or 'letter'. settings: the
    teacher's, those of a saved class where None. earlier: a class to set beside this one.
    on_piece: as in `read_class`. Raises UsageError for a request that makes no sense,
    ReadError where no piece can be read, DataError for a roster or text that cannot be used,
    StoreError without a reference, CorpusregError where `to` cannot be written or typst is
    missing.
    """
    unknown = [name for name in measures or () if name not in BY_NAME]
    if unknown:
        raise UsageError(f"no measure '{unknown[0]}'; choose among {', '.join(BY_NAME)}")
    if codes and roster is None:
        raise UsageError("--codes wants a roster that has them; give --roster FILE.csv")
    check_ending(to / "overview.pdf")
    with pieces_of(source) as (folder, before):
        names = read_roster(roster, codes=codes) if roster else NO_ROSTER
        if codes:
            members, _, _ = members_of(folder, names)
            _refuse_names(to, [called for called, _ in names.known(members).values()])
        with staging(to) as stage:
            edits = read_edits(to / FILE_NAME)
            own = settings or (before.settings if before else Settings())
            chosen = measures_of(measures, edits, own)
            read = read_class(
                folder,
                before.name if before else "",
                names=names,
                known=before.called if before and not roster else None,
                settings=replace(own, measures=chosen),
                cohort=cohort,
                draw=True,
                workers=workers,
                on_piece=on_piece,
            )
            made = write(
                read, folder, stage, names=names, roster=roster, edits=edits, paper=paper,
                earlier=earlier,
            )  # fmt: skip
            left = _left_from_before(stage, to, codes=codes)
            publish(stage, to)
    return replace(made, remarks=(*made.remarks, *left))


def write(
    read: Read,
    folder: Path,
    to: Path,
    *,
    names: Roster = NO_ROSTER,
    roster: Path | None = None,
    edits: Edits,
    paper: str,
    earlier: SavedClass | None = None,
) -> Handout:
    """Make the sheets of a class that is read and drawn, in the empty folder `to`.

    folder: of the scores, for what is said of them. names: of the roster in the file
    `roster`. edits: the teacher's own words. The rest and what is raised as for `handout`.
    """
    group, called = read.group, read.saved.called
    problems = [*read.problems]
    files = [*called, *read.before.values()]
    with_sheet = {piece.file: called[piece.file] for piece in read.saved.pieces}
    problems += _gaps(names, roster, files, with_sheet)
    words = {m.key: edits.of(m.key, *_other_keys(m.piece, m.key, names)) for m in group.members}
    drawn = {m.key: read.drawn[m.piece.file, m.piece.number] for m in group.members}
    files_of = _file_names([member.key for member in group.members])
    shown = [problem.shown for problem in problems]
    otherwise = since_words(since(class_of(earlier), group)) if earlier else ()
    asked = read.saved.settings.asked
    all_sheets = cleaned(
        sheets(group, drawn, words, files_of, shown, asked, otherwise), names.hidden
    )
    scores = {files_of[m.key]: str(folder / m.piece.file) for m in group.members}
    remarks, unmade = _write(to, all_sheets, paper, scores)
    problems += unmade
    remarks += [f"{old}: an earlier draft of {new}" for new, old in read.before.items()]
    text = _text(group, drawn, words, edits, names)
    (to / FILE_NAME).write_text(text, encoding="utf-8")
    return Handout(
        len(read.saved.pieces),
        tuple(problem.line for problem in problems),
        tuple(dict.fromkeys(remarks)),
        coded(read.saved, names.hidden),
        {sheet.file: sheet.title for sheet in all_sheets.pieces},
    )


def measures_of(chosen: Sequence[str] | None, edits: Edits, own: Settings) -> tuple[str, ...]:
    """The measures of the sheets: those asked for, of the teacher's text, or the usual ones."""
    return tuple(dict.fromkeys(chosen or edits.measures or own.measures or MEASURES))


def _gaps(
    names: Roster,
    roster: Path | None,
    files: Sequence[str],
    known: Mapping[str, tuple[str, str]],
) -> list[Problem]:
    """Rows of the roster without a file, and files without a row.

    known: what files with a sheet are called.
    """
    missing, rowless = names.gaps(files)
    called = {row.file: row.code if names.codes else row.file for row in names.rows}
    found = [
        Problem(
            f"{roster}: '{file}' is not in the folder",
            f"In the roster, and not in the folder: {called[file]}",
        )
        for file in missing
    ]
    nameless = [file for file in rowless if file in known]
    if nameless:
        files_named = ", ".join(f"'{file}'" for file in nameless)
        without = "its sheet stands" if len(nameless) == 1 else "their sheets stand"
        line = f"{roster}: no row for {files_named}; {without} without a name"
        shown = f"Not in the roster: {', '.join(known[file][0] for file in nameless)}"
        found.append(Problem(line, shown))
    return found


def _other_keys(piece: ClassPiece, key: str, names: Roster) -> list[str]:
    """What the piece is called in a text written with codes, or without them."""
    row = names.row(piece.file)
    if row is None or not row.code:
        return []
    now, then = (row.code, piece.file) if names.codes else (piece.file, row.code)
    return [key.replace(now, then, 1)]


def _file_names(keys: Sequence[str]) -> dict[str, str]:
    """A name for each piece's files that every file system takes, none like another."""
    found: dict[str, str] = {}
    taken: set[str] = set()
    for key in keys:
        stem = re.sub(r"\.\w+(?=$|#| \()", "", key)
        plain_name = re.sub(r"[^\w.-]+", "-", stem).strip("-.") or "piece"
        name, number = plain_name, 2
        while name.casefold() in taken:
            name, number = f"{plain_name}-{number}", number + 1
        taken.add(name.casefold())
        found[key] = name
    return found


def _set(
    stage: Path, jobs: Mapping[str, SetSheet], pieces: int = 1
) -> tuple[list[str], dict[str, str]]:
    """Write sheets as PDF and page; remarks, and for each that cannot be made the reason.

    jobs: by name, without an ending. pieces: how many each shows. They are made in bounded
    children, so that a sheet that cannot be made costs the others nothing.
    """
    limits = Limits()
    limits = replace(limits, cpu_seconds=limits.cpu_seconds * pieces)
    remarks: list[str] = []
    failed: dict[str, str] = {}
    with Pool(set_sheet, _AT_ONCE, limits, near=True) as pool:
        for name, answer in zip(jobs, pool.in_turn(list(jobs.values())), strict=True):
            if answer.error is not None:
                failed[name] = str(answer.error)
                continue
            page, sheet = answer.result
            remarks += [f"{name}.pdf: {remark}" for remark in sheet.remarks]
            (stage / f"{name}.pdf").write_bytes(sheet.pdf)
            if page:
                (stage / f"{name}.html").write_text(page, encoding="utf-8", newline="\n")
    return remarks, failed


def _write(
    stage: Path, all_sheets: Sheets, paper: str, files: Mapping[str, str]
) -> tuple[list[str], list[Problem]]:
    """Every sheet; remarks, and what cannot be made. files: the score by its sheet's name."""
    (stage / _SHEETS).mkdir()
    own = {f"{_SHEETS}/{each.file}": each for each in all_sheets.pieces}
    remarks, failed = _set(stage, {name: SetSheet(own[name], paper) for name in own})
    problems = [
        Problem(f"{files[own[name].file]}: {told}", f"{own[name].title}: {told}")
        for name, why in failed.items()
        for told in [f"its sheet cannot be made ({why}); look at the piece with 'compare'"]
    ]
    overview, teacher = all_sheets.overview, all_sheets.teacher
    teacher = replace(
        teacher, problems=(*teacher.problems, *(problem.shown for problem in problems))
    )
    pieces = tuple(each for name, each in own.items() if name not in failed)
    of_all: tuple[tuple[str, Shown], ...] = (
        ("overview", overview), ("teacher", teacher), ("all-sheets", pieces)
    )  # fmt: skip
    jobs = {name: SetSheet(each, paper, overview.title) for name, each in of_all if each}
    more, failed = _set(stage, jobs, len(own))
    lines = [f"{name}.pdf: cannot be made ({why})" for name, why in failed.items()]
    return [*remarks, *more], [*problems, *(Problem(line, line) for line in lines)]


def _text(
    group: Class,
    drawn: Mapping[str, DrawnPiece],
    own: Mapping[str, Edited],
    edits: Edits,
    names: Roster,
) -> str:
    """The teacher's text: every piece, then changed blocks of pieces that are not there."""
    used = {m.key for m in group.members}
    used |= {key for m in group.members for key in _other_keys(m.piece, m.key, names)}
    left = {key: edited for key, edited in edits.pieces.items() if edited and key not in used}
    measures = [line.measure.name for line in group.lines]
    pieces = [(m.key, m.label, made(m, drawn[m.key]), own[m.key]) for m in group.members]
    return cleaned(written(measures, pieces, left), names.hidden)


def _refuse_names(to: Path, called: Sequence[str]) -> None:
    """Raise, before anything is measured, where sheets would stay that may show names."""
    stems = tuple(_file_names(called).values())
    for path in sorted((to / _SHEETS).glob("*.pdf")):
        # A file of several pieces has sheets with a number behind its code.
        if not any(re.fullmatch(rf"{re.escape(stem)}(-.*)?", path.stem) for stem in stems):
            raise _names_may_show(to, path)


def _names_may_show(to: Path, old: Path) -> UsageError:
    return UsageError(
        f"{to}: holds sheets from before that may show names, such as {old.name}; "
        "give another folder, or delete them"
    )


def _left_from_before(stage: Path, to: Path, *, codes: bool) -> list[str]:
    """Sheets in the folder that this run does not replace, a line for each."""
    old = [*(to / _SHEETS).glob("*.pdf"), *(to / _SHEETS).glob("*.html")]
    left = sorted(path for path in old if not (stage / _SHEETS / path.name).exists())
    if left and codes:
        raise _names_may_show(to, left[0])
    return [f"{path}: from an earlier run; delete it if it is not wanted" for path in left]


@contextlib.contextmanager
def staging(to: Path) -> Iterator[Path]:
    """An empty folder beside `to` to write into; it is gone afterwards.

    Raises CorpusregError where nothing can be written there, and for what goes wrong
    while writing inside.
    """
    try:
        if to.exists() and not to.is_dir():
            raise NotADirectoryError(None, "it is a file")
        beside = next(each for each in to.absolute().parents if each.exists())
        # Inside the folder itself: who may write there need not be let beside it.
        place = to if to.is_dir() else beside
        stage = Path(tempfile.mkdtemp(prefix=".handout-", dir=place))
    except OSError as error:
        raise _unwritable(to, error) from error
    try:
        yield stage
    except OSError as error:
        raise _unwritable(to, error) from error
    finally:
        shutil.rmtree(stage, ignore_errors=True)


def publish(stage: Path, to: Path) -> None:
    """Move all files of `stage` to `to`, replacing those of the same name.

    Where a move fails, those before it are undone and OSError is raised.
    """
    files = [path for path in sorted(stage.rglob("*")) if path.is_file()]
    made = [folder for folder in (to, *to.parents) if not folder.exists()]
    with tempfile.TemporaryDirectory(prefix=".before-", dir=stage) as kept:
        moved: list[tuple[Path, Path | None]] = []
        try:
            for number, file in enumerate(files):
                target = to / file.relative_to(stage)
                target.parent.mkdir(parents=True, exist_ok=True)
                before = Path(kept) / str(number) if target.exists() else None
                if before:
                    target.replace(before)
                moved.append((target, before))
                file.replace(target)
        except OSError:
            for target, before in reversed(moved):
                target.unlink(missing_ok=True)
                if before:
                    before.replace(target)
            for folder in made:
                shutil.rmtree(folder, ignore_errors=True)
            raise


def _unwritable(to: Path, error: OSError) -> CorpusregError:
    why = (error.strerror or str(error)).lower()
    return CorpusregError(f"{to}: cannot be written ({why}); choose another folder")
