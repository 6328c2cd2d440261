"""One call in a bounded child process, and the long-lived child that many calls share.

A child is a new Python process (no multiprocessing, so that it works alike on every
platform, in threads, and inside workers of a cluster). A `near` child is there at once,
which is what a command wants that reads one file: a fork where that is safe (Linux, and
this process has one thread), otherwise a process that such a child left behind before.
A child is told a function once and then items, one answer for each, as pickles over two
pipes. What the function prints goes nowhere.

A process with threads is never forked, not even where they are idle: a copy has what
belongs to them, such as an open DuckDB database, and not the threads themselves. Python's
collector of garbage then closes that database in the copy, which waits for threads that
never were, and crashes.

Limits, each for one item:

cpu_seconds    time of computing; the child's own clock is read from outside
wall_seconds   time by the clock, for what hangs without computing
memory         bytes resident, watched from outside; where the platform has
               resource limits, the child also bounds its address space and time

A child ends when its parent does, however that ends: its input closes, which a
thread of its own watches.

Memory and computing time of a child are asked of the system. Linux: files in /proc. Windows:
two calls of the system's libraries. Elsewhere (macOS and other Unix): the program ps.
"""

from __future__ import annotations

import atexit
import contextlib
import gc
import os
import pickle
import queue
import signal
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, Any, TypeVar

from corpusreg.system import settings
from corpusreg.system.errors import CorpusregError, ReadError

__all__ = [
    "Child", "Limits", "Outcome", "Pool", "StoppedError", "as_stopped", "bounded", "call",
    "let_go", "made_of", "named", "usage",
]  # fmt: skip

Result = TypeVar("Result")
_ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
_LENGTH = 8  # bytes that give the length of a message
_END = b""  # the message after the last item of a function, and the answer to it
_SMALL = 500_000_000  # bytes resident of a process that is kept
_MOST_KEPT = 2  # as many as typeset sheets at the same time
_PATIENCE = 1.0  # seconds in which it answers
_POLL_SECONDS = 0.05
_TOO_LONG = "takes more than {:g} s of computing"
# Room beyond the limit for what a process maps without using it.
_ADDRESS_SPACE = 3_000_000_000


@dataclass(frozen=True)
class Limits:
    """What one item may use: seconds of computing, seconds by the clock, bytes.

    room: bytes beyond `memory` that a process maps, where it is sure to use few of them.
    """

    cpu_seconds: float = settings.FILE_CPU_SECONDS
    wall_seconds: float = settings.FILE_WALL_SECONDS
    memory: int = settings.FILE_MEMORY
    room: int = _ADDRESS_SPACE


class StoppedError(CorpusregError):
    """The child did not give an answer.

    kind: 'time', 'memory', 'crash' (it died by itself), 'killed' (something
    outside ended it), 'error' (the function raised what is not for people), or
    'start' (the function could not be loaded: no item can be answered).
    """

    def __init__(self, kind: str, words: str) -> None:
        """`words` say what happened, in one line."""
        super().__init__(words)
        self.kind = kind

    def __reduce__(self) -> tuple[type[StoppedError], tuple[str, str]]:
        return StoppedError, (self.kind, str(self))


@dataclass(frozen=True)
class Outcome:
    """What became of one item: the function's result, or the error in its place."""

    item: Any
    result: Any = None
    error: CorpusregError | None = None


class Child:
    """A child process that applies `function` to items, several in the queue at once.

    function: importable by its module and name; takes one picklable item and
    returns a picklable result. notices: a queue on which the child puts itself
    when there is something to `collect`. environment: variables set for the child.
    near: a fork or a process kept from before, with the parent's environment.
    """

    def __init__(
        self,
        function: Callable[[Any], Any],
        limits: Limits,
        notices: queue.SimpleQueue[Child] | None = None,
        environment: Mapping[str, str] | None = None,
        *,
        near: bool = False,
    ) -> None:
        self.limits = limits
        self.waiting: deque[Any] = deque()  # items sent and not yet answered
        self.ended = False  # known to have ended, no more answers will come
        self._notices = notices
        self._messages: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._began = time.monotonic()
        self._ready = False
        self._stopped: StoppedError | None = None
        self._near = near
        self._process = _near() if near else _started(environment or {})
        # Once ready, the child tells its own: a virtual environment on Windows starts
        # Python through a small launcher, and it is Python that must be watched.
        self._pid = self._process.pid
        used = usage(self._pid)
        self._cpu = used.cpu_seconds if used else 0.0
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()
        self._send((_around() if near else None, pickle.dumps((function, limits))))

    def send(self, item: Any) -> None:
        """Queue one item."""
        if not self.waiting:
            self._began = time.monotonic()
        self.waiting.append(item)
        self._send(item)

    def collect(self) -> list[Outcome]:
        """Answers that have arrived, in the order of the items, without waiting.

        When the child has ended, the last answer is the error of the item it
        worked on; the others stay in `waiting`. Raises StoppedError of kind
        'start' when the child could not start or not load the function.
        """
        answers = []
        while not self._messages.empty():
            message = self._messages.get()
            if message is None:
                self.ended = True
                if self.waiting:
                    answers.append(Outcome(self.waiting.popleft(), error=self._ending()))
                break
            result, error, self._cpu = pickle.loads(message)
            self._began = time.monotonic()
            if self._ready:
                answers.append(Outcome(self.waiting.popleft(), result, error))
            elif error is not None:
                raise error
            else:
                self._pid = result
            self._ready = True
        return answers

    def watch(self) -> None:
        """End the child when its present item has passed a limit."""
        if not self.waiting or self._stopped is not None:
            return
        limits = self.limits
        used = usage(self._pid)
        if used is not None and used.memory > limits.memory:
            self._stop("memory", f"needs more than {limits.memory / 1e6:.0f} MB of memory")
        elif used is not None and used.cpu_seconds - self._cpu > limits.cpu_seconds:
            self._stop("time", _TOO_LONG.format(limits.cpu_seconds))
        elif time.monotonic() - self._began > limits.wall_seconds:
            self._stop("time", f"takes more than {limits.wall_seconds:g} s")

    def close(self) -> None:
        """End the child and wait until it is gone, or keep its process for the next one."""
        if self._near and self._idle():
            _keep(self._process)
        else:
            _end(self._process)

    def _idle(self) -> bool:
        """Whether it has no item, is small, and has let go of its function."""
        if self.waiting or self.ended or self._stopped or not self._ready:
            return False
        used = usage(self._pid)
        if used is None or used.memory > _SMALL:
            return False
        self._write(_END)
        self._listener.join(_PATIENCE)
        return not self._listener.is_alive() and self._process.poll() is None

    def _send(self, value: Any) -> None:
        self._write(pickle.dumps(value))

    def _write(self, message: bytes) -> None:
        assert self._process.stdin is not None
        # A child that has died is found out when it is collected.
        with contextlib.suppress(OSError):
            _write(self._process.stdin, message)

    def _listen(self) -> None:
        assert self._process.stdout is not None
        while (message := _read(self._process.stdout)) != _END:
            self._messages.put(message)
            if self._notices is not None:
                self._notices.put(self)
            if message is None:
                return

    def _stop(self, kind: str, words: str) -> None:
        self._stopped = StoppedError(kind, words)
        self._process.kill()

    def _ending(self) -> StoppedError:
        code = self._process.wait()
        if self._stopped is not None:
            return self._stopped
        name = f"exit code {code}"
        if code < 0:
            with contextlib.suppress(ValueError):
                name = signal.Signals(-code).name
        if not self._ready:
            raise StoppedError("start", f"a worker process could not start ({name})")
        if name == "SIGXCPU":
            return StoppedError("time", _TOO_LONG.format(self.limits.cpu_seconds))
        if name == "SIGKILL":
            return StoppedError("killed", "the process reading it was killed from outside")
        return StoppedError("crash", f"the process reading it crashed ({name})")


def _started(environment: Mapping[str, str]) -> subprocess.Popen[bytes]:
    """A new Python process that serves."""
    paths = [path for path in sys.path if path]
    start = "from corpusreg.system.isolate import serve; serve()"
    return subprocess.Popen(
        [sys.executable, "-c", f"import sys; sys.path[:] = {paths!r}; {start}"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=os.environ | _ONE_THREAD | dict(environment),
        # Ctrl-C is for the parent, which ends its children in its own time.
        creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
    )


def _may_fork() -> bool:
    """Whether a copy of this process can work: whether it has one thread, also of libraries,
    and none that draws with fonts whose files the copy lets go of.
    """
    if "matplotlib.mathtext" in sys.modules:
        return False
    try:
        threads = list(Path("/proc/self/task").iterdir())
    except OSError:  # no Linux
        return False
    return len(threads) == 1


# What a process works in: folder, variables, where modules are found.
_Around = tuple[str, dict[str, str], list[str]]


def _around() -> _Around:
    try:
        folder = str(Path.cwd())
    except OSError:  # it was removed
        folder = ""
    return folder, dict(os.environ), [path for path in sys.path if path]


def _settle(around: _Around) -> None:
    """Work in what the parent works in now, which may have changed since this one started."""
    folder, variables, sys.path[:] = around
    variables |= {name: os.environ[name] for name in _ONE_THREAD if name in os.environ}
    if variables != dict(os.environ):
        os.environ.clear()
        os.environ.update(variables)
    with contextlib.suppress(OSError):
        os.chdir(folder)


# The processes of the last near children, for the next ones.
_kept: list[subprocess.Popen[bytes] | _Forked] = []


def _near() -> subprocess.Popen[bytes] | _Forked:
    """A process that serves and is there at once, where that can be."""
    with contextlib.suppress(IndexError):
        while True:
            process = _kept.pop()
            if process.poll() is None:
                return process
            _end(process)
    return _Forked() if _may_fork() else _started({})


def _keep(process: subprocess.Popen[bytes] | _Forked) -> None:
    _kept.append(process)
    if len(_kept) > _MOST_KEPT:
        _end(_kept.pop(0))


@atexit.register
def let_go() -> None:
    """End the processes that are kept for the next near children."""
    with contextlib.suppress(IndexError):
        while True:
            _end(_kept.pop())


def _end(process: subprocess.Popen[bytes] | _Forked) -> None:
    process.kill()
    process.wait()
    for pipe in (process.stdin, process.stdout):
        if pipe is not None:
            with contextlib.suppress(OSError):
                pipe.close()


class _Forked:
    """A copy of this process that serves; the same attributes as a process started anew."""

    def __init__(self) -> None:
        requests, writing = os.pipe()
        reading, answers = os.pipe()
        self.returncode: int | None = None
        self.pid = os.fork()
        if self.pid == 0:
            try:
                _alone(requests, answers)
                _serve(os.fdopen(requests, "rb"), os.fdopen(answers, "wb"))
            finally:
                os._exit(1)  # nothing of the parent's may run here: no cleaning up, no buffers
        os.close(requests)
        os.close(answers)
        self.stdin: IO[bytes] | None = os.fdopen(writing, "wb")
        self.stdout: IO[bytes] | None = os.fdopen(reading, "rb")

    def kill(self) -> None:
        """End it, if it still runs."""
        if self.poll() is None:
            os.kill(self.pid, signal.SIGKILL)

    def poll(self) -> int | None:
        """The exit code, negative for the signal that ended it; None while it runs."""
        if self.returncode is None:
            ended, status = os.waitpid(self.pid, os.WNOHANG)
            if ended:
                self.returncode = os.waitstatus_to_exitcode(status)
        return self.returncode

    def wait(self) -> int:
        """`poll` once it has ended."""
        if self.returncode is None:
            self.returncode = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
        return self.returncode


def _alone(*kept: int) -> None:
    """In a copy: let go of the parent's files, signal handlers and garbage."""
    gc.freeze()  # what is collected here would be cleaned up twice
    _kept.clear()
    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)
    nowhere = os.open(os.devnull, os.O_RDWR)
    for standard in range(3):
        os.dup2(nowhere, standard)
    below = 3
    for descriptor in sorted(kept):
        os.closerange(below, descriptor)
        below = descriptor + 1
    os.closerange(below, os.sysconf("SC_OPEN_MAX"))


def call(
    function: Callable[[Any], Any],
    item: Any,
    limits: Limits | None = None,
    *,
    near: bool = False,
) -> Any:
    """`function(item)` in a child process of its own; see `Child`.

    Raises what the function raised where that is a CorpusregError, and
    StoppedError where it passed a limit, crashed, or raised something else.
    """
    notices: queue.SimpleQueue[Child] = queue.SimpleQueue()
    child = Child(function, limits or Limits(), notices, near=near)
    try:
        child.send(item)
        while not (answers := child.collect()):
            with contextlib.suppress(queue.Empty):
                notices.get(timeout=_POLL_SECONDS)
            child.watch()
    finally:
        child.close()
    if answers[0].error is not None:
        raise answers[0].error
    return answers[0].result


def bounded(function: Callable[..., Result], path: Path, *given: Any, **more: Any) -> Result:
    """`function(path, *given, **more)` in a near child, within the limits of one file.

    For what a user's file can make endless. Raises what the function raised where that is
    a CorpusregError, and StoppedError, with the file's name, otherwise.
    """
    return made_of([path], function, path, *given, **more)


def made_of(
    paths: Sequence[Path], function: Callable[..., Result], *given: Any, **more: Any
) -> Result:
    """`bounded` for what is made of several files, or of a measured one, within the limits of
    all; the first is named.
    """
    limits = Limits()
    limits = replace(
        limits,
        cpu_seconds=limits.cpu_seconds * len(paths),
        wall_seconds=limits.wall_seconds * len(paths),
    )
    try:
        result: Result = call(_applied, (function, given, more), limits, near=True)
    except (ReadError, StoppedError) as error:
        raise named(error, paths[0]) from error
    return result


def _applied(asked: tuple[Callable[..., Any], tuple[Any, ...], dict[str, Any]]) -> Any:
    function, given, more = asked
    return function(*given, **more)


def named(error: CorpusregError, path: Path) -> CorpusregError:
    """The error with the file's name, which a child that was stopped could not say, nor one
    that measures what was read.
    """
    if isinstance(error, StoppedError):
        return StoppedError(error.kind, f"{path}: {error}; leave this file out, or simplify it")
    if isinstance(error, ReadError) and path.name not in str(error):
        return ReadError(f"{path}: {error}", reason=str(error))
    return error


class Pool:
    """Long-lived children that share items; `close` it, or use it in a `with` statement."""

    def __init__(
        self,
        function: Callable[[Any], Any],
        workers: int,
        limits: Limits | None = None,
        environment: Mapping[str, str] | None = None,
        *,
        near: bool = False,
    ) -> None:
        """`workers` children that apply `function`, started when they are needed."""
        self._near = near
        self._notices: queue.SimpleQueue[Child] = queue.SimpleQueue()
        self._function, self._workers = function, workers
        self._limits, self._environment = limits or Limits(), environment
        self._children: list[Child] = []
        self._closed = False

    def __enter__(self) -> Pool:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def answers(self, items: Sequence[Any]) -> list[Outcome]:
        """Answers in the order of the items, which can be keys of a dict.

        An item that passes a limit or crashes its child has an error in its answer and
        costs the others nothing. Raises StoppedError of kind 'start' where children
        cannot start, and of kind 'killed' where another thread closes the pool.
        """
        return list(self.in_turn(items))

    def in_turn(self, items: Sequence[Any]) -> Iterator[Outcome]:
        """The answers of `each`, one by one; the children begin at once."""
        pending = deque(items)
        while len(self._children) < min(self._workers, len(pending)):
            self._children.append(self._started())
        self._deal(pending)
        return self._answers(pending, items)

    def _answers(self, pending: deque[Any], items: Sequence[Any]) -> Iterator[Outcome]:
        found: dict[Any, deque[Outcome]] = {}
        for item in items:
            while not found.get(item):
                if self._closed:
                    self.close()  # also a child that was just started
                    raise StoppedError("killed", "stopped before it was done")
                for place, child in enumerate(self._children):
                    for answer in child.collect():
                        found.setdefault(answer.item, deque()).append(answer)
                    if child.ended:
                        child.close()
                        self._children[place] = self._started()
                self._deal(pending)
                for child in self._children:
                    child.watch()
                if not found.get(item):
                    with contextlib.suppress(queue.Empty):
                        self._notices.get(timeout=_POLL_SECONDS)
            yield found[item].popleft()

    def _deal(self, pending: deque[Any]) -> None:
        for child in self._children:
            if pending and not child.waiting:
                child.send(pending.popleft())

    def close(self) -> None:
        """End the children; nothing can be asked of them any more."""
        self._closed = True
        for child in self._children:
            child.close()

    def _started(self) -> Child:
        return Child(
            self._function, self._limits, self._notices, self._environment, near=self._near
        )


def serve() -> None:
    """Run as a child: read the function and its limits, then answer items until the end."""
    answers = os.fdopen(os.dup(1), "wb")
    # Libraries that print must not write between the messages.
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    _serve(sys.stdin.buffer, answers)


def _serve(requests: IO[bytes], answers: IO[bytes]) -> None:
    with contextlib.suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    items: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    threading.Thread(target=_receive, args=(requests, items), daemon=True).start()
    while True:
        try:
            around, asked = pickle.loads(items.get())
            if around is not None:
                _settle(around)
            function, limits = pickle.loads(asked)
        except BaseException as error:  # noqa: BLE001 - told to the parent
            _write(answers, _packed((None, StoppedError("start", str(as_stopped(error))))))
            return
        _write(answers, _packed((os.getpid(), None)))
        while (item := items.get()) != _END:
            _bound(limits)
            _write(answers, _packed(_answer(function, item)))
        _write(answers, _END)


def _receive(requests: IO[bytes], items: queue.SimpleQueue[bytes]) -> None:
    """Pass messages on; the end of input means that the parent is gone."""
    while (message := _read(requests)) is not None:
        items.put(message)
    os._exit(0)


def _answer(function: Callable[[Any], Any], item: bytes) -> tuple[Any, CorpusregError | None]:
    try:
        return function(pickle.loads(item)), None
    except CorpusregError as error:
        return None, error
    except BaseException as error:  # noqa: BLE001 - nothing may end the child but a crash
        return None, as_stopped(error)


def _packed(answer: tuple[Any, CorpusregError | None]) -> bytes:
    clock = time.process_time()
    try:
        return pickle.dumps((*answer, clock))
    except Exception as error:  # noqa: BLE001 - any object may refuse
        return pickle.dumps((None, as_stopped(error), clock))


def as_stopped(error: BaseException) -> StoppedError:
    """What nobody foresaw, in one line."""
    kind = "memory" if isinstance(error, MemoryError) else "error"
    words = " ".join(str(error).split())[:300]
    return StoppedError(
        kind, f"{type(error).__name__}: {words}" if words else type(error).__name__
    )


def _bound(limits: Limits) -> None:
    """Let the system itself bound this item, where it can."""
    try:
        import resource
    except ImportError:
        return
    # Each of these may be refused, below a lower bound set from outside.
    with contextlib.suppress(ValueError, OSError):
        space = limits.memory + limits.room
        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        resource.setrlimit(resource.RLIMIT_AS, (space, hard))
    with contextlib.suppress(ValueError, OSError):
        _, hard = resource.getrlimit(resource.RLIMIT_CPU)
        soft = int(time.process_time() + limits.cpu_seconds) + 2
        resource.setrlimit(resource.RLIMIT_CPU, (soft, hard))


def _write(pipe: IO[bytes], message: bytes) -> None:
    pipe.write(len(message).to_bytes(_LENGTH, "big"))
    pipe.write(message)
    pipe.flush()


def _read(pipe: IO[bytes]) -> bytes | None:
    """The next message, or None at the end of the pipe."""
    try:
        head = pipe.read(_LENGTH)
        size = int.from_bytes(head, "big")
        message = pipe.read(size) if len(head) == _LENGTH else b""
    except (OSError, ValueError):
        return None
    return message if len(head) == _LENGTH and len(message) == size else None


_HAS_PROC = Path("/proc/self/statm").exists()


@dataclass(frozen=True)
class Usage:
    """memory: bytes resident. cpu_seconds: user and system time since the start."""

    memory: int
    cpu_seconds: float


def usage(pid: int) -> Usage | None:
    """What a process uses now, or None when it cannot be told (it has ended, say)."""
    if sys.platform == "win32":
        return _from_windows(pid)
    if _HAS_PROC:
        return _from_proc(pid)
    return from_ps(pid)


def _from_proc(pid: int) -> Usage | None:
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_bytes().split()[1])
        # The fields after the name, which may itself hold spaces and brackets.
        times = Path(f"/proc/{pid}/stat").read_bytes().rpartition(b")")[2].split()[11:13]
    except (OSError, IndexError, ValueError):
        return None
    ticks = sum(int(part) for part in times)
    return Usage(pages * os.sysconf("SC_PAGE_SIZE"), ticks / os.sysconf("SC_CLK_TCK"))


def from_ps(pid: int) -> Usage | None:
    """The same by `ps`, whose memory is in KiB and whose time is [[dd-]hh:]mm:ss[.cc]."""
    try:
        printed = subprocess.run(
            ["ps", "-o", "rss=,time=", "-p", str(pid)],
            capture_output=True,
            text=True,
            env=os.environ | {"LC_ALL": "C"},  # a comma for the point is no number
            check=False,
            timeout=10,
        ).stdout.split()
        days, _, clock = printed[1].rpartition("-")
        seconds = 0.0
        for part in clock.split(":"):
            seconds = seconds * 60 + float(part)
        return Usage(int(printed[0]) * 1024, seconds + 86_400 * int(days or 0))
    except (OSError, subprocess.SubprocessError, IndexError, ValueError):
        return None


def _from_windows(pid: int) -> Usage | None:
    """The same by GetProcessMemoryInfo and GetProcessTimes."""
    if sys.platform != "win32":
        return None
    import ctypes
    from ctypes import wintypes

    class Counters(ctypes.Structure):
        _fields_ = (
            ("size", wintypes.DWORD),
            ("page_faults", wintypes.DWORD),
            ("peak_working_set", ctypes.c_size_t),
            ("working_set", ctypes.c_size_t),
            ("rest", ctypes.c_size_t * 6),
        )

    kernel = ctypes.WinDLL("kernel32")
    kernel.OpenProcess.restype = wintypes.HANDLE
    query_limited_information = 0x1000
    handle = kernel.OpenProcess(query_limited_information, False, pid)
    if not handle:
        return None
    try:
        counters = Counters(size=ctypes.sizeof(Counters))
        times = [wintypes.FILETIME() for _ in range(4)]  # created, ended, kernel, user
        told = kernel.K32GetProcessMemoryInfo(
            wintypes.HANDLE(handle), ctypes.byref(counters), counters.size
        ) and kernel.GetProcessTimes(wintypes.HANDLE(handle), *map(ctypes.byref, times))
    finally:
        kernel.CloseHandle(wintypes.HANDLE(handle))
    if not told:
        return None
    units = sum((time.dwHighDateTime << 32) + time.dwLowDateTime for time in times[2:])
    return Usage(int(counters.working_set), units * 1e-7)
