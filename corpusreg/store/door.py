"""Connections to DuckDB, and its errors in plain words. Nothing else imports DuckDB."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corpusreg.system import settings
from corpusreg.system.errors import StoreError, UsageError

if TYPE_CHECKING:
    import duckdb

__all__ = ["REBUILD", "packed", "reading", "storing", "translated", "working"]

REBUILD = "run 'corpusreg extract' to make it again"
# The one configuration of all reads: DuckDB refuses to open a file twice in
# one process with different ones, and queries of users need the strict one.
_READ_CONFIG: Mapping[str, str] = {
    "enable_external_access": "false",
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "memory_limit": settings.QUERY_MEMORY,
    "temp_directory": "",
    "lock_configuration": "true",
}
_FROM_THE_START = (
    "autoinstall_known_extensions",
    "autoload_known_extensions",
    "memory_limit",
    "temp_directory",
)
_HOLDER = re.compile(r"\(PID (\d+)\)")


def working(
    spill: Path | None = None, *, threads: int | None = None
) -> duckdb.DuckDBPyConnection:
    """An empty in-memory database for writing files; spills into folder `spill`.

    threads: by default one for each processor.
    """
    import duckdb

    config: dict[str, Any] = {
        "memory_limit": settings.BUILD_MEMORY,
        "temp_directory": str(spill or ""),
    }
    if threads is not None:
        config["threads"] = threads
    return duckdb.connect(":memory:", config=config)


def reading(path: Path) -> duckdb.DuckDBPyConnection:
    """A read-only connection that cannot write, read other files or load extensions.

    Raises StoreError when the file is missing, held for writing, open in this process
    with other settings, or damaged.
    """
    import duckdb

    if not path.is_file():
        raise StoreError(f"{path} is missing; {REBUILD}")
    try:
        return duckdb.connect(str(path), read_only=True, config=dict(_READ_CONFIG))
    except duckdb.IOException as error:
        if "lock" in str(error).lower():
            holder = _HOLDER.search(str(error))
            who = f"process {holder.group(1)}" if holder else "another program"
            raise StoreError(
                f"{path} is held for writing by {who}; close that, then try again"
            ) from error
        raise StoreError(f"{path} cannot be opened ({first_line(error)}); {REBUILD}") from error
    except duckdb.ConnectionException as error:
        # Somebody's own connection to the same file, as in a notebook.
        raise StoreError(
            f"{path} is open in this Python process already, by another connection; close "
            "that first, or ask corpusreg.open_reference() instead"
        ) from error
    except duckdb.Error as error:
        raise StoreError(f"{path} is damaged ({first_line(error)}); {REBUILD}") from error


def packed(statements: Iterable[str], folder: Path) -> duckdb.DuckDBPyConnection:
    """A connection in memory after some statements that show what lies in a folder.

    It can read nothing outside that folder, and no other statement can change that. Raises
    StoreError when the folder is damaged.
    """
    import duckdb

    with storing(f"{folder}", damaged=True):
        config: dict[str, Any] = {name: _READ_CONFIG[name] for name in _FROM_THE_START}
        connection = duckdb.connect(":memory:", config=config)
        for statement in statements:
            connection.execute(statement)
        inside = str(folder).replace("'", "''")
        connection.execute(f"SET allowed_directories = ['{inside}/']")
        connection.execute("SET enable_external_access = false")
        connection.execute("SET lock_configuration = true")
    return connection


@contextmanager
def storing(what: str, *, damaged: bool = False) -> Iterator[None]:
    """Turn errors of DuckDB and of the file system into a StoreError about `what`.

    damaged: `what` is a reference being read, so that an error means damage. A keyboard
    interrupt that DuckDB has heard in a statement is one again.
    """
    import duckdb

    try:
        yield
    except RuntimeError as error:
        if str(error) == "Query interrupted":
            raise KeyboardInterrupt from error
        raise
    except (OSError, duckdb.Error) as error:
        reason = error.strerror if isinstance(error, OSError) else None
        reason = reason or first_line(error)
        if damaged:
            raise StoreError(f"{what} is damaged ({reason}); {REBUILD}") from error
        raise StoreError(
            f"{what} could not be written ({reason}); the reference in force is untouched; "
            "see that there is room and permission, then run it again"
        ) from error


@contextmanager
def translated() -> Iterator[None]:
    """Turn errors of a user's statement into a UsageError in one line.

    A damaged file is a StoreError.
    """
    import duckdb

    try:
        yield
    except duckdb.PermissionException as error:
        raise UsageError(f"query: not allowed in a query ({first_line(error)})") from error
    except duckdb.OutOfMemoryException as error:
        raise UsageError(
            f"query: needs more than {settings.QUERY_MEMORY} of memory; "
            "take fewer rows or columns"
        ) from error
    except (duckdb.IOException, duckdb.FatalException, duckdb.SerializationException) as error:
        raise StoreError(
            f"the reference is damaged ({first_line(error)}); {REBUILD}"
        ) from error
    except duckdb.Error as error:
        raise UsageError(f"query: {_explained(str(error))}") from error


def first_line(error: BaseException) -> str:
    """First line of an error of the database, without the kind in front."""
    line = str(error).strip().splitlines()[0]
    return re.sub(r"^(\w+ )+Error: ", "", line)


def _explained(message: str) -> str:
    """DuckDB's message in one line, with the names it proposes."""
    lines = [line.strip() for line in message.splitlines() if line.strip()]
    text = re.sub(r"^(\w+ )+Error: ", "", lines[0]).rstrip("!.")
    for line in lines[1:]:
        # A table of the database itself is not what was meant.
        if line.startswith("Did you mean") and '"pg_' not in line:
            text += f"; did you mean {line.removeprefix('Did you mean').strip()}"
        elif line.startswith("Candidate"):
            text += f"; there are {line.partition(':')[2].strip()}"
    return text
