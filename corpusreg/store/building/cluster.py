"""Files measured by the workers of a Dask cluster, each in a bounded child of its worker.

A task is a chunk of files. The worker that gets it hands the files to a child process
of its own (`isolate.Pool`), so that a file that crashes or balloons costs itself and not
the worker; the child is a plain subprocess, which a worker under a nanny may start. When
a worker dies, the scheduler gives its chunks to others. Rows come back to the caller,
the one writer.

The files must lie under the same path on every machine, and every machine must have
this version of corpusreg.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from corpusreg.corpus.files import SourceFile
from corpusreg.store.building.batch import Measuring
from corpusreg.system.errors import UsageError
from corpusreg.system.isolate import Answer, Limits, Pool, StoppedError

if TYPE_CHECKING:
    from distributed import Client

__all__ = ["cluster"]

CHUNK = 32  # files: some seconds of work
CONNECT_SECONDS = 10
_own = threading.local()


@contextmanager
def cluster(address: str, versions: dict[str, str]) -> Iterator[Measuring]:
    """A way to measure files on the cluster whose scheduler is at `address`.

    versions: what every worker must have, by name. The way takes a function, files and
    limits, and yields an answer for each file in the order in which they are done.

    Raises UsageError where the extra is missing, no scheduler answers, no worker has
    joined it, or a worker has another version.
    """
    try:
        from distributed import Client
    except ImportError:
        raise UsageError(
            "a cluster needs Dask; install it with \"pip install 'corpusreg[cluster]'\""
        ) from None
    try:
        client = Client(address, timeout=CONNECT_SECONDS)
    except (OSError, ValueError) as error:
        reason = " ".join(str(error).split())[:120]
        raise UsageError(
            f"no Dask scheduler answers at {address} ({reason}); run 'dask scheduler'"
        ) from None
    with client:
        _agree(client, address, versions)
        yield lambda call, files, limits: _answers(client, call, files, limits)


def _agree(client: Client, address: str, versions: dict[str, str]) -> None:
    found = client.run(_versions, tuple(versions), on_error="return")
    if not found:
        raise UsageError(f"no worker has joined {address}; start some with 'dask worker'")
    for worker, theirs in found.items():
        if theirs != versions:
            told = "no corpusreg" if isinstance(theirs, Exception) else f"{theirs}"
            raise UsageError(
                f"the worker at {worker} has {told} instead of {versions}; install the same "
                "version of corpusreg there"
            )


def _versions(names: Sequence[str]) -> dict[str, str]:
    """Versions of this machine's corpusreg; runs on a worker."""
    from corpusreg.measures.definitions import VERSION
    from corpusreg.store.building.extract import EXTRACTION_VERSION

    known = {"definitions": VERSION, "extraction": EXTRACTION_VERSION}
    return {name: known[name] for name in names}


def _answers(
    client: Client,
    call: Callable[[SourceFile], Any],
    files: Sequence[SourceFile],
    limits: Limits,
) -> Iterator[Answer]:
    from distributed import as_completed

    chunks = {
        client.submit(_measured, call, chunk, limits, pure=False): chunk
        for chunk in _chunks(files)
    }
    for future in as_completed(list(chunks)):
        chunk = chunks.pop(future)
        error = future.exception()
        if error is None:
            yield from future.result()
        else:
            # The scheduler gave up: the chunk was there when several workers died.
            lost = StoppedError("killed", "the cluster's workers died with it")
            yield from (Answer(file, error=lost) for file in chunk)
        future.release()


def _chunks(files: Sequence[SourceFile]) -> list[list[SourceFile]]:
    """Files dealt out so that every chunk has large and small ones."""
    count = -(-len(files) // CHUNK)
    return [list(files[start::count]) for start in range(count)]


def _measured(
    call: Callable[[SourceFile], Any], files: Sequence[SourceFile], limits: Limits
) -> list[Answer]:
    """Answers for a chunk; runs on a worker, whose thread keeps its child between chunks."""
    known = getattr(_own, "pool", None)
    if known is None or known[0] != (call, limits):
        if known is not None:
            known[1].close()
        known = _own.pool = ((call, limits), Pool(call, 1, limits))
    return known[1].each(files)
