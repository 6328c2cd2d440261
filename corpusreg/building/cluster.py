"""Files measured by the workers of a Dask cluster, each in a bounded child of its worker.

A task is a chunk of files. The worker that gets it hands the files to a child process
of its own (`isolate.Pool`), so that a file that crashes or balloons costs itself and not
the worker; the child is a plain subprocess, which a worker under a nanny may start. When
a worker dies, the scheduler gives its chunks to others. Rows come back to the caller,
the one writer.

The files must lie under the same path on every machine, and every machine must have the
same versions of Python, corpusreg and the libraries that read scores: asked before anything
is measured, and again by every worker that gets a task, so also by those that join later.

A scheduler runs whatever it is sent. Where its address does not begin with 'tls://', everyone
who can reach it can run programs on all the workers; `protected` says which it is. TLS is set
up by Dask's own configuration (`distributed.comm.tls`), see reports/guide/machines.md.
"""

from __future__ import annotations

import platform
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING, Any

from corpusreg.building.batch import Measuring
from corpusreg.building.extract import EXTRACTION_VERSION
from corpusreg.corpus.files import SourceFile
from corpusreg.measures.definitions import VERSION
from corpusreg.system.errors import CorpusregError, UsageError
from corpusreg.system.isolate import Limits, Outcome, Pool, StoppedError

if TYPE_CHECKING:
    from distributed import Client

__all__ = ["cluster", "protected", "versions"]

CHUNK = 32  # files: some seconds of work
CONNECT_SECONDS = 10
# Libraries on which depends what is read from a score.
_LIBRARIES = ("corpusreg", "lxml", "lytk", "mido", "music21", "numpy")
_own = threading.local()


class _UnlikeError(UsageError):
    """A worker has other versions than the machine that asks it."""


def versions() -> dict[str, str]:
    """Versions on this machine of all that has to be alike, by name."""
    found = {
        "Python": platform.python_version(),
        "definitions": VERSION,
        "extraction": EXTRACTION_VERSION,
    }
    for name in _LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "none"
    return found


def protected(address: str) -> bool:
    """Whether a scheduler at this address asks who is there."""
    return address.startswith("tls://")


@contextmanager
def cluster(address: str) -> Iterator[Measuring]:
    """A way to measure files on the cluster whose scheduler is at `address`.

    The way takes a function, files and limits, and yields an answer for each file in the
    order in which they are done. It raises UsageError where a worker that joined later has
    other versions than this machine.

    Raises UsageError where the extra is missing, no scheduler answers, no worker has
    joined it, or a worker has other versions.
    """
    try:
        from distributed import Client
    except ImportError:
        raise UsageError(
            "a cluster needs Dask; install it with \"pip install 'corpusreg[cluster]'\""
        ) from None
    try:
        client = Client(address, timeout=CONNECT_SECONDS)
    # TypeError, RuntimeError: TLS without certificates, and none where it is required.
    # AssertionError: Dask's own loop did not begin within its ten seconds (a busy machine).
    except (OSError, ValueError, TypeError, RuntimeError, AssertionError) as error:
        reason = " ".join(str(error).split())[:120] or "Dask did not start here"
        raise UsageError(
            f"no Dask scheduler answers at {address} ({reason}); run 'dask scheduler'"
            + (", with the same certificates on both sides" if protected(address) else "")
        ) from None
    with client:
        wanted = versions()
        _agree(client, address, wanted)
        yield lambda call, files, limits: _answers(client, _Job(call, limits, wanted), files)


def _agree(client: Client, address: str, wanted: dict[str, str]) -> None:
    found = client.run(_unlike, wanted, on_error="return")
    if not found:
        raise UsageError(f"no worker has joined {address}; start some with 'dask worker'")
    for worker, told in found.items():
        if told:
            raise _refusal(worker, told)


def _unlike(wanted: dict[str, str]) -> str:
    """What this machine has in other versions, '' for nothing; runs on a worker."""
    theirs = versions()
    return ", ".join(
        f"{name} {theirs.get(name, 'none')} instead of {version}"
        for name, version in wanted.items()
        if theirs.get(name) != version
    )


def _refusal(worker: str, told: object) -> _UnlikeError:
    """told: what is unlike, or the error where a worker does not even know the question."""
    has = f"another corpusreg or none ({told})" if isinstance(told, Exception) else f"{told}"
    return _UnlikeError(
        f"the worker at {worker} has {has}; install the same there, then run the same "
        "command: what was finished is kept"
    )


@dataclass(frozen=True)
class _Job:
    """What is done with every file, and what a worker must have for it."""

    call: Callable[[SourceFile], Any]
    limits: Limits
    versions: dict[str, str]


def _answers(client: Client, job: _Job, files: Sequence[SourceFile]) -> Iterator[Outcome]:
    from distributed import KilledWorker, as_completed

    chunks = {
        client.submit(_measured, job, chunk, pure=False): chunk for chunk in _chunks(files)
    }
    for future in as_completed(list(chunks)):
        chunk = chunks.pop(future)
        error = future.exception()
        if error is None:
            yield from future.result()
        elif not isinstance(error, KilledWorker):
            client.cancel(list(chunks))
            raise (
                error
                if isinstance(error, CorpusregError)
                else _refusal("an unknown address", error)
            )
        else:
            # The scheduler gave up: the chunk was there when several workers died.
            lost = StoppedError("killed", "the cluster's workers died with it")
            yield from (Outcome(file, error=lost) for file in chunk)
        future.release()


def _chunks(files: Sequence[SourceFile]) -> list[list[SourceFile]]:
    """Files dealt out so that every chunk has large and small ones."""
    count = -(-len(files) // CHUNK)
    return [list(files[start::count]) for start in range(count)]


def _measured(job: _Job, files: Sequence[SourceFile]) -> list[Outcome]:
    """Answers for a chunk; runs on a worker, whose thread keeps its child between chunks."""
    from distributed import get_worker

    if told := _unlike(job.versions):
        raise _refusal(get_worker().address, told)
    wanted = job.call, job.limits
    known = getattr(_own, "pool", None)
    if known is None or known[0] != wanted:
        if known is not None:
            known[1].close()
        known = _own.pool = (wanted, Pool(job.call, 1, job.limits))
    return known[1].answers(files)
