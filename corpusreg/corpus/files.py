"""The score files of a corpus: those inside the installed music21, or of any folder.

Conventions: `relative` is the path below the corpus root with '/', as the file
system spells it; it is the stable id of a file within its corpus. Lists are sorted
by `relative`. What is left out of the bundled corpus, and why, is data
(data/exclusions.csv). Links to directories are never followed.
"""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from fnmatch import fnmatchcase
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from corpusreg.corpus.tables import rows
from corpusreg.score import formats
from corpusreg.system.errors import ReadError

__all__ = [
    "BUNDLED", "FORMATS", "SourceFile", "bundled", "bundled_root", "content_hash", "excluded",
    "folder",
]  # fmt: skip

BUNDLED = "bundled"
MAX_DEPTH = 40  # deeper than any real collection; bounds a tree built to trap a walker

# What a file name's ending says about its format.
FORMATS = formats.FORMATS
_BUNDLED_FORMATS = ("musicxml", "kern", "abc")


@dataclass(frozen=True, order=True)
class SourceFile:
    """A score file. `path` is absolute, `size` in bytes.

    known: what the tables of its corpus say of it, as (name, text) pairs: title,
    movement, composer, born, died, date, genre, region, cluster, collection_name;
    ensemble, for parts without names; tier with statement, evidence and reason, where
    the file says nothing of its licence; folder_composer, a guess for when nobody is
    named; 'column:NAME' for further columns.
    """

    corpus: str
    relative: str
    path: Path
    format: str
    size: int
    known: tuple[tuple[str, str], ...] = ()


def bundled_root() -> Path:
    """The `corpus` folder of the installed music21, found without importing it.

    Raises ReadError when music21 is not installed or has been stripped of its scores.
    """
    spec = find_spec("music21")
    places = list(spec.submodule_search_locations or ()) if spec else []
    root = Path(places[0]) / "corpus" if places else None
    if root is None or not root.is_dir():
        raise ReadError(
            "the bundled corpus is missing: music21 is not installed or has no corpus "
            "folder; run 'pip install music21'"
        )
    return root.resolve()


def bundled() -> list[SourceFile]:
    """The scores inside the installed music21, without those data/exclusions.csv names."""
    files = folder(bundled_root(), BUNDLED)
    return [f for f in files if f.format in _BUNDLED_FORMATS and not excluded(f.relative)]


def excluded(relative: str) -> str:
    """Why a file of the music21 corpus folder is left out, '' when it is not."""
    for rule in rows("exclusions.csv"):
        if fnmatchcase(relative, rule["glob"]):
            return rule["reason"]
    return ""


def folder(path: Path, corpus: str, problems: list[str] | None = None) -> list[SourceFile]:
    """Every score file below a folder, sorted, links to directories not followed.

    What cannot be entered (no permission, deeper than 40 folders) or named (a name
    that is not UTF-8) is appended to `problems`, one line each; without that list the
    first one raises ReadError, so that nothing is passed over silently. Raises ReadError
    when `path` is no folder.
    """
    root = Path(path).absolute()
    if not root.is_dir():
        raise ReadError(f"{root} is not a folder; give the folder that holds the scores")
    found: list[SourceFile] = []
    faults: list[str] = []
    waiting: list[tuple[str, str, int]] = [(str(root), "", 0)]
    while waiting:
        place, prefix, depth = waiting.pop()
        try:
            with os.scandir(place) as entries:
                for entry in entries:
                    _sort_in(entry, prefix, depth, corpus, found, waiting, faults)
        except OSError as error:
            faults.append(
                f"{place}: cannot be opened ({error.strerror}); check its permissions"
            )
    if problems is None and faults:
        raise ReadError(faults[0])
    if problems is not None:
        problems += sorted(faults)
    return sorted(found, key=lambda file: file.relative)


def _sort_in(
    entry: os.DirEntry[str],
    prefix: str,
    depth: int,
    corpus: str,
    found: list[SourceFile],
    waiting: list[tuple[str, str, int]],
    faults: list[str],
) -> None:
    """Put one directory entry where it belongs: a score, a folder to visit, or nothing."""
    relative = f"{prefix}{entry.name}"
    if entry.is_dir(follow_symlinks=False):
        # A junction is Windows' other link to a directory; os.DirEntry tells from 3.12 on.
        junction = getattr(entry, "is_junction", lambda: False)()
        if depth >= MAX_DEPTH:
            faults.append(f"{entry.path}: nested deeper than {MAX_DEPTH} folders; not entered")
        elif not junction:
            waiting.append((entry.path, f"{relative}/", depth + 1))
        return
    kind = FORMATS.get(Path(entry.name).suffix.lower())
    # macOS leaves '._name.xml' files beside the real ones on foreign disks.
    if kind is None or entry.name.startswith("._"):
        return
    try:
        relative.encode("utf-8")
        if entry.is_file():
            size = entry.stat().st_size
            found.append(SourceFile(corpus, relative, Path(entry.path), kind, size))
    except UnicodeEncodeError:
        faults.append(f"{entry.path!a}: the name is not UTF-8; rename the file")
    except OSError as error:
        faults.append(
            f"{entry.path}: cannot be opened ({error.strerror}); check where it leads"
        )


def content_hash(path: Path) -> str:
    """First 32 hexadecimal digits of the SHA-256 of a file's bytes."""
    path = Path(path)
    state = path.stat()
    return _hashed(path, state.st_size, state.st_mtime_ns)


@lru_cache(maxsize=16)
def _hashed(path: Path, size: int, changed: int) -> str:
    """The hash of a file in this state: asked for more than once while it is measured."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()[:32]
