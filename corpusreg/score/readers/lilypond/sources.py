"""The files of a LilyPond piece: a source and all that it includes, as copies.

Conventions: names are relative to the piece's root, the lowest folder that holds
them all, with '/'. Only files with a LilyPond ending are taken, from the folder of
the source, from those inside it, and from up to two folders above: what a source
wants from elsewhere on the disk it does not get.
"""

from __future__ import annotations

import os
import posixpath
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from corpusreg.system.errors import ReadError

__all__ = ["Sources", "gather", "included", "plain", "version_of"]

ENDINGS = (".ly", ".ily", ".lyi", ".lyp", ".scm")
_ABOVE = 2  # folders above that of the source from which files are taken
_MOST_FILES = 1000
_MOST_BYTES = 32 * 2**20
_COMMENT = re.compile(r'("(?:\\.|[^"\\])*")|%\{.*?%\}|%[^\n]*', re.DOTALL)
INCLUDE = re.compile(r'\\include\s*#?\s*"([^"\n]+)"')
_INCLUDE_NAMED = re.compile(r"\\include\s*\\([A-Za-z]+)")
_VERSION = re.compile(r'\\version\s*#?\s*"(\d+)\.(\d+)(?:\.(\d+))?')


@dataclass(frozen=True)
class Sources:
    """Text of every file by name; `main` is the source itself.

    refused: included files that exist, in places from which nothing is read.
    """

    main: str
    texts: dict[str, str]
    refused: tuple[str, ...] = ()


def plain(text: str) -> str:
    """A source without its comments.

    >>> plain('c4 % a note\\n"100 %" d')
    'c4 \\n"100 %" d'
    """
    return _COMMENT.sub(lambda found: found.group(1) or "", text)


def included(text: str) -> list[str]:
    """Names in the \\include commands of a source, in order."""
    return INCLUDE.findall(plain(text))


def _included_by_name(texts: Iterable[str]) -> list[str]:
    """What variables in \\include commands stand for, all values that the sources give them."""
    texts = [plain(text) for text in texts]
    found: dict[str, None] = {}
    for variable in {name for text in texts for name in _INCLUDE_NAMED.findall(text)}:
        value = re.compile(rf'(?m)^\s*"?{variable}"?\s*=\s*#?\s*"([^"\n]+)"')
        found |= dict.fromkeys(each for text in texts for each in value.findall(text))
    return list(found)


def beside(
    name: str, file: str, texts: Mapping[str, str], *, any_case: bool = False
) -> str | None:
    """The included file among a piece's own, None where it is not one of them."""
    inner = posixpath.normpath(posixpath.join(posixpath.dirname(file), name))
    if inner in texts or not any_case:
        return inner if inner in texts else None
    same = [each for each in texts if each.casefold() == inner.casefold()]
    return same[0] if len(same) == 1 else None


def version_of(text: str) -> tuple[int, int, int] | None:
    """The version of LilyPond a source says it is for."""
    found = _VERSION.search(plain(text))
    if found is None:
        return None
    major, minor, patch = found.groups()
    return int(major), int(minor), int(patch or 0)


def gather(path: Path) -> Sources:
    """A source and everything it includes, read from disk.

    Raises ReadError when a file cannot be read or the piece is larger than any real one.
    """
    main = path.resolve()
    texts: dict[Path, str] = {}
    refused: dict[str, None] = {}
    waiting, size = [main], 0
    while waiting or (waiting := _named(texts, main)):
        file = waiting.pop()
        if file in texts:
            continue
        texts[file] = _read(file)
        size += len(texts[file])
        if len(texts) > _MOST_FILES or size > _MOST_BYTES:
            raise ReadError(f"{path}: includes too much; split the piece")
        for name in included(texts[file]):
            found = resolve(name, file, main)
            if found is not None and _allowed(found, main):
                waiting.append(found)
            elif found is not None:
                refused[name] = None
    root = Path(os.path.commonpath([file.parent for file in texts]))
    names = {file.relative_to(root).as_posix(): text for file, text in texts.items()}
    return Sources(main.relative_to(root).as_posix(), names, tuple(refused))


def _named(texts: Mapping[Path, str], main: Path) -> list[Path]:
    """Files that the sources include by a variable, and that are not among them yet."""
    names = _included_by_name(texts.values())
    found = [resolve(name, file, main) for name in names for file in texts]
    return [
        each
        for each in dict.fromkeys(found)
        if each is not None and each not in texts and _allowed(each, main)
    ]


def resolve(name: str, file: Path, main: Path) -> Path | None:
    """Where an included name leads: beside the file that includes it, or the source.

    None where there is no such file: perhaps LilyPond brings it along.
    """
    for folder in dict.fromkeys((file.parent, main.parent)):
        try:
            place = (folder / name).resolve()
            if place.is_file():
                return place
            # Written where capitals and small letters are the same in names.
            same = [each for each in place.parent.glob("*") if _same(each, place)]
            if len(same) == 1:
                return same[0].resolve()
        except (OSError, ValueError):  # a name that no file can have
            return None
    return None


def _same(one: Path, other: Path) -> bool:
    return one.name.casefold() == other.name.casefold() and one.is_file()


def _allowed(file: Path, main: Path) -> bool:
    """Whether a file lies near the source, is LilyPond's, and belongs to no one else."""
    if file.suffix.lower() not in ENDINGS:
        return False
    above = main.parents[min(_ABOVE, len(main.parents) - 1)]
    # At the top of the disk 'near' would mean everything.
    near = above if len(above.parts) > 1 else main.parent
    return file.is_relative_to(near)


def _read(file: Path) -> str:
    try:
        if file.stat().st_size > _MOST_BYTES:
            raise ReadError(f"{file}: larger than {_MOST_BYTES >> 20} MB; split the file")
        data = file.read_bytes()
    except OSError as error:
        raise ReadError(f"{file}: cannot be read ({error.strerror or error})") from error
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")
