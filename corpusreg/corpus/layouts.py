"""How each corpus says what its scores are: composer, dates, title, movement.

A layout takes the root of a corpus and its files and returns, for each, what is known of
it as `SourceFile.known` has it; the files' own records of these things are left to
`catalogue.facts`, which reads them in the score. Tables and heads of files are read,
never music.

songs in sets      data/composers.tsv, sets.tsv, scores.tsv: joined by id, which the name
                   of the file ends in, else by path: each score has a folder of its own
                   below scores/ or data/
movements in sets  the same, but the set is the work and the score a movement of it;
                   dates of publication in data/sets.yaml
kern records       OPR or GTL: the whole work; OTL, OMV: the movement and its number
libraries          the same; folders are named by the siglum of the library that has the
                   source, and each library is a collection of its own (data/libraries.csv)
scores in one table  one CSV file beside folders of scores: composer, title, genre, and
                   which scores it marks as a licence conflict or as not valid
hymn headers       %OHCOMPOSER: name and life dates
lilypond headers   see `lilypond_headers`
folder             metadata.csv or metadata.tsv, else the folder's name for the composer
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from corpusreg.corpus.authority import composer_key
from corpusreg.corpus.catalogue import SourceFile, resolve
from corpusreg.corpus.lilypond_headers import lilypond_pieces
from corpusreg.corpus.table import read_table, table_of
from corpusreg.corpus.tables import rows as data_rows

__all__ = ["LAYOUTS"]

Facts = dict[str, str]

_RECORD_BYTES = 16_384  # the records stand at the head of a kern file
_HYMN_BYTES = 65_536
_RECORD = re.compile(r"^!!!(GTL|OPR|OTL|OMV):[ \t]*(\S.*?)\s*$", re.M)
_HYMN_COMPOSER = re.compile(r"^%OHCOMPOSER[ \t]+(\S.*?)\s*$", re.M)
_SCORE_ID = re.compile(r"[a-z]{2}(\d{5,})")  # lc6164267, sq8938822
_EMPTY = ("none", "nan", "null", "n/a")
_YAML_FIELD = re.compile(r"^(- |  )(\w+): *(\S.*?)?(?: +#.*)?$")


@dataclass
class Told:
    """What a layout tells. facts: by relative path; left_out: why, by relative path."""

    facts: dict[str, Facts] = field(default_factory=dict)
    left_out: dict[str, str] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)


def _songs(root: Path, files: Sequence[SourceFile]) -> Told:
    tables = _Tables(root)
    told = Told()
    for file in files:
        score, group, composer = tables.rows_of(file.relative)
        told.facts[file.relative] = composer | {
            "title": score.get("name") or _folder_title(file.relative),
            "column:set": group.get("name", ""),
        }
    return told


def _movements(root: Path, files: Sequence[SourceFile]) -> Told:
    tables = _Tables(root)
    told = Told()
    for file in files:
        score, group, composer = tables.rows_of(file.relative)
        place = PurePosixPath(file.relative).parent
        movement, number = score.get("name", ""), place.name.lstrip("0")
        if number.isdecimal():
            movement = f"{number}. {movement}" if movement else number
            place = place.parent
        title = group.get("name", "") or place.name.replace("_", " ")
        told.facts[file.relative] = composer | {
            "title": title,
            "movement": "" if movement == title else movement,
            "date": group.get("date", ""),
            "date_of": "published" if group.get("date") else "",
        }
    return told


def _folder_title(relative: str) -> str:
    """The folder of a score without its number in the set: '3_Adieu' is 'Adieu'."""
    return re.sub(r"^\d+_", "", PurePosixPath(relative).parent.name).replace("_", " ")


class _Tables:
    """The tables of a corpus whose folders are named as in them."""

    def __init__(self, root: Path) -> None:
        data = root / "data"
        self._scores: dict[str, Facts] = {
            row["path"]: row for row in _rows(data / "scores.tsv")
        }
        self._sets = {row["path"]: row for row in _rows(data / "sets.tsv")}
        self._scores_by_id = {row.get("id"): row for row in self._scores.values()}
        self._sets_by_id = {row.get("id"): row for row in self._sets.values()}
        for row in _yaml_rows(data / "sets.yaml"):
            self._sets[row["path"]] = self._sets.get(row["path"], {}) | row
        self._composers = {row["path"]: row for row in _rows(data / "composers.tsv")}

    def rows_of(self, relative: str) -> tuple[Mapping[str, str], Mapping[str, str], Facts]:
        """The rows of score and set, {} for none, and the facts of the composer."""
        place = PurePosixPath(relative).parent
        parts = place.parts[1:] if place.parts[:1] in (("scores",), ("data",)) else place.parts
        numbered = _SCORE_ID.fullmatch(PurePosixPath(relative).stem)
        score = self._scores_by_id.get(numbered[1] if numbered else "", {})
        score = score or self._scores.get("/".join(parts), {})
        group: Mapping[str, str] = self._sets_by_id.get(score.get("set_id", ""), {})
        for end in range(len(parts), 1, -1):
            group = group or self._set("/".join(parts[:end]))
        top = parts[0] if parts else ""
        row = self._composers.get(top, {})
        name = row.get("name") or top.replace("_", " ")
        life = {end: row[end] for end in ("born", "died") if row.get(end)}
        return score, group, {"composer": name} | life

    def _set(self, path: str) -> Mapping[str, str]:
        """A folder may have the opus number that the table leaves out."""
        return self._sets.get(path) or self._sets.get(re.sub(r",_Op\.[^/]*$", "", path), {})


def _kern(root: Path, files: Sequence[SourceFile]) -> Told:
    told = Told()
    for file in files:
        found = dict(reversed(_RECORD.findall(_head(file.path, _RECORD_BYTES))))
        whole, own = found.get("OPR") or found.get("GTL", ""), found.get("OTL", "")
        number = found.get("OMV", "").lstrip("0")
        # A title that brings its own number has the place in the set that it is printed in.
        if number and not re.match(r"\d+\b", own):
            own = f"{number}. {own}" if own else number
        known = {"title": whole, "movement": own} if whole else {"title": own}
        told.facts[file.relative] = known
    return told


def _libraries(root: Path, files: Sequence[SourceFile]) -> Told:
    told = _kern(root, files)
    names = {row["folder"]: row["name"] for row in data_rows("libraries.csv")}
    for file in files:
        siglum = file.relative.partition("/")[0]
        if siglum in names:
            told.facts[file.relative] |= {
                "collection": f"{file.corpus}/{siglum}",
                "collection_name": names[siglum],
            }
    return told


def _hymns(root: Path, files: Sequence[SourceFile]) -> Told:
    told = Told()
    for file in files:
        found = _HYMN_COMPOSER.search(_head(file.path, _HYMN_BYTES))
        told.facts[file.relative] = {"composer": found[1]} if found else {}
    return told


def _lilypond(root: Path, files: Sequence[SourceFile]) -> Told:
    facts, left_out = lilypond_pieces(root, files)
    return Told(facts, left_out)


def _one_table(root: Path, files: Sequence[SourceFile]) -> Told:
    """A folder of scores with one table for all of them, whose columns are found by name."""
    told = Told()
    rows = _table_rows(root, told.problems)
    for file in files:
        row = rows.get(file.relative) or rows.get(PurePosixPath(file.relative).name)
        if row is None:
            told.left_out[file.relative] = "the collection's table does not list it"
        elif _says_yes(row, "license_conflict", "licence_conflict"):
            told.left_out[file.relative] = "its table marks a licence conflict"
        elif _says_no(row, "subset:all_valid", "is_valid", "valid"):
            told.left_out[file.relative] = "its table marks it as not valid"
        else:
            genre = _cell(row, "genres", "genre")
            told.facts[file.relative] = {
                "title": _cell(row, "title", "song_name"),
                "composer": _cell(row, "composer_name", "composer"),
                "genre": re.split(r"[-,;|]", genre)[0].strip(),
                "column:rating": _cell(row, "rating"),
            }
    return told


def _table_rows(root: Path, problems: list[str]) -> dict[str, Facts]:
    """Rows of the first table in the folder that names scores, by path and by file name."""
    csv.field_size_limit(10_000_000)
    for path in sorted(root.glob("*.csv")):
        try:
            with path.open(encoding="utf-8-sig", newline="") as stream:
                reader = csv.DictReader(stream)
                named = [name for name in ("mxl", "path") if name in (reader.fieldnames or ())]
                if not named:
                    continue
                found: dict[str, Facts] = {}
                for row in reader:
                    plain = {key: value or "" for key, value in row.items() if key}
                    place = _cell(plain, *named).removeprefix("./")
                    if place:
                        found[place] = found[PurePosixPath(place).name] = plain
                return found
        except (OSError, UnicodeDecodeError, csv.Error) as error:
            problems.append(f"{path}: cannot be read as a table ({error})")
    problems.append(f"{root}: no table with a column 'mxl' or 'path'; put it beside the scores")
    return {}


def _cell(row: Mapping[str, str], *names: str) -> str:
    """The first cell of some columns that says something."""
    cells = (row.get(name, "").strip() for name in names)
    return next((cell for cell in cells if cell and cell.casefold() not in _EMPTY), "")


def _says_yes(row: Mapping[str, str], *names: str) -> bool:
    return _cell(row, *names).casefold() in ("true", "1", "yes")


def _says_no(row: Mapping[str, str], *names: str) -> bool:
    return _cell(row, *names).casefold() in ("false", "0", "no")


def _folder(root: Path, files: Sequence[SourceFile]) -> Told:
    """A user's own scores."""
    told = Told()
    table = table_of(root)
    rows = read_table(table, told.problems) if table else {}
    for file in files:
        told.facts[file.relative] = {"folder_composer": _folder_composer(file.relative)}
        told.facts[file.relative] |= dict(rows.pop(file.relative, ()))
    told.problems += [f"{table}: names {name}, but there is no such score" for name in rows]
    return told


def _folder_composer(relative: str) -> str:
    """The nearest folder that is a composer's name in full, '' for none.

    A single word is no safe guess: many composers share a family name.
    """
    for part in reversed(PurePosixPath(relative).parts[:-1]):
        name = part.replace("_", " ")
        composer = resolve(name) if " " in composer_key(name) else None
        if composer is not None:
            return composer.name
    return ""


LAYOUTS: Mapping[str, Callable[[Path, Sequence[SourceFile]], Told]] = {
    "songs in sets": _songs,
    "movements in sets": _movements,
    "kern records": _kern,
    "libraries": _libraries,
    "hymn headers": _hymns,
    "lilypond headers": _lilypond,
    "scores in one table": _one_table,
    "folder": _folder,
}


def _rows(path: Path) -> list[dict[str, str]]:
    """Rows of a corpus's own TSV, whose cells are never quoted; [] where it is missing."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError):
        return []
    found = csv.DictReader(text.splitlines(), delimiter="\t", quoting=csv.QUOTE_NONE)
    rows = [{key: value or "" for key, value in row.items() if key} for row in found]
    return [row for row in rows if row.get("path")]


def _yaml_rows(path: Path) -> list[dict[str, str]]:
    """A list of flat mappings: the only YAML that these corpora have."""
    rows: list[dict[str, str]] = []
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError):
        return []
    for found in filter(None, map(_YAML_FIELD.match, text.splitlines())):
        begins, name, value = found.groups()
        if begins == "- ":
            rows.append({})
        if rows:
            rows[-1][name] = (value or "").strip("\"'")
    return [row for row in rows if row.get("path")]


def _head(path: Path, size: int) -> str:
    try:
        with path.open("rb") as stream:
            data = stream.read(size)
    except OSError:  # the reader will say so
        return ""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # A head that was cut inside a letter is still UTF-8.
        cut = error.start >= len(data) - 3
        text = data[: error.start].decode("utf-8-sig") if cut else data.decode("latin-1")
    return text.replace("\r\n", "\n").replace("\r", "\n")
