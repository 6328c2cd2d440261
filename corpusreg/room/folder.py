"""The folder of a run: private, dated, locked while the run lasts, removed at its end.

Some ends cannot be caught: the power goes, the process is killed. What such a run left
behind is known by its lock, which the system lets go with the process; the next run
removes it.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from datetime import date
from pathlib import Path

from corpusreg.system.errors import CorpusregError
from corpusreg.system.lock import taken

__all__ = ["run_folder", "sweep"]

_NAME = "corpusreg-room-"
_LOCK = "lock"
_YOUNG = 600.0  # seconds in which a folder without a lock may be one that is just made
_PATIENCE = 2.0  # seconds in which what is still being written there comes to its end


@contextlib.contextmanager
def run_folder() -> Iterator[Path]:
    """A new folder that only this user can read; it goes at the end, with all that is in it.

    Its name has the date. Raises CorpusregError where it cannot be removed, naming it.
    """
    folder = Path(tempfile.mkdtemp(prefix=f"{_NAME}{date.today():%Y-%m-%d}-"))
    handle = os.open(folder / _LOCK, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        taken(handle)
        yield folder
    finally:
        os.close(handle)
        _remove(folder)


def sweep() -> None:
    """Remove the folders of this user's runs that have ended without doing so."""
    for folder in Path(tempfile.gettempdir()).glob(f"{_NAME}*"):
        # Where it cannot be looked at or removed, it stays for a run that can.
        with contextlib.suppress(OSError):
            if _is_ours(folder) and _is_left(folder):
                shutil.rmtree(folder, ignore_errors=True)


def _is_ours(folder: Path) -> bool:
    """Whether it is a folder of this user's own: nothing in others' is opened."""
    found = folder.lstat()
    mine = not hasattr(os, "getuid") or found.st_uid == os.getuid()
    return mine and folder.is_dir() and not folder.is_symlink()


def _is_left(folder: Path) -> bool:
    """Whether no run holds its lock."""
    try:
        handle = os.open(folder / _LOCK, os.O_RDWR)
    except FileNotFoundError:
        return time.time() - folder.stat().st_mtime > _YOUNG
    try:
        return taken(handle)
    finally:
        os.close(handle)


def _remove(folder: Path) -> None:
    """Remove it, again for a while: a child that is ending may still write or read there."""
    end = time.monotonic() + _PATIENCE
    while True:
        try:
            shutil.rmtree(folder)
            return
        except FileNotFoundError:  # something went by itself meanwhile
            if not folder.exists():
                return
        except OSError as error:
            if time.monotonic() > end:
                why = error.strerror or error
                raise CorpusregError(
                    f"{folder}: cannot be removed ({why}); remove it yourself"
                ) from error
        time.sleep(0.05)
