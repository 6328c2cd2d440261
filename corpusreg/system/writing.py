"""Files that are whole or not there: written aside, flushed to the disk, renamed.

What is written aside is hidden and ends in '.new', so that no search for files of a format
finds it; what a crash leaves of it may be removed.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

from corpusreg.system.errors import CorpusregError

__all__ = [
    "flush", "flush_folder", "replace_text", "replacing", "replacing_named", "unwritable",
    "write_files",
]  # fmt: skip

_PATIENCE = 2.0  # seconds in which a file that is being read is let go


@contextlib.contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """A new file beside `path` to write to; at the end it takes the place of `path`.

    A reader of `path` sees the old file or the new, never part. Where the block raises, or
    the file cannot be put there (OSError), the new file goes and `path` is as it was.
    """
    aside = path.with_name(f".{path.name}.{secrets.token_hex(4)}.new")
    try:
        yield aside
        flush(aside)
        _put(aside, path)
    finally:
        with contextlib.suppress(OSError):  # it may never have come to be
            aside.unlink()
    flush_folder(path.parent)


def replace_text(path: Path, text: str) -> None:
    """Write a text file in UTF-8 by `replacing`. Raises OSError."""
    with replacing(path) as aside:
        aside.write_text(text, encoding="utf-8", newline="\n")


@contextlib.contextmanager
def replacing_named(path: Path) -> Iterator[Path]:
    """`replacing` for a file that people named: what goes wrong is a CorpusregError."""
    try:
        with replacing(path) as aside:
            yield aside
    except OSError as error:
        raise CorpusregError(unwritable(path, error.strerror or str(error))) from error


def unwritable(path: Path, reason: str) -> str:
    """That a file which people named cannot be written, and what to do."""
    return (
        f"{path}: cannot be written ({reason}); "
        "name a file in a folder that exists and can be written"
    )


def write_files(contents: Mapping[Path, bytes]) -> None:
    """Write files by `replacing`, and put none in its place before all are written.

    Raises CorpusregError, with nothing half-written, where one cannot be written.
    """
    with contextlib.ExitStack() as stack:
        for path, content in contents.items():
            stack.enter_context(replacing_named(path)).write_bytes(content)


def flush(path: Path) -> None:
    """Wait until a file's bytes are on the disk."""
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def flush_folder(folder: Path) -> None:
    """Wait until a folder's names are on the disk, where the platform can."""
    # Windows has no such call; there a rename is written through by itself.
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _put(aside: Path, path: Path) -> None:
    """Rename, again for a while: Windows refuses while another program reads the file."""
    end = time.monotonic() + _PATIENCE
    while True:
        try:
            aside.replace(path)
            return
        except PermissionError:
            if time.monotonic() > end:
                raise
            time.sleep(0.02)
