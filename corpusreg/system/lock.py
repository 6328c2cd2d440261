"""The advisory lock of builds and fetches: one at a time, released when its process dies.

The lock is one byte of a file, held through the operating system: flock where
there is fcntl, msvcrt.locking on Windows. Both end with the process however it
ends, so that no stale lock is ever left. The holder's process id stands at the
beginning of the file for messages; the locked byte lies far behind it, because
on Windows a locked byte cannot be read.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from corpusreg.system.errors import StoreError

__all__ = ["build_lock", "taken"]

_LOCKED_BYTE = 1 << 20


@contextmanager
def build_lock(path: Path, busy: str = "another build is running") -> Iterator[None]:
    """Hold the lock on `path` for the length of a with block.

    busy: what the holder is doing, for the message.

    Raises StoreError when another process holds it, naming its process id, and
    when the folder cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    except OSError as error:
        raise StoreError(
            f"{path.parent} cannot be written ({error.strerror}); "
            "set CORPUSREG_HOME to a folder that can"
        ) from error
    try:
        if not taken(handle):
            raise StoreError(f"{busy} ({_holder(handle)}); wait for it, then try again")
        os.ftruncate(handle, 0)
        os.write(handle, f"{os.getpid()}\n".encode())
        yield
    finally:
        os.close(handle)


def taken(handle: int) -> bool:
    """Whether the lock on an open file can be had; it is held until the file is closed."""
    if sys.platform == "win32":
        import msvcrt

        os.lseek(handle, _LOCKED_BYTE, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        os.lseek(handle, 0, os.SEEK_SET)
        return True
    import fcntl

    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _holder(handle: int) -> str:
    os.lseek(handle, 0, os.SEEK_SET)
    text = os.read(handle, 32).decode("ascii", "replace").strip()
    return f"process {text}" if text.isdigit() else "process unknown"
