"""A metadata table beside a user's own scores: metadata.csv or metadata.tsv in their folder.

One row a file. Columns, of which only the first is required:

file       path below the folder, with '/' (or '\\')
title, movement
composer   a name in any usual form
born, died the composer's years, used where corpusreg does not know the composer
date       year of composition, as people write it: '1838-40', 'c. 1790', '<1611'
genre, region
source     for music without a composer: what counts once in statistics

Further columns are kept with the works (table `work_columns`). The text is UTF-8, or
UTF-16 with its mark, else Windows-1252, which is then said. CSV may have ',' or ';'.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from corpusreg.corpus.catalogue import SourceFile, parse_years
from corpusreg.system.errors import DataError, UsageError
from corpusreg.system.plaintext import from_spreadsheet, spreadsheet
from corpusreg.system.writing import replace_text

__all__ = ["COLUMNS", "read_rows", "read_table", "table_of", "write_template"]

COLUMNS = (
    "file", "title", "movement", "composer", "born", "died", "date", "genre", "region",
    "source",
)  # fmt: skip
NAMES = ("metadata.csv", "metadata.tsv")
_KNOWN_AS = {"source": "cluster"}


def table_of(root: Path) -> Path | None:
    """The metadata table of a folder, None where there is none.

    Raises UsageError where there are two.
    """
    found = [root / name for name in NAMES if (root / name).is_file()]
    if len(found) > 1:
        raise UsageError(f"{root} has both {' and '.join(NAMES)}; keep one of them")
    return found[0] if found else None


def read_table(path: Path, problems: list[str]) -> dict[str, tuple[tuple[str, str], ...]]:
    """What a metadata table says of each file, as `SourceFile.known` has it.

    What is doubtful in it is appended to `problems`, one line each: the encoding, a file
    named twice (the first row counts), a date that says no year or that lies outside the
    composer's life. Raises DataError for a table without the column 'file', with two
    columns of one name, or cut in a cell.
    """
    found: dict[str, tuple[tuple[str, str], ...]] = {}
    for number, row in read_rows(path, problems):
        name = row.pop("file", "").replace("\\", "/").removeprefix("./")
        if not name:
            problems.append(f"{path} line {number}: names no file; the row is left out")
            continue
        known = tuple(sorted(_known(row).items()))
        if name in found and found[name] != known:
            problems.append(
                f"{path} line {number}: {name} stands there twice; the first counts"
            )
        problems += [f"{path} line {number}: {words}" for words in _about_date(row)]
        found.setdefault(name, known)
    return found


def _about_date(row: Mapping[str, str]) -> Iterator[str]:
    """What is doubtful in the date of a row; one outside the composer's life is not used."""
    if not row.get("date"):
        return
    years = parse_years(row["date"])
    if years is None:
        yield f"no year in the date '{row['date']}'; write one like 1838-40 or c. 1790"
        return
    born, died = (parse_years(row.get(end, "")) for end in ("born", "died"))
    early, late = years.first, years.last
    if died and died.last is not None and early is not None and early > died.last:
        yield f"the date '{row['date']}' lies after the death in {row['died']}; it is not used"
    if born and born.first is not None and late is not None and late <= born.first:
        yield f"the date '{row['date']}' lies before the birth in {row['born']}; it is not used"


def read_rows(
    path: Path,
    problems: list[str],
    columns: Sequence[str] = COLUMNS,
    needed: Sequence[str] = ("file",),
) -> list[tuple[int, dict[str, str]]]:
    """Rows of a CSV or TSV file by column, with their line numbers; blank rows left out.

    columns: those that are known, whatever their capitals; needed: those that must be there.
    Raises DataError as `read_table` does.
    """
    try:
        text = _text(path, problems)
    except OSError as error:
        raise DataError(f"{path}: cannot be opened ({error.strerror})") from error
    head = text.partition("\n")[0]
    tabs = path.suffix.lower() == ".tsv"
    sign = "\t" if tabs else max(",;\t", key=head.count)
    try:
        lines = csv.reader(io.StringIO(text, newline=""), delimiter=sign, strict=not tabs)
        header = [cell.strip() for cell in next(lines, [])]
        names = [cell.casefold() if cell.casefold() in columns else cell for cell in header]
        _check(path, names, columns, needed)
        rows = []
        for cells in lines:
            if any(cell.strip() for cell in cells):
                if len(cells) > len(names):
                    raise DataError(
                        f"{path} line {lines.line_num}: {len(cells)} cells, but "
                        f"{len(names)} columns; quote cells that hold a '{sign}'"
                    )
                texts = (from_spreadsheet(cell.strip()) for cell in cells)
                pairs = zip(names, texts, strict=False)
                rows.append((lines.line_num, dict(pairs)))
    except csv.Error as error:
        raise DataError(f"{path}: {error}; save the table again as CSV") from error
    return rows


def write_template(root: Path, files: Sequence[SourceFile]) -> Path:
    """Write metadata.csv with a row for each score of a folder, to be filled in.

    Raises UsageError where the folder has a table already, DataError where it cannot
    be written.
    """
    there = table_of(root)
    if there is not None:
        raise UsageError(f"{there} is there already; it is not written over")
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for file in files:
        composer = dict(file.known).get("folder_composer", "")
        cells = (spreadsheet(text) for text in (file.relative, "", "", composer))
        writer.writerow([*cells, *[""] * (len(COLUMNS) - 4)])
    path = root / NAMES[0]
    try:
        # Spreadsheet programs take UTF-8 only with its mark.
        replace_text(path, "\ufeff" + out.getvalue())
    except OSError as error:
        raise DataError(f"{path} cannot be written ({error.strerror})") from error
    return path


def _known(row: dict[str, str]) -> dict[str, str]:
    known = {}
    for name, value in row.items():
        if value:
            own = _KNOWN_AS.get(name, name) if name in COLUMNS else f"column:{name}"
            known[own] = value
    return known


def _check(path: Path, names: list[str], columns: Sequence[str], needed: Sequence[str]) -> None:
    for name in needed:
        if name not in names:
            raise DataError(
                f"{path}: no column '{name}'; its columns are {', '.join(columns)} and any "
                "others"
            )
    named = [name for name in names if name]
    twice = sorted({name for name in named if named.count(name) > 1})
    if twice:
        raise DataError(f"{path}: two columns are called '{twice[0]}'; rename one")


def _text(path: Path, problems: list[str]) -> str:
    data = path.read_bytes()
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        problems.append(f"{path}: not UTF-8; read as Windows-1252, so look at its accents")
        return data.decode("cp1252", "replace")
