"""What LilyPond makes of a piece: the lines of `listener.ly`, made once and kept.

The kept lines are in `settings.lilypond_cache()`, a file for each content of all the
files of a piece, version of LilyPond and of the listener; written beside and renamed,
so that nobody sees half of one.
"""

from __future__ import annotations

import contextlib
import gzip
import hashlib
import json
import os
import re
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from corpusreg.score.readers.lilypond import box
from corpusreg.score.readers.lilypond.sources import Sources, version_of
from corpusreg.system import settings
from corpusreg.system.errors import ReadError
from corpusreg.system.writing import replacing

__all__ = ["Made", "executable", "make", "version"]

_LISTENER = Path(__file__).with_name("listener.ly")
_ERROR = re.compile(
    r"^(?:/work/)?([^\n:]+):(\d+):\d+: (?:fatal )?error: ([^\n]+)", re.MULTILINE
)
_FATAL = re.compile(r"^(?:fatal error|error|[^\n]*Guile signaled)[^\n]*", re.MULTILINE)
_BAR_CHECK = re.compile(r"warning: bar ?check failed")


@dataclass(frozen=True)
class Made:
    """What LilyPond made of a piece.

    error: why it made nothing, '' where it did. lines: what the listener wrote.
    bar_checks: bars that are not as long as the source says they are.
    """

    error: str
    lines: str = ""
    bar_checks: int = 0


@lru_cache(maxsize=1)
def executable() -> Path:
    """The LilyPond program: that of the Python package, else the one on the path.

    Raises ReadError where there is none.
    """
    spec = find_spec("lilypond")
    if spec is not None and spec.origin:
        name = "lilypond.exe" if os.name == "nt" else "lilypond"
        carried = Path(spec.origin).parent / "lilypond-binaries" / "bin" / name
        if carried.is_file():
            return carried.resolve()
    found = shutil.which("lilypond")
    if found is None:
        raise ReadError(
            "LilyPond is not installed, which reads LilyPond sources; "
            "run pip install 'corpusreg[lilypond]'"
        )
    return Path(found).resolve()


@lru_cache(maxsize=1)
def version() -> tuple[int, int, int]:
    """Version of the program. Raises ReadError where it does not say."""
    with tempfile.TemporaryDirectory() as work:
        command, program = _command("lilypond")
        ran = box.run([*command, "--version"], Path(work), program, boxed=_boxed())
    found = re.search(r"LilyPond (\d+)\.(\d+)\.(\d+)", ran.said)
    if found is None:
        raise ReadError(f"{executable()}: does not run ({ran.said.strip()[-200:]})")
    major, minor, patch = found.groups()
    return int(major), int(minor), int(patch)


def make(sources: Sources) -> Made:
    """What LilyPond makes of a piece, from what is kept where it was run before.

    Raises ReadError where LilyPond is missing, or may not run because there is no
    sandbox and the user has not said that the scores are to be trusted.
    """
    executable()
    kept = settings.lilypond_cache() / f"{_key(sources)}.json.gz"
    if kept.is_file():
        try:
            return Made(**json.loads(gzip.decompress(kept.read_bytes())))
        except (OSError, EOFError, ValueError, TypeError):  # damaged: made again
            pass
    made, late = _run(sources)
    if not late:  # another day the machine may be faster
        # Where nothing can be kept, as in another user's folder, it is only run again.
        with contextlib.suppress(OSError):
            _keep(kept, made)
    return made


def _boxed() -> bool:
    """True for the sandbox, False for a user's trust; raises where there is neither."""
    if settings.trusted():
        return False
    fault = box.fault()
    if fault:
        raise ReadError(
            "a LilyPond source is a program and could do anything on this computer; it runs "
            f"in a sandbox only, and {fault}; install bubblewrap on Linux, or add --trust if "
            "you trust this score"
        )
    return True


def _command(name: str) -> tuple[list[str], Path | None]:
    """One of LilyPond's programs as seen in the box, and the folder it needs there."""
    there = executable().with_name(name + executable().suffix)
    root = there.parent.parent
    if root.is_relative_to("/usr") or not (root / "share" / "lilypond").is_dir():
        return [str(there)], None
    return [f"{box.PROGRAM}/bin/{there.name}"], root


def _key(sources: Sources) -> str:
    digest = hashlib.sha256(repr((version(), sources.main)).encode())
    digest.update(_LISTENER.read_bytes())
    for name, text in sorted(sources.texts.items()):
        digest.update(f"\0{name}\0{len(text)}\0".encode())
        digest.update(text.encode("utf-8", errors="surrogatepass"))
    return digest.hexdigest()[:40]


def _keep(path: Path, made: Made) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with replacing(path) as aside:
        aside.write_bytes(gzip.compress(json.dumps(asdict(made)).encode(), 6))


def _run(sources: Sources) -> tuple[Made, bool]:
    """Convert and interpret copies of a piece; True where time ran out."""
    boxed = _boxed()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        work = Path(folder)
        for name, text in sources.texts.items():
            (work / "score" / name).parent.mkdir(parents=True, exist_ok=True)
            (work / "score" / name).write_text(text, encoding="utf-8", newline="\n")
        shutil.copy(_LISTENER, work / "listener.ly")
        _convert(sources, work, boxed=boxed)
        command, program = _command("lilypond")
        main = f"{box.WORK}/score/{sources.main}"
        command += ["--loglevel=WARN", f"-dinclude-settings={box.WORK}/listener.ly"]
        command += ["-dno-point-and-click", "-I", main.rpartition("/")[0]]
        ran = box.run([*command, "-o", f"{box.WORK}/out", main], work, program, boxed=boxed)
        events = work / "events.tsv"
        lines = events.read_text(encoding="utf-8", errors="replace") if events.is_file() else ""
    if ran.late:
        return Made("LilyPond took too long over it; split the piece"), True
    if ran.code != 0:
        return Made(_reason(ran.said)), False
    return Made("", lines, len(_BAR_CHECK.findall(ran.said))), False


def _convert(sources: Sources, work: Path, *, boxed: bool) -> None:
    """Bring old files to the program's version, by the program's own converter.

    A file that names no version is of its source's.
    """
    stated = {name: version_of(text) for name, text in sources.texts.items()}
    usual = stated[sources.main] or max((v for v in stated.values() if v), default=None)
    groups: dict[tuple[int, int, int] | None, list[str]] = {}
    for name, own in stated.items():
        old = own or usual
        if old is not None and old < version():
            groups.setdefault(None if own else usual, []).append(f"{box.WORK}/score/{name}")
    command, program = _command("convert-ly")
    for given, names in groups.items():
        from_version = ["-f", ".".join(map(str, given))] if given else []
        box.run([*command, "-e", *from_version, *names], work, program, boxed=boxed)


def _reason(said: str) -> str:
    """What LilyPond says is wrong, in one line: the first error it names."""
    found = _ERROR.search(said)
    if found:
        name, line, words = found.groups()
        return f"LilyPond finds an error in {name.removeprefix('score/')}, line {line}: {words}"
    fatal = _FATAL.search(said)
    last: Sequence[str] = said.strip().splitlines()[-1:]
    words = fatal.group(0) if fatal else (last[0] if last else "it says nothing")
    return f"LilyPond stopped: {words[:300]}"
