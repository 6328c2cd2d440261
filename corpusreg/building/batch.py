"""Many files measured in worker processes, which write the rows themselves as shards.

`run` measures what the shards do not hold yet. Each worker is a long-lived child
(`isolate.Child`) with a few files in its queue. It puts rows into shards of its own; what
comes back to the parent is how many works a file had, and from time to time the name of a
shard, which the parent labels. A file in which a worker
crashes, hangs or balloons costs that worker, which is replaced, and the rows that it had
not written, which are measured again; the file is tried
once more at the end, alone, in a fresh process; when it fails again it becomes
a row in failures. A verdict that depends on the moment (time, memory, a process
killed from outside, an unexpected error) is not kept as final: the next run
tries that file again.

The order in which files finish differs from run to run; the rows of a reference
do not, because they are sorted when it is published.
"""

from __future__ import annotations

import contextlib
import hashlib
import queue
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from corpusreg.corpus.files import SourceFile, content_hash
from corpusreg.store import Batch, BatchLimits, Rows, Shards, UnlabelledShard
from corpusreg.system import isolate
from corpusreg.system.errors import CorpusregError, DataError, StoreError
from corpusreg.system.isolate import Child, Limits, Outcome, StoppedError

__all__ = ["Measuring", "Progress", "Tally", "run", "state_of"]

Measuring = Callable[
    [Callable[[SourceFile], Any], Sequence[SourceFile], Limits], Iterator[Outcome]
]

# Files in a worker's queue: enough that it never waits, few to send again.
_QUEUED = 4
_WAIT_SECONDS = 0.05
_WATCH_SECONDS = 0.25  # between looks at what every worker uses, which cost time themselves
_LAST_SECONDS = 10.0  # in which workers may write what they have when a run is broken off
_TRY_AGAIN = ("time", "memory", "crash", "killed")


@dataclass(frozen=True)
class Progress:
    """How far a run is: files done of all, works found, files failed, bytes, seconds.

    kept: files among those done whose rows were there already.
    """

    done: int
    total: int
    kept: int
    works: int
    failed: int
    bytes_done: int
    bytes_total: int
    seconds: float


@dataclass
class Tally:
    """What a run did. files: (corpus, path, content hash) of every file, for `publish`."""

    kept: int = 0
    measured: int = 0
    failed: int = 0  # files measured in this run that have a row in failures
    works: int = 0  # works found in this run
    files: list[tuple[str, str, str]] = field(default_factory=list)


@dataclass(frozen=True)
class _Measure:
    """The call whose rows come back: the hash of what was read, and its rows."""

    work: Callable[[SourceFile], Rows]

    def __call__(self, file: SourceFile) -> tuple[str, Rows]:
        return state_of(file), self.work(file)


@dataclass(frozen=True)
class _Kept:
    """What a worker says of a file whose rows it keeps, and of a shard that it wrote."""

    content: str = ""
    works: int = 0
    failed: bool = False
    written: UnlabelledShard | None = None


class _Keep:
    """The call made in a worker that writes what it measures; None: write all there is."""

    def __init__(self, measure: _Measure, folder: Path, limits: BatchLimits) -> None:
        self._measure = measure
        self._batch = Batch(folder, limits)

    def __call__(self, file: SourceFile | None) -> _Kept:
        if file is None:
            return _Kept(written=self._batch.write())
        content, rows = self._measure(file)
        try:
            self._batch.add(file.corpus, file.relative, content, rows)
        except DataError as error:
            rows = _failure(file, error)
            self._batch.add(file.corpus, file.relative, content, rows, final=False)
        written = self._batch.write() if self._batch.full else None
        return _Kept(content, len(rows.get("works", ())), bool(rows.get("failures")), written)


def run(
    files: Sequence[SourceFile],
    work: Callable[[SourceFile], Rows],
    shards: Shards,
    *,
    workers: int = 1,
    limits: Limits | None = None,
    on_progress: Callable[[Progress], None] | None = None,
    measuring: Measuring | None = None,
) -> Tally:
    """Measure every file that the shards do not hold, and put the rows there.

    work: importable by its module and name; returns the rows of one file by
    table, its failures included. workers: at least 1; also a single one is a
    process of its own. on_progress: called after every file. measuring: where files are
    measured instead, as on a cluster. The caller holds the build lock.

    Raises StoreError when shards cannot be written, and StoppedError when
    workers cannot start. After these, and after a keyboard interrupt, what was
    finished is in the shards and the next run goes on from there.
    """
    state = _BatchRun(work, shards, limits or Limits(), on_progress)
    pending = state.keep(files)
    try:
        if measuring is None:
            again = state.measure(deque(pending), workers)
        else:
            again = state.sort_out(measuring(state.call, pending, state.limits), [])
        for file in again:
            state.take(_alone(state.call, file, state.limits), [])
    except StoreError:
        raise
    except BaseException:
        shards.flush()
        raise
    shards.flush()
    return state.tally


class _BatchRun:
    """The state of one run, in the parent process."""

    def __init__(
        self,
        work: Callable[[SourceFile], Rows],
        shards: Shards,
        limits: Limits,
        on_progress: Callable[[Progress], None] | None,
    ) -> None:
        self.call = _Measure(work)
        self.limits = limits
        self.tally = Tally()
        self._noted: set[tuple[str, str]] = set()
        self._shards = shards
        self._on_progress = on_progress
        self._began = time.monotonic()
        self._total = self._bytes = self._bytes_total = 0

    def keep(self, files: Sequence[SourceFile]) -> list[SourceFile]:
        """Note the files that need no measuring; returns the others, largest first."""
        self._total = len(files)
        self._bytes_total = sum(file.size for file in files)
        pending = []
        for file in files:
            entry = self._shards.known(file.corpus, file.relative)
            if entry is not None and entry.content == state_of(file):
                self.tally.kept += 1
                self._note(file, entry.content)
            else:
                pending.append(file)
        return sorted(pending, key=lambda file: -file.size)

    def measure(self, pending: deque[SourceFile], workers: int) -> list[SourceFile]:
        """Measure files in `workers` processes; returns those to try again alone."""
        again: list[SourceFile] = []
        notices: queue.SimpleQueue[Child] = queue.SimpleQueue()
        count = min(workers, len(pending))
        writers = [_Writer(self._child(notices)) for _ in range(count)]
        watched = time.monotonic()
        try:
            try:
                while pending or any(writer.busy for writer in writers):
                    _deal(pending, writers)
                    with contextlib.suppress(queue.Empty):
                        notices.get(timeout=_WAIT_SECONDS)
                    for place, writer in enumerate(writers):
                        again += self.sort_out(writer.child.collect(), writer.held)
                        if writer.child.ended:
                            # What it had not written is lost with it.
                            left = [file for file in writer.child.waiting if file is not None]
                            pending.extendleft(reversed([*writer.held, *left]))
                            writer.child.close()
                            writers[place] = _Writer(self._child(notices))
                    if time.monotonic() - watched >= _WATCH_SECONDS:
                        watched = time.monotonic()
                        for writer in writers:
                            writer.child.watch()
            except StoreError:
                raise
            except BaseException:
                self._save(writers)
                raise
        finally:
            for writer in writers:
                writer.child.close()
        return again

    def _save(self, writers: Sequence[_Writer]) -> None:
        """Let workers write what they have, for as long as an impatient user waits."""
        for writer in writers:
            writer.child.send(None)
        end = time.monotonic() + _LAST_SECONDS
        while any(writer.held for writer in writers) and time.monotonic() < end:
            for writer in writers:
                self.sort_out(writer.child.collect(), writer.held)
                if writer.child.ended:
                    writer.held.clear()
            time.sleep(_WAIT_SECONDS)

    def take(self, answer: Outcome, held: list[SourceFile]) -> None:
        """Note what became of a file, and put it into the shards where no worker has.

        held: files whose rows the worker has and has not written yet.
        """
        if answer.error is not None and (
            answer.item is None or isinstance(answer.error, StoreError)
        ):
            raise answer.error
        if not isinstance(answer.result, _Kept):
            self._put(answer)
            return
        kept, file = answer.result, answer.item
        if kept.written is not None:
            self._shards.take(kept.written)
            held.clear()
        elif file is not None:
            held.append(file)
        if file is not None:
            self._count(file, kept.content, kept.works, failed=kept.failed)

    def _put(self, answer: Outcome) -> None:
        file: SourceFile = answer.item
        final = True
        if answer.error is None:
            content, rows = answer.result
        else:
            content, rows = state_of(file), _failure(file, answer.error)
            final = isinstance(answer.error, StoppedError) and answer.error.kind == "crash"
        try:
            self._shards.add(file.corpus, file.relative, content, rows, final=final)
        except DataError as error:
            rows = _failure(file, error)
            self._shards.add(file.corpus, file.relative, content, rows, final=False)
        failed = bool(rows.get("failures"))
        self._count(file, content, len(rows.get("works", ())), failed=failed)

    def _count(self, file: SourceFile, content: str, works: int, *, failed: bool) -> None:
        """Count a measured file, once also where a worker took its rows to the grave."""
        if (file.corpus, file.relative) in self._noted:
            return
        self.tally.measured += 1
        self.tally.works += works
        self.tally.failed += failed
        self._note(file, content)

    def _child(self, notices: queue.SimpleQueue[Child]) -> Child:
        keep = _Keep(self.call, self._shards.folder, self._shards.batches)
        return Child(keep, self.limits, notices)

    def sort_out(self, answers: Iterable[Outcome], held: list[SourceFile]) -> list[SourceFile]:
        """Take answers, see `take`; returns the files to try again alone."""
        again: list[SourceFile] = []
        for answer in answers:
            if isinstance(answer.error, StoppedError) and answer.error.kind in _TRY_AGAIN:
                # Whoever dies over the writing would do so again with the same rows.
                again += held if answer.item is None else [answer.item]
                if answer.item is None:
                    held.clear()
            else:
                self.take(answer, held)
        return again

    def _note(self, file: SourceFile, content: str) -> None:
        self._noted.add((file.corpus, file.relative))
        self.tally.files.append((file.corpus, file.relative, content))
        self._bytes += file.size
        if self._on_progress is not None:
            self._on_progress(
                Progress(
                    done=len(self.tally.files),
                    total=self._total,
                    kept=self.tally.kept,
                    works=self.tally.works,
                    failed=self.tally.failed,
                    bytes_done=self._bytes,
                    bytes_total=self._bytes_total,
                    seconds=time.monotonic() - self._began,
                )
            )


@dataclass
class _Writer:
    """A worker, and the files whose rows it has and has not written yet."""

    child: Child
    held: list[SourceFile] = field(default_factory=list)

    @property
    def busy(self) -> bool:
        return bool(self.child.waiting or self.held)


def _deal(pending: deque[SourceFile], writers: Sequence[_Writer]) -> None:
    """Give every child something to do, then something to do next.

    Towards the end nothing is queued, so that no child waits while another has
    files left; a child that has nothing left to do writes what it holds.
    """
    depth = _QUEUED if len(pending) > _QUEUED * len(writers) else 1
    for level in range(1, depth + 1):
        for writer in writers:
            if pending and len(writer.child.waiting) < level:
                writer.child.send(pending.popleft())
    for writer in writers:
        if writer.held and not writer.child.waiting:
            writer.child.send(None)


def _alone(call: Callable[[Any], Any], file: SourceFile, limits: Limits) -> Outcome:
    try:
        return Outcome(file, isolate.call(call, file, limits))
    except CorpusregError as error:
        return Outcome(file, error=error)


def _failure(file: SourceFile, error: CorpusregError) -> Rows:
    """Rows of a file that gave none: one in failures."""
    kind = error.kind if isinstance(error, StoppedError) else "measure"
    stage = {"killed": "crash", "error": "measure"}.get(kind, kind)
    return {"failures": [(file.corpus, file.relative, "", state_of(file), stage, str(error))]}


def state_of(file: SourceFile) -> str:
    """Hash of a file's bytes and of what its corpus says of it; '' if it cannot be read."""
    try:
        content = content_hash(file.path)
    except (OSError, CorpusregError):
        return ""
    if not file.known:
        return content
    known = hashlib.blake2b(repr(file.known).encode(), digest_size=8).hexdigest()
    return f"{content}-{known}"
