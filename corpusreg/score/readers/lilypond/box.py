"""Runs a program that may do anything, in a box of the operating system.

A LilyPond source is a program: it can read any file and start any command. So it
runs under bubblewrap (Linux namespaces): no network, the system read-only, of the
user's files nothing but a folder of copies made for this one run, limits of time
and memory. Whether the box holds is tried out first; where it does not, nothing is
run unless the user trusts the scores (`settings.trusted`).
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

__all__ = ["Ran", "fault", "run"]

WORK = "/work"  # the folder of copies, as seen from inside
PROGRAM = "/program"  # the program's own folder, as seen from inside
CPU_SECONDS = 100
WALL_SECONDS = 150
MEMORY = 2_500_000_000  # bytes of address space
FILE_SIZE = 200_000_000  # bytes of any file written
_SYSTEM = ("/usr", "/bin", "/sbin", "/lib", "/lib32", "/lib64")
_PROGRAM_PARTS = ("bin", "etc", "lib", "libexec", "share")
_SAID = 60_000  # last bytes of what a program said that are kept

# Bounds the shell that follows, and what it starts; $1 to $3 are seconds, kilobytes, blocks.
_LIMITS = 'ulimit -t "$1"; ulimit -v "$2"; ulimit -f "$3"; ulimit -c 0; shift 3; exec "$@"'


@dataclass(frozen=True)
class Ran:
    """How a run ended: exit code, the end of its messages, whether time ran out."""

    code: int
    said: str
    late: bool = False


def run(command: Sequence[str], work: Path, program: Path | None, *, boxed: bool) -> Ran:
    """Run a command in a folder, with that folder as `WORK` and `program` as `PROGRAM`.

    In command and environment, words that begin with those two names, and options that
    do after their '=', are paths; outside the box (`boxed` false) they become the real
    ones. The environment has HOME and CORPUSREG_EVENTS in the folder, and in the box
    nothing of the user's.
    """
    variables = {"HOME": WORK, "CORPUSREG_EVENTS": f"{WORK}/events.tsv", "LC_ALL": "C.UTF-8"}
    if boxed:
        words = [*_walls(work, program, variables), *_bounded(command)]
        environment = {"PATH": os.environ.get("PATH", os.defpath)}
    else:
        real = {WORK: str(work), PROGRAM: str(program)}
        words = _bounded([_outside(word, real) for word in command])
        environment = os.environ | {
            name: _outside(value, real) for name, value in variables.items()
        }
    return _wait(words, work, environment)


def _outside(word: str, real: dict[str, str]) -> str:
    option, equals, value = word.rpartition("=")
    for name, path in real.items():
        if value == name or value.startswith(f"{name}/"):
            return option + equals + path + value[len(name) :]
    return word


def _bounded(command: Sequence[str]) -> list[str]:
    if sys.platform == "win32":
        return list(command)
    limits = (str(CPU_SECONDS), str(MEMORY // 1024), str(FILE_SIZE // 512))
    return ["/bin/sh", "-c", _LIMITS, "sh", *limits, *command]


def _walls(work: Path, program: Path | None, variables: dict[str, str]) -> list[str]:
    """The command of bubblewrap, up to the command that runs inside."""
    words = [shutil.which("bwrap") or "bwrap", "--unshare-all", "--die-with-parent"]
    words += ["--new-session", "--cap-drop", "ALL", "--clearenv"]
    for path in _SYSTEM:
        if Path(path).is_symlink():
            words += ["--symlink", str(Path(path).readlink()), path]
        elif Path(path).is_dir():
            words += ["--ro-bind", path, path]
    words += ["--ro-bind-try", "/etc/fonts", "/etc/fonts"]
    words += ["--proc", "/proc", "--dev", "/dev", "--tmpfs", "/tmp"]
    for part in _PROGRAM_PARTS if program else ():
        words += ["--ro-bind-try", f"{program}/{part}", f"{PROGRAM}/{part}"]
    words += ["--bind", str(work), WORK, "--chdir", WORK]
    for name, value in {"PATH": "/usr/bin:/bin", **variables}.items():
        words += ["--setenv", name, value]
    return [*words, "--"]


def _wait(words: Sequence[str], work: Path, environment: dict[str, str]) -> Ran:
    with tempfile.TemporaryFile() as said:
        try:
            process = subprocess.Popen(
                words,
                cwd=work,
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=said,
                stderr=said,
                start_new_session=True,
            )
        except OSError as error:
            return Ran(127, error.strerror or str(error))
        late = False
        try:
            process.wait(WALL_SECONDS)
        except subprocess.TimeoutExpired:
            late = True
        finally:
            _end(process)
        said.seek(max(0, said.seek(0, os.SEEK_END) - _SAID))
        text = said.read().decode("utf-8", errors="replace")
    out_of_time = {-signal.SIGKILL, 128 + signal.SIGKILL} if sys.platform != "win32" else set()
    if sys.platform != "win32":
        out_of_time |= {-signal.SIGXCPU, 128 + signal.SIGXCPU}
    return Ran(process.returncode, text, late or process.returncode in out_of_time)


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a program, and everything it started, if it still runs."""
    if process.poll() is None:
        if sys.platform == "win32":
            process.kill()
        else:
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()


@lru_cache(maxsize=1)
def fault() -> str:
    """Why nothing can be boxed here, '' where the box was tried and holds."""
    if not sys.platform.startswith("linux"):
        return "this system has no sandbox that corpusreg knows"
    if shutil.which("bwrap") is None:
        return "bubblewrap is not installed"
    with tempfile.TemporaryDirectory() as outside, tempfile.TemporaryDirectory() as inside:
        secret = Path(outside) / "secret"
        secret.write_text("secret", encoding="utf-8")
        ran = run(["/bin/sh", "-c", _TRIAL, "sh", str(secret)], Path(inside), None, boxed=True)
        if ran.code != 0 or not (Path(inside) / "done").is_file():
            reason = (ran.said.strip().splitlines() or [f"exit code {ran.code}"])[-1]
            return f"bubblewrap does not work here ({reason})"
    return ""


# Inside: the secret must be hidden, the system not writable, no network but the own one.
_TRIAL = """
if test -e "$1"; then echo 'files outside are visible'; exit 1; fi
if touch /usr/corpusreg-trial 2>/dev/null; then echo 'the system is writable'; exit 1; fi
if test "$(grep -c : /proc/net/dev)" -gt 1; then echo 'the network is visible'; exit 1; fi
touch /work/done
"""
