"""A class as one file: findings and settings; scores only where they are asked for.

The file is JSON. What is opened is checked against the types of `SavedClass` before any of
it is used, and it is bounded in size; it can hold nothing that runs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import msgspec

from corpusreg.comparison.class_piece import ASKED, Assignment, ClassPiece, Correction
from corpusreg.comparison.classroom import MEASURES, Unread
from corpusreg.measures.definitions import BY_NAME, VERSION
from corpusreg.system.errors import DataError
from corpusreg.system.writing import replacing_named

__all__ = [
    "ENDING", "LARGEST", "SavedClass", "Settings", "decoded", "encoded", "opened", "saved",
]  # fmt: skip

ENDING = ".class.json"
LARGEST = 200_000_000  # bytes of a file that is opened
_FORMAT = 2
_ROUNDED = 1e-6  # a sum of weights may pass 100 by so much


@dataclass(frozen=True)
class Settings:
    """What a teacher has chosen. measures: of the lines. cohorts: works to compare with, by
    file, where they were chosen. corrections: of events. asked: of everybody, or None."""

    measures: tuple[str, ...] = MEASURES
    cohorts: Mapping[str, str] = field(default_factory=dict)
    corrections: tuple[Correction, ...] = ()
    asked: Assignment | None = None


@dataclass(frozen=True)
class SavedClass:
    """A class between terms. pieces: as they were found, before corrections. called: by file,
    what it is called and its writer's name or code. scores: by file, where they were asked
    for."""

    name: str
    pieces: tuple[ClassPiece, ...]
    unread: tuple[Unread, ...]
    called: Mapping[str, tuple[str, str]]
    settings: Settings
    reference_id: str
    definitions: str = VERSION
    scores: Mapping[str, bytes] = field(default_factory=dict)
    format: int = _FORMAT


def encoded(saved: SavedClass) -> bytes:
    """The class as the bytes of its file."""
    return msgspec.json.format(msgspec.json.encode(saved), indent=1)


def decoded(data: bytes, name: str) -> SavedClass:
    """A class from the bytes of its file. name: of the file, for messages.

    Raises DataError where they are none, or of a later version.
    """
    if len(data) > LARGEST:
        raise DataError(f"{name}: larger than {LARGEST // 10**6} MB; it is not a saved class")
    try:
        found = msgspec.json.decode(data, type=SavedClass)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        why = str(error).partition("\n")[0]
        raise DataError(f"{name}: not a saved class ({why}); choose another file") from error
    if found.format != _FORMAT:
        raise DataError(f"{name}: saved by another version of corpusreg; save the class again")
    settings = found.settings
    unknown = [each for each in settings.measures if each not in BY_NAME]
    if settings.asked and settings.asked.device not in ASKED:
        unknown.append(settings.asked.device)
    if not found.pieces:
        unknown.append("no piece")
    unknown += [
        f"an odd piece, {each.title}" for each in found.pieces if not _whole(each, found)
    ]
    if unknown:
        raise DataError(f"{name}: not a saved class (it has {unknown[0]}); choose another file")
    return found


def _whole(piece: ClassPiece, saved: SavedClass) -> bool:
    """Whether what is said of a piece belongs together."""
    ranks = [place.percentile for place in piece.places.values()]
    return (
        piece.file in saved.called
        and len(piece.labels) == len(piece.starts)
        and set(saved.settings.measures) <= set(piece.places)
        and all(rank is None or -_ROUNDED <= rank <= 100 + _ROUNDED for rank in ranks)
    )


def opened(path: Path) -> SavedClass:
    """The class in a file. Raises DataError as `decoded`, and where it cannot be read."""
    try:
        data = path.read_bytes() if path.stat().st_size <= LARGEST else bytes(LARGEST + 1)
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise DataError(f"{path}: cannot be read ({why}); check the name") from error
    return decoded(data, path.name)


def saved(saved: SavedClass, path: Path) -> None:
    """Write the file as a whole. Raises CorpusregError where it cannot be written."""
    with replacing_named(path) as aside:
        aside.write_bytes(encoded(saved))
