"""Files that are written all or not at all."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Mapping
from pathlib import Path

from corpusreg.errors import CorpusregError

__all__ = ["write_bytes"]


def write_bytes(contents: Mapping[Path, bytes]) -> None:
    """Write files: each beside its place first, then all put there.

    Raises CorpusregError, with nothing half-written, where one cannot be written.
    """
    parts = {path: path.with_name(f".{path.name}.{os.getpid()}.part") for path in contents}
    path = next(iter(contents))
    try:
        for path, content in contents.items():
            parts[path].write_bytes(content)
        for path, part in parts.items():
            part.replace(path)
    except OSError as error:
        why = (error.strerror or str(error)).lower()
        raise CorpusregError(
            f"{path}: cannot be written ({why}); choose another place"
        ) from error
    finally:
        for part in parts.values():
            with contextlib.suppress(OSError):  # it may never have come to be
                part.unlink()
