r"""What the headers of LilyPond files say, and which files of a piece are read.

A piece is a folder; files in folders that end in -lys, and below, belong to the folder
above, but where such a folder holds only folders each of them is a piece. Of a piece's
files those that others include are passages, and the others are forms of it: the full
score, single parts, a form for MIDI. One is read: the one named like the piece, else one
with 'score' or 'conductor' in its name, else the one that draws on most files, and of
those the largest. The others are left out.

Header fields are taken from the file and, where it lacks them, from what it includes:
text in quotation marks, the quoted words of a \markup, or a variable of either. Which
fields: mutopiacomposer or composer, mutopiatitle or title, date, mutopiaopus or opus,
style, mutopiainstrument or instrument, license or copyright.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Mapping, Sequence, Set
from pathlib import Path, PurePosixPath

from corpusreg.corpus.catalogue import SourceFile, resolve
from corpusreg.corpus.licences import tier_of_words

__all__ = ["lilypond_pieces"]

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
    sources = _Sources(root)
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


def _rank(file: SourceFile, piece: str, sources: _Sources) -> tuple[bool, bool, int, int, str]:
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


class _Sources:
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
