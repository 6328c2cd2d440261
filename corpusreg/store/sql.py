"""Query files: where they are, and what their headers say.

A query file is one SQL statement under a header of comment lines:

    -- How wide is the music of each period?
    --
    -- More words about it, as many lines as wanted.
    --
    -- Parameters:
    --   $ensemble VARCHAR = NULL   only this ensemble; NULL for all
    -- Columns:
    --   period VARCHAR             period by year of composition
    --   median DOUBLE              median span [semitones]

The first line is the question. A parameter without a default must be given. A
test holds every header against the statement that follows it.

Files that corpusreg itself needs are in the folder `store` beside the others;
they are read by `load` and not listed.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from corpusreg.system.errors import DataError, UsageError

__all__ = [
    "Column", "Parameter", "Query", "asked", "find", "folder", "listed", "load", "read_file",
]  # fmt: skip

_ENTRY = re.compile(r"^ {2,}(\$?)(\w+) (\w+(?:\[\])?)(?: = ('[^']*'|\S+))? +(\S.*)$")
_SECTIONS = ("Parameters:", "Columns:")
_ASKED = re.compile(r"\$([A-Za-z_]\w*)")  # a parameter in a statement
_NUMBERS = ("INTEGER", "BIGINT", "DOUBLE")


@dataclass(frozen=True)
class Parameter:
    """A named value, `$name` in the statement; `default` is None where it must be given.

    `default` is text as SQL writes it: NULL, 10, 'piano'. type: '' where no header says it;
    a value that is a number is taken for one then.
    """

    name: str
    type: str
    default: str | None
    words: str


@dataclass(frozen=True)
class Column:
    """A result column with its DuckDB type and its meaning, unit in brackets."""

    name: str
    type: str
    words: str


@dataclass(frozen=True)
class Query:
    """One query file: `title` is the question it answers, `about` further words."""

    name: str
    title: str
    about: str
    parameters: tuple[Parameter, ...]
    columns: tuple[Column, ...]
    text: str
    path: Path

    @property
    def own(self) -> bool:
        """Whether it is a user's, not one of those that come with corpusreg."""
        return self.path.parent != folder()

    def values(self, given: Mapping[str, object]) -> dict[str, object]:
        """A value for every parameter: the one given, else its default.

        Raises UsageError for a name that the query does not have, for a parameter
        without value, and for a word where a number belongs.
        """
        known = {parameter.name: parameter for parameter in self.parameters}
        for name in given:
            if name not in known:
                names = ", ".join(known) or "none"
                raise UsageError(
                    f"query {self.name} has no parameter '{name}'; it has: {names}"
                )
        missing = [p.name for p in self.parameters if p.default is None and p.name not in given]
        if missing:
            raise UsageError(
                f"query {self.name} needs a value for {', '.join(missing)}; "
                f"give it as {missing[0]}=VALUE"
            )
        for name, value in given.items():
            if known[name].type in _NUMBERS and not _is_number(value):
                raise UsageError(
                    f"{name}: '{value}' is not a number; it is {known[name].words}"
                )
        return {
            p.name: _typed(p, given[p.name]) if p.name in given else _literal(p.default)
            for p in self.parameters
        }


def folder() -> Path:
    """The folder of query files, in a wheel, an editable install or a checkout.

    Raises DataError when it is in none of them.
    """
    package = Path(__file__).resolve().parents[1]
    for candidate in (package / "queries", package.parent / "queries"):
        if candidate.is_dir():
            return candidate
    raise DataError(f"no query files beside {package}; install corpusreg again")


def listed() -> tuple[Query, ...]:
    """All queries meant for researchers, by name."""
    return tuple(read_file(path) for path in sorted(folder().glob("*.sql")))


def find(name: str) -> Query:
    """The query of this name, or the one in this file.

    A name without a path and without '.sql' is looked for among the listed
    queries. Raises UsageError when there is none.
    """
    path = folder() / f"{name}.sql"
    if re.fullmatch(r"\w+", name) and path.is_file():
        return read_file(path)
    given = Path(name)
    try:
        here = given.is_file()
    except OSError:  # no file has so long a name
        here = False
    if here:
        return read_file(given)
    if " " in name:
        raise UsageError("SQL is read from a file that ends in .sql; name the file")
    names = [path.stem for path in sorted(folder().glob("*.sql"))]
    near = difflib.get_close_matches(name, names, n=3)
    hint = f"did you mean {', '.join(near)}?" if near else f"there are: {', '.join(names)}"
    raise UsageError(f"no query named '{name}' and no such file; {hint}")


def read_file(path: Path) -> Query:
    """Read a query file; without header its parameters are those that its SQL names.

    Raises DataError when the file cannot be read as text or its header is not
    in the form that the module docstring shows.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise DataError(f"{path}: cannot be read as a query ({error})") from error
    header, start = _header(text)
    prose, entries = _sections(header, path)
    parameters = tuple(
        Parameter(name, kind, default, words)
        for sign, name, kind, default, words in entries["Parameters:"]
        if sign
    )
    columns = tuple(
        Column(name, kind, words)
        for sign, name, kind, _, words in entries["Columns:"]
        if not sign
    )
    if len(parameters) + len(columns) != sum(map(len, entries.values())):
        raise DataError(f"{path}: in the header parameters begin with $ and columns do not")
    if not parameters:
        asked_for = _ASKED.findall(re.sub(r"--.*|'[^']*'", "", text[start:]))
        parameters = tuple(Parameter(name, "", None, "") for name in dict.fromkeys(asked_for))
    title, _, about = prose.partition("\n")
    return Query(
        path.stem, title.strip(), about.strip(), parameters, columns, text[start:], path
    )


def load(name: str) -> str:
    """Text of an internal statement file, `queries/store/<name>.sql`."""
    return (folder() / "store" / f"{name}.sql").read_text(encoding="utf-8")


def _header(text: str) -> tuple[list[str], int]:
    """Comment lines at the beginning, without their dashes, and where SQL begins."""
    lines: list[str] = []
    start = 0
    for line in text.splitlines(keepends=True):
        if not line.startswith("--"):
            break
        lines.append(line[2:].rstrip().removeprefix(" "))
        start += len(line)
    return lines, start


def _sections(
    header: list[str], path: Path
) -> tuple[str, dict[str, list[tuple[str, str, str, str | None, str]]]]:
    """Prose of the header, and the entries of each section."""
    prose: list[str] = []
    entries: dict[str, list[tuple[str, str, str, str | None, str]]] = {
        name: [] for name in _SECTIONS
    }
    section = ""
    for line in header:
        if line in _SECTIONS:
            section = line
        elif not section:
            prose.append(line)
        elif line.strip() not in ("", "none"):
            match = _ENTRY.match(line)
            if match is None:
                raise DataError(
                    f"{path}: header line '{line.strip()}' is not 'name TYPE  words'"
                )
            sign, name, kind, default, words = match.groups()
            entries[section].append((sign, name, kind, default, words))
    return "\n".join(prose), entries


def asked(name: str, value: str) -> str:
    """A value of a parameter as one types it after `corpusreg query NAME`.

    >>> asked("period", "baroque"), asked("ensemble", "string quartet")
    ('period=baroque', '"ensemble=string quartet"')
    """
    return f'"{name}={value}"' if " " in value else f"{name}={value}"


def _typed(parameter: Parameter, value: object) -> object:
    text = str(value)
    if parameter.type or not _is_number(value) or value is None:
        return value
    return int(text) if text.lstrip("-").isdecimal() else float(text)


def _is_number(value: object) -> bool:
    try:
        return value is None or math.isfinite(float(str(value)))
    except ValueError:
        return False


def _literal(text: str | None) -> object:
    """Value of a default as SQL writes it; numbers stay text, for DuckDB to cast."""
    if text is None or text.upper() == "NULL":
        return None
    return text.strip("'")
