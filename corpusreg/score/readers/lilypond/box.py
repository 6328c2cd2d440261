"""Runs a program that may do anything, in a box of the operating system.

A LilyPond source is a program: it can read any file and start any command. So it
runs under bubblewrap (Linux namespaces) with a filter of system calls. Inside there is
no network, no other process and nothing of the user's; the system and the copies that
were made for this one run can only be read. What may be written lies in memory and is
gone afterwards: results leave through a pipe, so no file that a score made is ever
opened outside. Time, memory, disk and output are bounded in total. Whether the box
holds is tried out first; where it does not, nothing is run unless the user trusts the
scores (`settings.trusted`).

The filter of calls is a classic BPF program, an array of instructions of eight bytes. It
refuses what would start another process, what opens a second way to memory that no limit
counts (shared segments, files in memory, message queues), and what makes namespaces, mounts or
keys or looks into other processes. Threads are allowed.

Sources: Linux, Documentation/userspace-api/seccomp_filter.rst; numbers of the calls from
asm/unistd_64.h (x86-64) and asm-generic/unistd.h (aarch64).
"""

from __future__ import annotations

import contextlib
import os
import platform
import shutil
import signal
import struct
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import IO

__all__ = ["Ran", "call_filter", "fault", "run"]

WORK = "/work"  # the folder of copies, as seen from inside
PROGRAM = "/program"  # the program's own folder, as seen from inside
SCRATCH = "/tmp"  # the only folder that can be written inside
CPU_SECONDS = 100
WALL_SECONDS = 400  # where other programs want the processor too
MEMORY = 2_500_000_000  # bytes of address space, of the one process there is
DISK = 64_000_000  # bytes of all files written, which lie in memory
OPEN_FILES = 256
MOST_OUTPUT = 128_000_000  # bytes; the largest open score seen makes 20 million
_SYSTEM = ("/usr", "/bin", "/sbin", "/lib", "/lib32", "/lib64")

# No whole folder that the program may share with files of the user.
_PROGRAM_PARTS = ("bin", "etc/fonts", "etc/relocate", "lib", "libexec", "share/guile",
                  "share/lilypond")  # fmt: skip

_SAID = 60_000  # last bytes of what a program said that are kept
_CHUNK = 65_536

# Bounds the shell that follows, and what it starts: seconds, kilobytes, blocks, files.
_LIMITS = (
    'ulimit -t "$1"; ulimit -v "$2"; ulimit -f "$3"; ulimit -n "$4"; ulimit -c 0; '
    'shift 4; exec "$@"'
)


@dataclass(frozen=True)
class Ran:
    """How a run ended.

    code: exit code. said: the end of its messages. wrote: its output. late, much:
    whether it was ended for its time, or for writing more than `MOST_OUTPUT`.
    """

    code: int
    said: str
    wrote: bytes = b""
    late: bool = False
    much: bool = False


def run(
    command: Sequence[str],
    work: Path,
    program: Path | None,
    *,
    boxed: bool,
    alone: bool = True,
) -> Ran:
    """Run a command with a folder to read as `WORK` and `program` as `PROGRAM`.

    In command and environment, words that begin with those two names, and options that
    do after their '=', are paths; outside the box (`boxed` false) they become the real
    ones. alone: the command may start no other process; outside the box it may.
    """
    variables = {"LC_ALL": "C.UTF-8", "PYTHONIOENCODING": "utf-8"}
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as scratch:
        if boxed:
            variables["HOME"] = SCRATCH
            environment = {"PATH": os.environ.get("PATH", os.defpath)}
            with _readable(call_filter(alone=alone)) as calls:
                words = [*_walls(work, program, variables, calls), *command]
                return _wait(_bounded(words), scratch, environment, (calls,))
        real = {WORK: str(work), PROGRAM: str(program)}
        words = [_outside(word, real) for word in command]
        environment = os.environ | variables | {"HOME": scratch}
        return _wait(_bounded(words), scratch, environment, ())


@contextlib.contextmanager
def _readable(content: bytes) -> Iterator[int]:
    """A descriptor from which a few bytes can be read."""
    reading, writing = os.pipe()
    try:
        os.write(writing, content)
        os.close(writing)
        yield reading
    finally:
        os.close(reading)


def _outside(word: str, real: dict[str, str]) -> str:
    option, equals, value = word.rpartition("=")
    for name, path in real.items():
        if value == name or value.startswith(f"{name}/"):
            return option + equals + path + value[len(name) :]
    return word


def _bounded(command: Sequence[str]) -> list[str]:
    if sys.platform == "win32":
        return list(command)
    limits = (CPU_SECONDS, MEMORY // 1024, DISK // 512, OPEN_FILES)
    return ["/bin/sh", "-c", _LIMITS, "sh", *map(str, limits), *command]


def _walls(
    work: Path, program: Path | None, variables: dict[str, str], calls: int
) -> list[str]:
    """The command of bubblewrap, up to the command that runs inside."""
    words = [shutil.which("bwrap") or "bwrap", "--unshare-all", "--die-with-parent"]
    words += ["--new-session", "--cap-drop", "ALL", "--clearenv", "--seccomp", str(calls)]
    for path in _SYSTEM:
        if Path(path).is_symlink():
            words += ["--symlink", str(Path(path).readlink()), path]
        elif Path(path).is_dir():
            words += ["--ro-bind", path, path]
    words += ["--ro-bind-try", "/etc/fonts", "/etc/fonts"]
    words += ["--proc", "/proc", "--dev", "/dev"]
    for part in _PROGRAM_PARTS if program else ():
        words += ["--ro-bind-try", f"{program}/{part}", f"{PROGRAM}/{part}"]
    words += ["--ro-bind", str(work), WORK]
    # The administrator could change the system through /proc; the other two are folders
    # in memory without a bound of their own.
    words += ["--remount-ro", "/proc", "--remount-ro", "/dev"]
    words += ["--size", str(DISK), "--tmpfs", SCRATCH, "--chdir", SCRATCH]
    words += ["--remount-ro", "/"]
    for name, value in {"PATH": "/usr/bin:/bin", **variables}.items():
        words += ["--setenv", name, value]
    return [*words, "--"]


class _Taken(threading.Thread):
    """What comes through a pipe, read beside the program that writes it.

    Of more than `most` bytes the first are kept and `much` is true, or for
    `last` the last are kept.
    """

    def __init__(self, pipe: IO[bytes], most: int, *, last: bool = False) -> None:
        super().__init__(daemon=True)
        self.content = bytearray()
        self.much = False
        self._pipe, self._most, self._last = pipe, most, last
        self.start()

    def run(self) -> None:
        """Read to the end; called by the thread itself."""
        with contextlib.suppress(OSError, ValueError):
            while chunk := self._pipe.read1(_CHUNK):  # type: ignore[attr-defined]
                if self._last:
                    self.content += chunk
                    del self.content[: -self._most]
                elif len(self.content) + len(chunk) > self._most:
                    self.much = True
                    return
                else:
                    self.content += chunk


def _wait(
    words: Sequence[str], folder: str, environment: dict[str, str], kept: tuple[int, ...]
) -> Ran:
    """Run to the end, or to a limit. kept: descriptors that the program gets too."""
    try:
        process = subprocess.Popen(
            words,
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            start_new_session=True,
            pass_fds=kept,
        )
    except OSError as error:
        return Ran(127, error.strerror or str(error))
    assert process.stdout is not None and process.stderr is not None
    with process.stdout, process.stderr:
        wrote = _Taken(process.stdout, MOST_OUTPUT)
        said = _Taken(process.stderr, _SAID, last=True)
        late = False
        try:
            # Its output ends when it does, or when there is too much of it.
            wrote.join(WALL_SECONDS)
            late = wrote.is_alive()
            if not late and not wrote.much:
                process.wait(WALL_SECONDS)
        except subprocess.TimeoutExpired:
            late = True
        finally:
            _end(process)
        wrote.join(1)
        said.join(1)
        text = bytes(said.content).decode("utf-8", errors="replace")
    out_of_time = {-signal.SIGKILL, 128 + signal.SIGKILL} if sys.platform != "win32" else set()
    if sys.platform != "win32":
        out_of_time |= {-signal.SIGXCPU, 128 + signal.SIGXCPU}
    late = late or (process.returncode in out_of_time and not wrote.much)
    return Ran(process.returncode, text, bytes(wrote.content), late, wrote.much)


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a program, and everything of its group that still runs."""
    if sys.platform == "win32":
        process.kill()
    else:
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)
    process.wait()


@lru_cache(maxsize=1)
def fault() -> str:
    """Why nothing can be boxed here, '' where the box was tried and holds."""
    if not sys.platform.startswith("linux"):
        return "this system has no sandbox that corpusreg knows"
    if shutil.which("bwrap") is None:
        return "bubblewrap is not installed"
    if not call_filter(alone=True):
        return "the filter of system calls is not known for this processor"
    with tempfile.TemporaryDirectory() as outside, tempfile.TemporaryDirectory() as inside:
        secret = Path(outside) / "secret"
        secret.write_text("secret", encoding="utf-8")
        ran = run(["/bin/sh", "-c", _TRIAL, "sh", str(secret)], Path(inside), None, boxed=True)
    if ran.wrote != b"held\n":
        told = [*ran.wrote.decode(errors="replace").split("\n"), *ran.said.split("\n")]
        reasons = [line.strip() for line in told if line.strip() not in ("", "held")]
        return f"bubblewrap does not work here ({(reasons or [f'exit code {ran.code}'])[0]})"
    return ""


# Tried from inside, by what the shell can do by itself: a way out is told. The last
# one ends the shell where processes cannot be started, as they must not.
_TRIAL = r"""
exec 2>/dev/null
{ test -e "$1" || test -e /etc/passwd; } && echo 'files outside are visible'
for place in /usr/x /work/x /x /dev/x /dev/shm/x /proc/sys/kernel/hostname; do
    if true >> "$place"; then echo "$place can be written"; fi
done
devices=0
while read -r line; do
    case "$line" in *:*) devices=$((devices + 1)) ;; esac
done < /proc/net/dev
test "$devices" -gt 1 && echo 'the network is visible'
while read -r _ place _ options _; do
    case "$place $options" in
        '/tmp '*size=*) bounded=yes ;;
        '/tmp '*) bounded= ;;
    esac
done < /proc/self/mounts
test -n "$bounded" || echo 'the disk has no bound'
for process in 1 self; do
    tries=0 shut_in=
    # The first process shuts itself in while this one begins: it is given a moment.
    while test -z "$shut_in" && test $tries -lt 300; do
        tries=$((tries + 1)) filtered= powers=
        while read -r name value; do
            case "$name $value" in
                'Seccomp: 2') filtered=yes ;;
                'CapEff: 0000000000000000') ;;
                CapEff:*) powers=yes ;;
            esac
        done < "/proc/$process/status"
        test -n "$filtered" && test -z "$powers" && shut_in=yes
    done
    test -n "$filtered" || echo 'system calls are not filtered'
    test -z "$powers" || echo 'it may do what an administrator may'
done
echo held
(:)
echo 'other processes can be started'
"""

_ARCHITECTURES = {"x86_64": 0xC000003E, "aarch64": 0xC00000B7}

# Numbers on x86-64 and on aarch64.
_REFUSED: dict[str, tuple[int, int]] = {
    "add_key": (248, 217), "bpf": (321, 280), "chroot": (161, 51), "fsmount": (432, 432),
    "fsopen": (430, 430), "io_uring_setup": (425, 425), "kcmp": (312, 272),
    "keyctl": (250, 219), "memfd_create": (319, 279), "memfd_secret": (447, 447),
    "mount": (165, 40), "mount_setattr": (442, 442), "move_mount": (429, 429),
    "mq_open": (240, 180), "msgget": (68, 186), "name_to_handle_at": (303, 264),
    "open_by_handle_at": (304, 265), "open_tree": (428, 428), "perf_event_open": (298, 241),
    "personality": (135, 92), "pidfd_getfd": (438, 438), "pivot_root": (155, 41),
    "process_vm_readv": (310, 270), "process_vm_writev": (311, 271), "ptrace": (101, 117),
    "request_key": (249, 218), "semget": (64, 190), "setns": (308, 268), "shmget": (29, 194),
    "socket": (41, 198), "socketpair": (53, 199), "umount2": (166, 39), "unshare": (272, 97),
    "userfaultfd": (323, 282),
}  # fmt: skip

_FORK, _VFORK = 57, 58  # x86-64 alone has them
_CLONE = {"x86_64": 56, "aarch64": 220}
_CLONE3 = 435
_X32 = 0x40000000  # calls of the 32-bit kind on x86-64, which have numbers of their own
# Where the number of the call, the architecture and the first argument stand.
_NUMBER, _ARCHITECTURE, _FIRST = 0, 4, 16
_LOAD, _EQUAL, _AT_LEAST, _ANY_BIT, _RETURN = 0x20, 0x15, 0x35, 0x45, 0x06
_ALLOW, _END_PROCESS, _ERROR = 0x7FFF0000, 0x80000000, 0x00050000
_NOT_PERMITTED, _NO_SUCH_CALL = _ERROR | 1, _ERROR | 38
_THREAD = 0x00010000  # CLONE_THREAD


def call_filter(*, alone: bool) -> bytes:
    """The filter for this machine; b'' where its processor is not known.

    alone: no other process may be started.
    """
    machine = platform.machine()
    if machine not in _ARCHITECTURES:
        return b""
    column = list(_ARCHITECTURES).index(machine)
    code = [
        _step(_LOAD, _ARCHITECTURE),
        _step(_EQUAL, _ARCHITECTURES[machine], 1, 0),
        _step(_RETURN, _END_PROCESS),
        _step(_LOAD, _NUMBER),
    ]
    if machine == "x86_64":
        code += _refuse(_AT_LEAST, _X32, _NO_SUCH_CALL)
    for numbers in _REFUSED.values():
        code += _refuse(_EQUAL, numbers[column], _NOT_PERMITTED)
    if alone:
        if machine == "x86_64":
            code += _refuse(_EQUAL, _FORK, _NOT_PERMITTED)
            code += _refuse(_EQUAL, _VFORK, _NOT_PERMITTED)
        # Its arguments cannot be seen; libraries then use the older call.
        code += _refuse(_EQUAL, _CLONE3, _NO_SUCH_CALL)
        code += [
            _step(_EQUAL, _CLONE[machine], 0, 3),
            _step(_LOAD, _FIRST),
            _step(_ANY_BIT, _THREAD, 1, 0),
            _step(_RETURN, _NOT_PERMITTED),
        ]
    return b"".join([*code, _step(_RETURN, _ALLOW)])


def _refuse(test: int, number: int, error: int) -> list[bytes]:
    return [_step(test, number, 0, 1), _step(_RETURN, error)]


def _step(code: int, value: int, if_true: int = 0, if_false: int = 0) -> bytes:
    """One instruction; the last two numbers are instructions to pass over."""
    return struct.pack("=HBBI", code, if_true, if_false, value)
