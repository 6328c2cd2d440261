"""Files that are whole or not there: written aside, flushed to the disk, renamed."""

from __future__ import annotations

import contextlib
import hashlib
import os
import time
from pathlib import Path

__all__ = ["file_hash", "flush", "flush_folder", "replace_text"]

_PATIENCE = 2.0  # seconds in which a file that is being read is let go


def file_hash(path: Path) -> str:
    """BLAKE2b hash of a file's bytes, 32 hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, _digest).hexdigest()


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


def replace_text(path: Path, text: str) -> None:
    """Write a text file so that a reader sees the old text or the new, never part."""
    aside = path.with_name(f"{path.name}.{os.getpid()}.new")
    try:
        aside.write_text(text, encoding="utf-8", newline="\n")
        flush(aside)
        _put(aside, path)
    except OSError:
        aside.unlink(missing_ok=True)
        raise
    flush_folder(path.parent)


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


def _digest() -> hashlib.blake2b:
    return hashlib.blake2b(digest_size=16)
