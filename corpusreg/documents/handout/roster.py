"""Who wrote which piece: a table that a teacher keeps, and names kept out where asked.

The table is a CSV file in UTF-8 with a head of these columns, in any order:

file     the score, as it is called in the class folder
name     who wrote it, as it shall stand on the sheet; may be empty
code     a sign that stands for the name where names stay out; may be empty
earlier  the file of an earlier draft of the score; may be empty or left out

Other columns are ignored.
Where names stay out, they do so of everything that is written.
"""

from __future__ import annotations

import csv
import hashlib
import html
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from corpusreg.system.errors import DataError, UsageError

__all__ = [
    "NO_ROSTER", "Roster", "Writer", "cleaned", "read_roster", "with_codes", "without_names",
]  # fmt: skip

_COLUMNS = ("file", "name", "code", "earlier")
_WORD = 2  # letters of a part of a name that is looked for by itself


@dataclass(frozen=True)
class Writer:
    """One row: the file as the teacher wrote it, name, code, and the draft before."""

    file: str
    name: str = ""
    code: str = ""
    earlier: str = ""


@dataclass(frozen=True)
class Roster:
    """The rows by file, and whether codes stand for names."""

    rows: tuple[Writer, ...] = ()
    codes: bool = False

    def known(self, files: Sequence[str]) -> dict[str, tuple[str, str]]:
        """For each file what it is called on the sheets, and its writer's name or code.

        files: relative to the class folder, with '/'. Without codes a file is called by
        its own name, and a writer without a row has none; with codes both are the code,
        and a file without a row has one made up for it.
        """
        rows = {file: self.row(file) for file in files}
        if not self.codes:
            return {file: (file, row.name if row else "") for file, row in rows.items()}
        codes = {file: row.code if row else _made_up(file) for file, row in rows.items()}
        return {file: (code, code) for file, code in codes.items()}

    def row(self, file: str) -> Writer | None:
        """The row of a file: by its path in the folder, otherwise by its bare name."""
        for key in (file, file.rpartition("/")[2]):
            for row in self.rows:
                if row.file.casefold() == key.casefold():
                    return row
        return None

    def gaps(self, files: Sequence[str]) -> tuple[list[str], list[str]]:
        """Rows whose file is not there, and files that have no row."""
        if not self.rows:
            return [], []
        rows = {file: self.row(file) for file in files}
        known = {row.file for row in rows.values() if row is not None}
        missing = [row.file for row in self.rows if row.file not in known]
        return missing, [file for file, row in rows.items() if row is None]

    @property
    def hidden(self) -> Mapping[str, str]:
        """Names that stay out, with the code of each; empty unless codes are asked for."""
        rows = self.rows if self.codes else ()
        return {row.name: row.code for row in rows if row.name}


NO_ROSTER = Roster()


def read_roster(path: Path, *, codes: bool = False) -> Roster:
    """The roster in a file.

    Raises DataError where it is no such table, names a file or a code twice, or has
    a row without a file; UsageError where codes are asked for and a row has none.
    """
    rows = [_writer(path, line, row) for line, row in _table(path)]
    for column in ("file", "code"):
        seen: set[str] = set()
        for row in rows:
            value = getattr(row, column).casefold()
            if value and value in seen:
                raise DataError(
                    f"{path}: the {column} '{getattr(row, column)}' stands in two rows; "
                    "every row needs its own"
                )
            seen.add(value)
    found = Roster(tuple(rows))
    return with_codes(found, str(path)) if codes else found


def with_codes(roster: Roster, where: str) -> Roster:
    """The roster with codes in place of names. where: it stands, for the message.

    Raises UsageError where a row has no code.
    """
    without = [row.file for row in roster.rows if not row.code]
    if without:
        few = ", ".join(without[:3]) + (f" and {len(without) - 3} more" * (len(without) > 3))
        raise UsageError(f"{where}: no code for {few}; give every piece one")
    return replace(roster, codes=True)


def without_names(text: str, hidden: Mapping[str, str], *, any_case: bool = False) -> str:
    """The text with names, whole or a word of them, replaced by their codes.

    Whole words only; a word of a name as the roster writes it or in capitals, or, where
    `any_case`, however it is written. Words of one letter are no names.

    >>> without_names("Ada's Waltz, for bo lind; it may", {"Ada May": "P1", "Bo Lind": "P2"})
    "P1's Waltz, for P2; it may"
    """
    whole = {name.casefold(): code for name, code in hidden.items()}
    words = {
        form: code
        for name, code in hidden.items()
        for word in re.findall(r"[^\W\d_]+", name)
        if len(word) >= _WORD
        for form in (word, word.upper())
    }
    several = {name: code for name, code in whole.items() if len(name) >= _WORD}
    text = _replaced(text, several, re.IGNORECASE)
    if any_case:
        return _replaced(text, {w.casefold(): c for w, c in words.items()}, re.IGNORECASE)
    return _replaced(text, words, re.NOFLAG)


def _replaced(text: str, codes: Mapping[str, str], flags: re.RegexFlag) -> str:
    if not codes:
        return text
    names = "|".join(re.escape(name) for name in sorted(codes, key=len, reverse=True))

    def code(match: re.Match[str]) -> str:
        found = match.group()
        return codes[found.casefold() if flags else found]

    # An underscore or a digit ends a word too: names stand in file names.
    letter = r"[^\W\d_]"
    return re.sub(rf"(?<!{letter})(?:{names})(?!{letter})", code, text, flags=flags)


def _made_up(file: str) -> str:
    """A code for a file without a row, the same in every run."""
    return f"no code {hashlib.sha256(file.encode()).hexdigest()[:5]}"


def _writer(path: Path, line: int, row: Mapping[str, str]) -> Writer:
    values = {name: " ".join((row.get(name) or "").split()) for name in _COLUMNS}
    if not values["file"]:
        raise DataError(f"{path}, line {line}: no file named; give it or delete the row")
    for column in ("file", "earlier"):
        values[column] = values[column].replace("\\", "/").removeprefix("./")
    return Writer(**values)


def _table(path: Path) -> list[tuple[int, dict[str, str]]]:
    """Rows by column name, with the line each ends in; blank rows are passed over."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise DataError(f"{path}: cannot be read ({why}); check the name") from error
    except UnicodeDecodeError as error:
        raise DataError(f"{path}: not UTF-8; save the roster as CSV in UTF-8") from error
    first = text.partition("\n")[0]
    # A semicolon is what spreadsheets write where the comma is a decimal sign.
    delimiter = ";" if first.count(";") > first.count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        rows = [(reader.line_num, row) for row in reader if any(cell.strip() for cell in row)]
    except csv.Error as error:
        raise DataError(f"{path}, line {reader.line_num}: no table ({error})") from error
    head = [cell.strip().casefold() for cell in rows[0][1]] if rows else []
    if "file" not in head:
        raise DataError(f"{path}: no column 'file'; the roster wants {', '.join(_COLUMNS[:3])}")
    return [(line, dict(zip(head, row, strict=False))) for line, row in rows[1:]]


T = TypeVar("T")


def cleaned(value: T, hidden: Mapping[str, str]) -> T:
    """The same data without the names that `hidden` maps to codes.

    value: text, or dataclasses, tuples and values of mappings that hold text. In SVG only
    what is read as text is changed.
    """
    if not hidden:
        return value
    found: Any = value
    if isinstance(found, str):
        found = _in_svg(found, hidden) if found[:4] == "<svg" else without_names(found, hidden)
    elif isinstance(found, tuple):
        found = tuple(cleaned(each, hidden) for each in found)
    elif isinstance(found, Mapping):
        found = {key: cleaned(each, hidden) for key, each in found.items()}
    elif is_dataclass(found) and not isinstance(found, type):
        found = replace(
            found,
            **{f.name: cleaned(getattr(found, f.name), hidden) for f in fields(found)},
        )
    return found  # type: ignore[no-any-return]


def _in_svg(svg: str, hidden: Mapping[str, str]) -> str:
    """Text between tags, and attributes that hold words."""

    def text(match: re.Match[str]) -> str:
        words = without_names(html.unescape(match[2]), hidden)
        return f"{match[1]}{html.escape(words)}{match[3]}"

    svg = re.sub(r"(>)([^<>]+)(<)", text, svg)
    return re.sub(r'((?:aria-label|data-\w+)=")([^"]*)(")', text, svg)
