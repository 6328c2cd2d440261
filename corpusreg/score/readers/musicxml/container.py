"""The bytes of a MusicXML file, plain or inside .mxl, in bounded pieces.

Conventions: a file is told by its first bytes and not by its name. An .mxl is a
zip whose META-INF/container.xml names the score (MusicXML 4.0, W3C Community
Group 2021, "Compressed .mxl files"); without it the first score-like member is
taken. Size is checked while bytes are decompressed, so that a small file that
swells is refused before it fills memory.
"""

from __future__ import annotations

import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from lxml import etree

from corpusreg.system.errors import ReadError

__all__ = ["file_name", "score_bytes"]

MAX_BYTES = 200_000_000
_MAX_CONTAINER_BYTES = 1_000_000
_PIECE = 1 << 16
_SCORE_TYPES = ("", "application/vnd.recordare.musicxml+xml", "text/xml", "application/xml")


def file_name(path: Path) -> str:
    """The file's name on one line, for messages."""
    return " ".join(path.name.split())


def score_bytes(path: Path) -> Iterator[bytes]:
    """Pieces of the XML text, never more than MAX_BYTES in all.

    Raises ReadError when the file cannot be opened, is empty, is a damaged or
    protected archive, or is too large.
    """
    name = file_name(path)
    try:
        with path.open("rb") as file:
            start = file.read(4)
            file.seek(0)
            if not start:
                raise ReadError(f"{name}: the file is empty; export the score again")
            if start.startswith(b"PK"):
                yield from _archived(file, name)
            else:
                yield from _bounded(file, name, MAX_BYTES)
    except PermissionError:
        raise ReadError(f"{name}: no permission to read it; change its permissions") from None
    except FileNotFoundError:
        raise ReadError(f"{name}: no such file; check the path") from None
    except IsADirectoryError:
        raise ReadError(f"{name}: is a folder; name a score in it") from None
    except OSError as error:
        reason = error.strerror or "input error"
        raise ReadError(f"{name}: cannot be read ({reason}); check the file") from None


def _bounded(file: IO[bytes], name: str, limit: int) -> Iterator[bytes]:
    left = limit
    while piece := file.read(_PIECE):
        left -= len(piece)
        if left < 0:
            raise ReadError(
                f"{name}: larger than {limit // 1_000_000} MB when unpacked; split the score"
            )
        yield piece


def _archived(file: IO[bytes], name: str) -> Iterator[bytes]:
    try:
        with (
            zipfile.ZipFile(file) as archive,
            archive.open(_score_member(archive, name)) as score,
        ):
            yield from _bounded(score, name, MAX_BYTES)
    except (zipfile.BadZipFile, zlib.error, EOFError, ValueError, LookupError):
        raise ReadError(f"{name}: damaged .mxl archive; export the score again") from None
    except (NotImplementedError, RuntimeError):
        raise ReadError(
            f"{name}: the .mxl archive is protected or packed in an unknown way; "
            "export the score again"
        ) from None


def _score_member(archive: zipfile.ZipFile, name: str) -> str:
    """Name of the archive member that holds the score."""
    members = [info.filename for info in archive.infolist() if not info.is_dir()]
    named = _named_rootfile(archive, members, name)
    if named is not None:
        return named
    for suffix in (".musicxml", ".xml"):
        for member in members:
            if member.lower().endswith(suffix) and not member.upper().startswith(
                ("META-INF", "__MACOSX")
            ):
                return member
    raise ReadError(f"{name}: the archive holds no score; export it as MusicXML")


def _named_rootfile(archive: zipfile.ZipFile, members: list[str], name: str) -> str | None:
    if "META-INF/container.xml" not in members:
        return None
    with archive.open("META-INF/container.xml") as file:
        text = b"".join(_bounded(file, name, _MAX_CONTAINER_BYTES))
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    try:
        root = etree.fromstring(text, parser)
    except etree.XMLSyntaxError:
        return None
    for rootfile in root.iter("{*}rootfile"):
        member = str(rootfile.get("full-path", ""))
        if member in members and rootfile.get("media-type", "") in _SCORE_TYPES:
            return member
    return None
