"""What people give: scores, folders and archives, bounded, under names of our own.

Names keep their letters, digits and a few signs, so that sheets can name a piece as its
writer does; no name leads out of the folder, hides a file or means a device. Only files
with the ending of a score are kept, and what is left out is told.
"""

from __future__ import annotations

import re
import shutil
import unicodedata
import zipfile
import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from corpusreg.score.formats import FORMATS
from corpusreg.system.errors import UsageError
from corpusreg.system.isolate import Limits, StoppedError, call

__all__ = [
    "FILES", "PER_FILE", "TOTAL", "Taken", "clean", "keep", "score_name", "take", "too_large",
]  # fmt: skip

MEGABYTE = 2**20
PER_FILE = 20 * MEGABYTE  # bytes of one score
TOTAL = 100 * MEGABYTE  # bytes of all that is given at once, also unpacked
FILES = 200  # scores given at once

_UNPACKING = Limits(cpu_seconds=30, wall_seconds=60, memory=400_000_000)
_DEEPEST = 4  # folders inside the class folder
_LONGEST = 80  # letters of a name without its ending
_MOST_BYTES = 200  # of the same in UTF-8; file systems end at 255 for the whole name
_ARCHIVE = ".zip"
# Names that Windows keeps for devices.
_DEVICES = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\.|$)", re.IGNORECASE)
_FOLDER = "The class"
_TOO_MUCH = f"more than {TOTAL // MEGABYTE} MB at once, unpacked; give fewer scores"


@dataclass(frozen=True)
class Taken:
    """What was kept. name: of the class or the folder; files: relative to it, with '/',
    in alphabetical order; left_out: files that are no scores."""

    name: str
    files: tuple[str, ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True)
class _Packed:
    """An archive, where it goes, and what may still be kept."""

    path: Path
    to: Path
    files: int
    size: int


def take(given: Iterable[tuple[str, IO[bytes]]], folder: Path) -> Taken:
    """Keep the scores among what was given, below `folder`, which exists and is empty.

    given: name (with '/' where it was in a folder) and content of each file; archives in
    it are unpacked, in a bounded process. The scores lie in `folder` / Taken.name.
    Raises UsageError for too much, for a damaged archive, and where no score is left.
    """
    stage = folder / ".incoming"  # no cleaned name is like this
    stage.mkdir()
    kept: list[str] = []
    left_out: list[str] = []
    size = 0
    archives: list[str] = []
    for name, stream in given:
        if name.lower().endswith(_ARCHIVE):
            packed = stage / f"archive-{len(archives)}"
            keep(stream, packed, TOTAL, too_large(name, TOTAL))
            found = _unpacked(name, _Packed(packed, stage, FILES - len(kept), TOTAL - size))
            packed.unlink()
            archives.append(name)
            kept += found[0]
            left_out += found[1]
            size += found[2]
        elif _is_score(name):
            kept.append(_place(stage, name))
            size += keep(stream, stage / kept[-1], PER_FILE, too_large(name))
        else:
            left_out.append(_shown(name))
        _bounded(len(kept), size)
    if not kept:
        raise UsageError(_nothing(left_out))
    return _settled(folder, stage, kept, left_out, archives)


def keep(stream: IO[bytes], path: Path, most: int, too_large: str) -> int:
    """Copy at most `most` bytes into a new file; returns how many there were.

    Raises UsageError with the words `too_large` where there are more.
    """
    size = 0
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as file:
        while chunk := stream.read(MEGABYTE):
            size += len(chunk)
            if size > most:
                raise UsageError(too_large)
            file.write(chunk)
    return size


def too_large(name: str, most: int = PER_FILE) -> str:
    """What is said of a file with more than `most` bytes."""
    what = "pack fewer scores" if name.lower().endswith(_ARCHIVE) else "choose a smaller file"
    return f"{_shown(name)}: larger than {most // MEGABYTE} MB; {what}"


def clean(name: str) -> str:
    """A name for one file or folder that leads nowhere else.

    >>> clean("..\\\\CON.mid"), clean("Ada's <b>Waltz</b>.musicxml")
    ('CON_.mid', "Ada's -b-Waltz--b-.musicxml")
    """
    text = unicodedata.normalize("NFC", name)
    text = re.sub(r"[^\w .,'()&+-]", "-", text).strip(" .-")
    path = Path(text)
    ending = path.suffix if path.suffix.lower() in FORMATS else ""
    stem = text.removesuffix(ending)[:_LONGEST]
    stem = stem.encode()[:_MOST_BYTES].decode(errors="ignore").strip(" .") or "score"
    return f"{stem}_{ending}" if _DEVICES.match(f"{stem}.") else f"{stem}{ending}"


def score_name(name: str) -> str:
    """A name for one score that is given alone. Raises UsageError where it is none."""
    if not _is_score(name):
        known = " ".join(sorted(FORMATS))
        raise UsageError(f"{_shown(name)}: not a score; give one file that ends in {known}")
    return clean(re.split(r"[/\\]", name)[-1])


def _is_score(name: str) -> bool:
    last = re.split(r"[/\\]", name)[-1]
    # macOS puts files of its own beside the real ones.
    return not last.startswith(".") and Path(last).suffix.lower() in FORMATS


def _place(stage: Path, name: str) -> str:
    """Where a file goes, relative to `stage`, unlike any file or folder that is there."""
    *folders, last = [part for part in re.split(r"[/\\]", name) if part.strip(" .")]
    parents = "/".join(_clean_folder(part) for part in folders[: _DEEPEST + 1])
    wanted = f"{parents}/{clean(last)}" if parents else clean(last)
    path, number = Path(wanted), 2
    while (stage / path).exists():
        path = Path(wanted).with_stem(f"{Path(wanted).stem} ({number})")
        number += 1
    return path.as_posix()


def _clean_folder(name: str) -> str:
    """A name for a folder, which no score has: 'Suite.mid' becomes 'Suite-mid'."""
    path = Path(clean(name))
    known = path.suffix.lower() in FORMATS
    return f"{path.stem}-{path.suffix[1:]}" if known else path.name


def _bounded(files: int, size: int) -> None:
    if files > FILES:
        raise UsageError(f"more than {FILES} scores at once; give a smaller folder")
    if size > TOTAL:
        raise UsageError(_TOO_MUCH)


def _unpacked(name: str, packed: _Packed) -> tuple[list[str], list[str], int]:
    try:
        found: tuple[list[str], list[str], int] = call(_unpack, packed, _UNPACKING)
    except StoppedError as error:
        raise UsageError(
            f"{_shown(name)}: cannot be unpacked ({error}); unpack it and give the folder"
        ) from error
    except UsageError as error:
        raise UsageError(f"{_shown(name)}: {error}") from error
    return found


def _unpack(packed: _Packed) -> tuple[list[str], list[str], int]:
    """Scores kept, other files, and bytes. What an archive says of sizes is not believed."""
    kept: list[str] = []
    left_out: list[str] = []
    size = 0
    try:
        with zipfile.ZipFile(packed.path) as archive:
            for entry in archive.infolist():
                if entry.is_dir():
                    continue
                if "__MACOSX/" in entry.filename or not _is_score(entry.filename):
                    left_out.append(_shown(entry.filename))
                    continue
                if len(kept) == packed.files:
                    raise UsageError(f"more than {FILES} scores at once; give fewer")
                kept.append(_place(packed.to, entry.filename))
                with archive.open(entry) as stream:
                    left = packed.size - size
                    words = too_large(entry.filename) if left > PER_FILE else _TOO_MUCH
                    size += keep(stream, packed.to / kept[-1], min(PER_FILE, left), words)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, OSError) as error:
        raise UsageError("the archive is damaged; pack it again") from error
    except RuntimeError as error:  # what zipfile raises for a password
        raise UsageError("the archive has a password; pack it without one") from error
    return kept, left_out, size


def _settled(
    folder: Path, stage: Path, kept: list[str], left_out: list[str], archives: list[str]
) -> Taken:
    """The scores in a folder that is called like the class."""
    tops = {file.partition("/")[0] for file in kept}
    if len(tops) == 1 and all("/" in file for file in kept):
        name = tops.pop()
        (stage / name).replace(folder / name)
        shutil.rmtree(stage)
        files = [file.partition("/")[2] for file in kept]
    else:
        name = clean(re.split(r"[/\\]", archives[0])[-1][:-4]) if archives else _FOLDER
        stage.replace(folder / name)
        files = kept
    return Taken(name, tuple(sorted(files, key=str.casefold)), tuple(left_out))


def _nothing(left_out: list[str]) -> str:
    known = " ".join(sorted(FORMATS))
    if not left_out:
        return "no file was given; choose a score, a folder, or a zip of scores"
    first = f"{left_out[0]}: not a score" if len(left_out) == 1 else "no scores among these"
    return f"{first}; give files that end in {known}, or a zip of them"


def _shown(name: str) -> str:
    """A name as it may be shown: short, on one line."""
    last = re.split(r"[/\\]", name)[-1]
    text = "".join(sign for sign in last if sign.isprintable())
    return f"{text[:_LONGEST]}…" if len(text) > _LONGEST else text
