"""A class folder in, a folder of sheets out.

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

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from corpusreg.comparison.compared import score_files
from corpusreg.documents.handout.classroom import Class, classroom
from corpusreg.documents.handout.drafts import earlier_drafts
from corpusreg.documents.handout.edits import FILE_NAME, Edited, Edits, read_edits, written
from corpusreg.documents.handout.folders import publish, staging
from corpusreg.documents.handout.pages import overview_page, piece_page, teacher_page
from corpusreg.documents.handout.piece import Piece, PlaceOne
from corpusreg.documents.handout.privacy import cleaned
from corpusreg.documents.handout.roster import NO_ROSTER, Roster, read_roster, without_names
from corpusreg.documents.handout.sheets import Sheets, made, sheets
from corpusreg.documents.handout.typeset import overview_pdf, pieces_pdf, teacher_pdf
from corpusreg.documents.report.writing import check_report
from corpusreg.measures.definitions import BY_NAME, VERSION
from corpusreg.system.errors import ReadError, StoreError, UsageError
from corpusreg.system.isolate import call_each
from corpusreg.system.plaintext import plain

__all__ = ["MEASURES", "Handout", "handout"]

# Chosen where the teacher chooses none: one of each side of register use.
MEASURES = (
    "span",
    "movement_bar",
    "shift_rate",
    "expected_dwell",
    "hollow_share",
    "entries",
)
_SHEETS = "sheets"


@dataclass(frozen=True)
class Handout:
    """What was made. problems: one line each; nothing of these is on a sheet. remarks: what
    is worth knowing and no problem."""

    pieces: int
    problems: tuple[str, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class _Problem:
    """A line for the terminal, and the same for the teacher's sheet, without names."""

    line: str
    shown: str


def handout(
    folder: Path,
    to: Path,
    *,
    measures: Sequence[str] | None = None,
    roster: Path | None = None,
    codes: bool = False,
    paper: str = "a4",
    cohort: str | None = None,
    cohorts: Mapping[str, str] | None = None,
    workers: int = 2,
) -> Handout:
    """Make the sheets of a class.

    measures: names, None for those in the teacher's text or the usual ones. paper: 'a4'
    or 'letter'. cohorts: for some files, works of their own. Raises UsageError for a request
    that makes no sense, ReadError where no piece can be read, DataError for a roster or text
    that cannot be used, StoreError without a reference, CorpusregError where `to` cannot be
    written or typst is missing.
    """
    unknown = [name for name in measures or () if name not in BY_NAME]
    if unknown:
        raise UsageError(f"no measure '{unknown[0]}'; choose among {', '.join(BY_NAME)}")
    if codes and roster is None:
        raise UsageError("--codes wants a roster that has them; give --roster FILE.csv")
    if not folder.is_dir():
        raise UsageError(f"{folder}: not a folder; give the folder of the class's pieces")
    check_report(to / "overview.pdf")
    folder = folder.resolve()
    names = read_roster(roster, codes=codes) if roster else NO_ROSTER
    faults: list[str] = []
    paths = score_files([folder], faults)
    files = sorted(path.relative_to(folder).as_posix() for path in paths)
    before = earlier_drafts(files, names)
    members = [file for file in files if file not in before.values()]
    known = names.known(members)
    if codes:
        _refuse_names(to, [called for called, _ in known.values()])
    with staging(to) as stage:
        edits = read_edits(to / FILE_NAME)
        chosen = tuple(dict.fromkeys(measures or edits.measures or MEASURES))
        pieces, problems = _placed(
            PlaceOne(
                folder,
                chosen,
                cohort,
                tuple((cohorts or {}).items()),
                tuple(names.hidden.items()),
                tuple(before.items()),
            ),
            members,
            known,
            workers,
        )
        problems += [_Problem(fault, without_names(fault, names.hidden)) for fault in faults]
        problems += _gaps(
            names, roster, files, {piece.file: known[piece.file] for piece in pieces}
        )
        title = without_names(plain(folder.name), names.hidden, any_case=True)
        group = classroom(title or "The class", pieces, known, chosen)
        own = {
            m.key: edits.of(m.key, *_other_keys(m.piece, m.key, names)) for m in group.members
        }
        files_of = _file_names([member.key for member in group.members])
        reference = pieces[0].content.origin.reference_id
        closing = [f"Made with reference {reference}, definitions {VERSION}."]
        shown = [problem.shown for problem in problems]
        all_sheets = cleaned(sheets(group, own, files_of, shown, closing), names.hidden)
        remarks = _write(stage, all_sheets, paper)
        remarks += [f"{old}: an earlier draft of {new}" for new, old in before.items()]
        text = _text(group, own, edits, names)
        (stage / FILE_NAME).write_text(text, encoding="utf-8")
        remarks += _left_from_before(stage, to, codes=codes)
        publish(stage, to)
    return Handout(
        len(pieces), tuple(problem.line for problem in problems), tuple(dict.fromkeys(remarks))
    )


def _placed(
    place: PlaceOne,
    files: Sequence[str],
    known: Mapping[str, tuple[str, str]],
    workers: int,
) -> tuple[list[Piece], list[_Problem]]:
    """Pieces in the order of their files, and what could not be read."""
    pieces: list[Piece] = []
    problems: list[_Problem] = []
    for answer in call_each(place, files, workers):
        if isinstance(answer.error, (UsageError, StoreError)):
            raise answer.error
        found, failures = ([], [str(answer.error)]) if answer.error else answer.result
        pieces += found
        path = str(place.folder / answer.item)
        for failure in failures:
            reason = failure.removeprefix(f"{Path(path).name}: ")
            line = failure if path in failure else f"{path}: {reason}"
            shown = line.replace(path, known[answer.item][0])
            problems.append(_Problem(line, shown.replace(answer.item, known[answer.item][0])))
    if not pieces:
        raise ReadError(f"{place.folder}: no piece can be read; the first: {problems[0].line}")
    return pieces, problems


def _gaps(
    names: Roster,
    roster: Path | None,
    files: Sequence[str],
    known: Mapping[str, tuple[str, str]],
) -> list[_Problem]:
    """Rows of the roster without a file, and files without a row.

    known: what files with a sheet are called.
    """
    missing, rowless = names.gaps(files)
    called = {row.file: row.code if names.codes else row.file for row in names.rows}
    found = [
        _Problem(
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
        found.append(_Problem(line, shown))
    return found


def _other_keys(piece: Piece, key: str, names: Roster) -> list[str]:
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


def _write(stage: Path, all_sheets: Sheets, paper: str) -> list[str]:
    """Every sheet as PDF and as a page; returns remarks."""
    overview, pieces, teacher = all_sheets.overview, all_sheets.pieces, all_sheets.teacher
    (stage / _SHEETS).mkdir()
    pdfs = {
        "overview.pdf": overview_pdf(overview, paper),
        "all-sheets.pdf": pieces_pdf(pieces, overview.title, paper),
        "teacher.pdf": teacher_pdf(teacher, paper),
    } | {f"{_SHEETS}/{p.file}.pdf": pieces_pdf([p], p.title, paper) for p in pieces}
    pages = {
        "overview.html": overview_page(overview, paper),
        "teacher.html": teacher_page(teacher, paper),
    } | {f"{_SHEETS}/{p.file}.html": piece_page(p, paper) for p in pieces}
    for name, sheet in pdfs.items():
        (stage / name).write_bytes(sheet.pdf)
    for name, page in pages.items():
        (stage / name).write_text(page, encoding="utf-8", newline="\n")
    return [f"{name}: {remark}" for name, sheet in pdfs.items() for remark in sheet.remarks]


def _text(group: Class, own: Mapping[str, Edited], edits: Edits, names: Roster) -> str:
    """The teacher's text: every piece, then changed blocks of pieces that are not there."""
    used = {m.key for m in group.members}
    used |= {key for m in group.members for key in _other_keys(m.piece, m.key, names)}
    left = {key: edited for key, edited in edits.pieces.items() if edited and key not in used}
    measures = [row.measure.name for row in group.rows]
    pieces = [(m.key, m.label, made(m), own[m.key]) for m in group.members]
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
