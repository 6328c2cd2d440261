"""How each corpus says what its scores are: composer, dates, title, movement.

LilyPond: a piece is a folder; files in folders that end in -lys, and below, belong to the
folder above, but where such a folder holds only folders each of them is a piece. Of a
piece's files those that others include are passages, and the others are forms of it: the
full score, single parts, a form for MIDI. One is read: the one named like the piece, else
one with 'score' or 'conductor' in its name, else the one that draws on most files, and of
those the largest. The others are left out.

Header fields are taken from the file and, where it lacks them, from what it includes:
text in quotation marks, the quoted words of a \\markup, or a variable of either. Which
fields: mutopiacomposer or composer, mutopiatitle or title, date, mutopiaopus or opus,
style, mutopiainstrument or instrument, license or copyright.

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
lilypond headers   as said above
folder             metadata.csv or metadata.tsv, else the folder's name for the composer
"""

from __future__ import annotations

import csv
import re
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from corpusreg.corpus.authority import composer_key
from corpusreg.corpus.catalogue import SourceFile, resolve
from corpusreg.corpus.licences import tier_of_words
from corpusreg.corpus.table import read_table, table_of
from corpusreg.corpus.tables import rows as data_rows

__all__ = ["LAYOUTS"]

_MOST_BYTES = 2_000_000
_INCLUDE = re.compile(r"^[^%\n]*\\include\s+\"([^\"]+)\"", re.M)
_COMMENT = re.compile(r"(?:^|(?<=\s))%.*$", re.M)
_FIELD = re.compile(r"(?<![\w.\\#'-])([A-Za-z]+)[ \t]*=[ \t]*(?=[\"\\])")
_QUOTED = re.compile(r"\"((?:[^\"\\]|\\.)*)\"")
_VARIABLE = re.compile(r"\\([A-Za-z]+)")
_MUSIC = re.compile(r"\\(?:score|book|new|relative|context|simultaneous)\b|<<")
_LICENCES = ("license", "licence", "mutopialicense", "mutopiacopyright", "copyright")
_WANTED = frozenset(
    ("mutopiacomposer", "composer", "mutopiatitle", "title", "date", "mutopiaopus", "opus",
     "style", "mutopiainstrument", "instrument", *_LICENCES)
)  # fmt: skip
_REASON = "a part, a passage or another form of a piece that is read from its full score"
_NO_MUSIC = "definitions or a header, no music"
Facts = dict[str, str]


def lilypond_pieces(
    root: Path, files: Sequence[SourceFile]
) -> tuple[dict[str, Facts], dict[str, str]]:
    """What is known of the files that are read, and why the others are left out, by path."""
    sources = _LilyPondSources(root)
    holding = {file.relative.rpartition("/")[0] for file in files}
    pieces: dict[str, list[SourceFile]] = defaultdict(list)
    for file in files:
        pieces[_piece_of(file.relative, holding)].append(file)
    facts: dict[str, Facts] = {}
    left_out: dict[str, str] = {}
    for name, members in pieces.items():
        included = {path for file in members for path in sources.includes(file.path)}
        forms = [file for file in members if file.path.resolve() not in included]
        musical = [file for file in forms if sources.is_music(file.path)]
        chosen = max(musical, key=lambda file: _rank(file, name, sources), default=None)
        for file in members:
            if file is chosen:
                facts[file.relative] = _facts(sources.fields(file.path))
            elif musical:
                left_out[file.relative] = _REASON
            else:
                left_out[file.relative] = _NO_MUSIC
    return facts, left_out


def _piece_of(relative: str, holding: Set[str]) -> str:
    """Folder of a file's piece; holding: the folders that have sources in them."""
    parts = PurePosixPath(relative).parts[:-1]
    for place, part in enumerate(parts):
        if part.endswith("-lys"):
            whole = "/".join(parts[: place + 1]) in holding
            return "/".join(parts[: place if whole else place + 2])
    return "/".join(parts)


def _rank(
    file: SourceFile, piece: str, sources: _LilyPondSources
) -> tuple[bool, bool, int, int, str]:
    stem, name = file.path.stem.casefold(), PurePosixPath(piece).name.casefold()
    full = re.search(r"score|conductor|partitur", stem) is not None
    return (
        stem == name,
        full and "midi" not in stem,
        len(sources.includes(file.path)),
        file.size,
        file.relative,
    )


def _facts(fields: Mapping[str, str]) -> Facts:
    def first(*names: str) -> str:
        return next((fields[name] for name in names if fields.get(name)), "")

    # The library's own ids, such as BachJS, are spellings in the table of composers.
    identity, credit = first("mutopiacomposer"), first("composer")
    known = identity if resolve(identity) is not None else credit or identity
    facts = {
        "composer": known,
        "title": first("mutopiatitle", "title"),
        "date": first("date"),
        "column:opus": first("mutopiaopus", "opus"),
        "column:style": first("style"),
        "column:instrument": first("mutopiainstrument", "instrument"),
    }
    if resolve(known) is None and re.search(
        r"anon|tradition|folk", f"{identity} {known}", re.I
    ):
        facts["composer"] = "Anonymous"
    return facts | _licence(fields)


def _licence(fields: Mapping[str, str]) -> Facts:
    for name in _LICENCES:
        found = tier_of_words(fields.get(name, ""))
        if found is not None:
            tier, reason = found
            evidence = f"in the header or a file it includes: {name}"
            statement = fields[name][:400]
            return {
                "tier": tier,
                "statement": statement,
                "evidence": evidence,
                "reason": reason,
            }
    return {}


class _LilyPondSources:
    """LilyPond files as text, each read once, with the files that they include."""

    def __init__(self, root: Path) -> None:
        self._root = root.resolve()
        self._texts: dict[Path, str] = {}
        self._includes: dict[Path, tuple[Path, ...]] = {}

    def text(self, path: Path) -> str:
        if path not in self._texts:
            try:
                with path.open("rb") as stream:
                    data = stream.read(_MOST_BYTES)
            except OSError:
                data = b""
            try:
                text = data.decode("utf-8-sig")
            except UnicodeDecodeError:
                text = data.decode("latin-1")
            self._texts[path] = _COMMENT.sub("", text)
        return self._texts[path]

    def includes(self, path: Path) -> tuple[Path, ...]:
        """Files below the root that a file includes, directly or not, nearest first."""
        path = path.resolve()
        if path not in self._includes:
            found: dict[Path, None] = {}
            waiting = [path]
            while waiting:
                place = waiting.pop(0)
                for name in _INCLUDE.findall(self.text(place)):
                    target = (place.parent / name).resolve()
                    inside = target.is_relative_to(self._root) and target.is_file()
                    if inside and target != path and target not in found:
                        found[target] = None
                        waiting.append(target)
            self._includes[path] = tuple(found)
        return self._includes[path]

    def is_music(self, path: Path) -> bool:
        return any(_MUSIC.search(self.text(p)) for p in (path.resolve(), *self.includes(path)))

    def fields(self, path: Path) -> dict[str, str]:
        """Wanted header fields of a file and of what it includes, the nearest first."""
        found: dict[str, str] = {}
        texts = [self.text(p) for p in (path.resolve(), *self.includes(path))]
        for text in texts:
            for match in _FIELD.finditer(text):
                name = match[1].casefold()
                if name in _WANTED and not found.get(name):
                    found[name] = _value(text, match.end(), texts)
        return found


def _value(text: str, place: int, texts: Sequence[str]) -> str:
    """The words of a field's value: a string, a markup, or a variable of either."""
    if text[place] == '"':
        quoted = _QUOTED.match(text, place)
        return _words([quoted[1]]) if quoted else ""
    span = _markup(text, place)
    words = _words(_QUOTED.findall(span))
    if words:
        return words
    variable = _VARIABLE.findall(span)
    for name in variable:
        for other in texts:
            defined = re.search(rf"^[ \t]*{name}[ \t]*=[ \t]*(?=[\"\\])", other, re.M)
            if defined is not None and other[defined.end()] == '"':
                quoted = _QUOTED.match(other, defined.end())
                return _words([quoted[1]]) if quoted else ""
            if defined is not None:
                return _words(_QUOTED.findall(_markup(other, defined.end())))
    bare = re.sub(r"\\[\w-]+|#\S+|[{}]", " ", span)
    return _words([bare])


def _markup(text: str, place: int) -> str:
    """From a backslash to the end of its last brace, or of the line where it has none."""
    end_of_line = text.find("\n", place)
    end_of_line = len(text) if end_of_line < 0 else end_of_line
    depth, opened = 0, False
    for at in range(place, min(len(text), place + 5_000)):
        if text[at] == "{":
            depth, opened = depth + 1, True
        elif text[at] == "}":
            depth -= 1
        if (opened and depth <= 0) or (not opened and at >= end_of_line):
            return text[place : at + 1]
    return text[place:end_of_line]


def _words(parts: Sequence[str]) -> str:
    text = " ".join(part.replace('\\"', '"') for part in parts)
    return re.sub(r"\s+", " ", text).strip()


_RECORD_BYTES = 16_384  # the records stand at the head of a kern file
_HYMN_BYTES = 65_536
_RECORD = re.compile(r"^!!!(GTL|OPR|OTL|OMV):[ \t]*(\S.*?)\s*$", re.M)
_HYMN_COMPOSER = re.compile(r"^%OHCOMPOSER[ \t]+(\S.*?)\s*$", re.M)
_SCORE_ID = re.compile(r"[a-z]{2}(\d{5,})")  # lc6164267, sq8938822
_EMPTY = ("none", "nan", "null", "n/a")
_YAML_FIELD = re.compile(r"^(- |  )(\w+): *(\S.*?)?(?: +#.*)?$")


@dataclass
class LayoutFacts:
    """What a layout tells. facts: by relative path; left_out: why, by relative path."""

    facts: dict[str, Facts] = field(default_factory=dict)
    left_out: dict[str, str] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)


def _songs(root: Path, files: Sequence[SourceFile]) -> LayoutFacts:
    tables = _Tables(root)
    told = LayoutFacts()
    for file in files:
        score, group, composer = tables.rows_of(file.relative)
        told.facts[file.relative] = composer | {
            "title": score.get("name") or _folder_title(file.relative),
            "column:set": group.get("name", ""),
        }
    return told


def _movements(root: Path, files: Sequence[SourceFile]) -> LayoutFacts:
    tables = _Tables(root)
    told = LayoutFacts()
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


def _kern(root: Path, files: Sequence[SourceFile]) -> LayoutFacts:
    told = LayoutFacts()
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


def _libraries(root: Path, files: Sequence[SourceFile]) -> LayoutFacts:
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


def _hymns(root: Path, files: Sequence[SourceFile]) -> LayoutFacts:
    told = LayoutFacts()
    for file in files:
        found = _HYMN_COMPOSER.search(_head(file.path, _HYMN_BYTES))
        told.facts[file.relative] = {"composer": found[1]} if found else {}
    return told


def _lilypond(root: Path, files: Sequence[SourceFile]) -> LayoutFacts:
    facts, left_out = lilypond_pieces(root, files)
    return LayoutFacts(facts, left_out)


def _one_table(root: Path, files: Sequence[SourceFile]) -> LayoutFacts:
    """A folder of scores with one table for all of them, whose columns are found by name."""
    told = LayoutFacts()
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


def _folder(root: Path, files: Sequence[SourceFile]) -> LayoutFacts:
    """A user's own scores."""
    told = LayoutFacts()
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


LAYOUTS: Mapping[str, Callable[[Path, Sequence[SourceFile]], LayoutFacts]] = {
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
