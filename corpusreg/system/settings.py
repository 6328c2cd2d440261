"""Where data lives, versions of what is written there, and limits.

Everything lies in one folder, the home: `CORPUSREG_HOME` where it is set, else
the platform's user data folder. Inside it:

reference/       reference-<id>.duckdb files, and `current` naming the one in force
shards/          rows of finished files, from which a reference is built
build.lock       held by the build that is running
lilypond-cache/  what LilyPond made of sources, so that each is run once
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from corpusreg.system.errors import StoreError

__all__ = [
    "BUILD_MEMORY", "FILE_CPU_SECONDS", "FILE_MEMORY", "FILE_WALL_SECONDS", "LILYPOND_CACHE",
    "QUERY_MEMORY", "SCHEMA_VERSION", "STORAGE_VERSION", "corpora_folder", "home", "home_at",
    "lilypond_cache", "lock_file", "packed_folder", "reference_folder", "shards_folder",
    "trust", "trusted",
]  # fmt: skip

# Version of the tables in queries/store/schema.sql; raised when they change.
SCHEMA_VERSION = "8"
# An older file format, so that clients of 2024 and later open a reference.
STORAGE_VERSION = "v1.2.0"

# Memory of the database while a reference is built and while one is read;
# building spills to disk beyond it, reading does not.
BUILD_MEMORY = "512MB"
QUERY_MEMORY = "512MB"

# What one file may use in a worker. The largest open scores seen take under
# 10 s and 300 MB; the limits are generous so that only runaways meet them.
FILE_CPU_SECONDS = 120.0
FILE_WALL_SECONDS = 600.0
FILE_MEMORY = 1_500_000_000  # bytes, resident

# Raised when what was kept before must not be used any more.
_LILYPOND_FORM = "2"

# Environment variables, since worker processes must know them too. The first names another
# folder for what LilyPond made of sources, where nothing of them may outlast a run.
LILYPOND_CACHE = "CORPUSREG_LILYPOND_CACHE"
_TRUST = "CORPUSREG_TRUST"


def home() -> Path:
    """The folder that holds all data; it need not exist yet.

    Raises StoreError where CORPUSREG_HOME names a file, or a place inside a file.
    """
    chosen = os.environ.get("CORPUSREG_HOME")
    if chosen:
        path = Path(chosen).expanduser()
        for each in (path, *path.parents):
            if each.is_file():
                raise StoreError(f"CORPUSREG_HOME: {each} is a file; set it to a folder")
        return path
    import platformdirs

    return Path(platformdirs.user_data_dir("corpusreg", appauthor=False))


@contextmanager
def home_at(folder: Path) -> Iterator[None]:
    """Another home for the length of a with block, here and in worker processes."""
    before = os.environ.get("CORPUSREG_HOME")
    os.environ["CORPUSREG_HOME"] = str(folder)
    try:
        yield
    finally:
        if before is None:
            del os.environ["CORPUSREG_HOME"]
        else:
            os.environ["CORPUSREG_HOME"] = before


def reference_folder() -> Path:
    """Folder of the published references and of the pointer to the present one."""
    return home() / "reference"


def packed_folder() -> Path:
    """Folder of the reference that ships with the package; it need not be there.

    The variable CORPUSREG_SHIPPED names another one, or none where no such folder is.
    """
    named = os.environ.get("CORPUSREG_SHIPPED")
    return Path(named) if named else Path(__file__).resolve().parents[1] / "data" / "reference"


def corpora_folder() -> Path:
    """Folder of fetched corpora, and of the list of those that were added."""
    return home() / "corpora"


def shards_folder() -> Path:
    """Folder of the rows of finished files."""
    return home() / "shards"


def lock_file() -> Path:
    """File locked by the build that is running."""
    return home() / "build.lock"


def lilypond_cache() -> Path:
    """Folder of what LilyPond made of sources, in the present form.

    What lies beside it in its parent is of an older form, and may be removed.
    """
    folder = os.environ.get(LILYPOND_CACHE) or home() / "lilypond-cache"
    return Path(folder) / _LILYPOND_FORM


def trust() -> None:
    """Let scores that are programs run without a sandbox, here and in worker processes."""
    os.environ[_TRUST] = "1"


def trusted() -> bool:
    """Whether the user lets scores that are programs run without a sandbox."""
    return os.environ.get(_TRUST) == "1"
