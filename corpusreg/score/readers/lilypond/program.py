"""What LilyPond makes of a piece: the lines of `listener.ly`, made once and kept.

The kept lines are in `settings.lilypond_cache()`, a file for each content of all the
files of a piece, version of LilyPond and of the listener; written beside and renamed,
so that nobody sees half of one. What older versions of corpusreg kept is removed.
"""

from __future__ import annotations

import contextlib
import gzip
import hashlib
import json
import os
import re
import secrets
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from corpusreg.score.readers.lilypond import box, mending
from corpusreg.score.readers.lilypond.lines import parse
from corpusreg.score.readers.lilypond.sources import Sources, version_of
from corpusreg.system import settings
from corpusreg.system.errors import ReadError
from corpusreg.system.writing import replacing

__all__ = ["executable", "make", "version"]

_LISTENER = Path(__file__).with_name("listener.ly")
_ERROR = re.compile(
    r"^(?:/work/)?([^\n:]+):(\d+):\d+: (?:fatal )?error: ([^\n]+)", re.MULTILINE
)
_FATAL = re.compile(r"^(?:fatal error|error|[^\n]*Guile signaled)[^\n]*", re.MULTILINE)
_LATE = "LilyPond took too long over it; split the piece"
_BAR_CHECK = re.compile(r"warning: bar ?check failed")


@dataclass(frozen=True)
class LilyPondRun:
    """What LilyPond made of a piece.

    error: why it made nothing, '' where it did; where: its file and line, as far as
    known. lines: what the listener wrote. bar_checks: bars that are not as long as the
    source says they are. spared: an error that did not touch the notes.
    """

    error: str
    lines: str = ""
    bar_checks: int = 0
    where: str = ""
    spared: str = ""

    @property
    def lasting(self) -> bool:
        """False where time ran out: another day the machine may be faster."""
        return self.error != _LATE


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
    told = ran.wrote.decode(errors="replace")
    found = re.search(r"LilyPond (\d+)\.(\d+)\.(\d+)", told)
    if found is None:
        raise ReadError(f"{executable()}: does not run ({(ran.said or told).strip()[-200:]})")
    major, minor, patch = found.groups()
    return int(major), int(minor), int(patch)


def make(sources: Sources) -> LilyPondRun:
    """What LilyPond makes of a piece, from what is kept where it was run before.

    Raises ReadError where LilyPond is missing, or may not run because there is no
    sandbox and the user has not said that the scores are to be trusted.
    """
    executable()
    made = _kept(sources, mend=False)
    return _kept(sources, mend=True) if made.error and made.lasting else made


def _kept(sources: Sources, *, mend: bool) -> LilyPondRun:
    """What was kept of a run, else of a run now."""
    path = settings.lilypond_cache() / f"{_key(sources, mend=mend)}.json.gz"
    if path.is_file():
        try:
            return LilyPondRun(**json.loads(gzip.decompress(path.read_bytes())))
        except (OSError, EOFError, ValueError, TypeError):  # damaged: made again
            pass
    made = _run(sources, mend=mend)
    if made.lasting:
        # Where nothing can be kept, as in another user's folder, it is only run again.
        with contextlib.suppress(OSError):
            _keep(path, made)
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


def _key(sources: Sources, *, mend: bool) -> str:
    digest = hashlib.sha256(repr((version(), sources.main)).encode())
    digest.update(_LISTENER.read_bytes())
    if mend:
        digest.update(Path(mending.__file__).read_bytes())
    for name, text in sorted(sources.texts.items()):
        digest.update(f"\0{name}\0{len(text)}\0".encode())
        digest.update(text.encode("utf-8", errors="surrogatepass"))
    return digest.hexdigest()[:40]


def _keep(path: Path, made: LilyPondRun) -> None:
    if not path.parent.is_dir():
        path.parent.mkdir(parents=True, exist_ok=True)
        for old in path.parent.parent.iterdir():
            if old != path.parent and not old.is_dir():
                old.unlink(missing_ok=True)
    with replacing(path) as aside:
        aside.write_bytes(gzip.compress(json.dumps(asdict(made)).encode(), 6))


def _run(sources: Sources, *, mend: bool) -> LilyPondRun:
    """Convert and interpret copies of a piece. mend: in words that LilyPond still knows."""
    boxed = _boxed()
    texts = _converted(sources, boxed=boxed)
    listener = _LISTENER.read_text(encoding="utf-8")
    if mend:
        texts = mending.mended(texts)
        listener += mending.PRELUDE
    with _copies(texts) as work:
        (work / "listener.ly").write_text(listener, encoding="utf-8", newline="\n")
        command, program = _command("lilypond")
        main = f"{box.WORK}/score/{sources.main}"
        command += ["--loglevel=WARN", f"-dinclude-settings={box.WORK}/listener.ly"]
        command += ["-dno-point-and-click", "-I", main.rpartition("/")[0], main]
        ran = box.run(command, work, program, boxed=boxed)
    if ran.late:
        return LilyPondRun(_LATE)
    if ran.much:
        return LilyPondRun("LilyPond prints without end on it; split the piece")
    lines = ran.wrote.decode("utf-8", errors="replace")
    bar_checks = len(_BAR_CHECK.findall(ran.said))
    if ran.code == 0:
        return LilyPondRun("", lines, bar_checks)
    reason, where = _reason(ran.said)
    if mend and (beside := _right(ran.said, lines, texts, sources)):
        return LilyPondRun("", lines, bar_checks, spared=f"{reason}; {beside}")
    return LilyPondRun(reason, where=where)


def _right(said: str, lines: str, texts: Mapping[str, str], sources: Sources) -> str:
    """Why the notes can be trusted despite an error, '' where they cannot."""
    try:
        heard = parse(lines)
    except ReadError:
        return ""
    if not heard or not mending.beside_the_music(said, texts):
        return ""
    wholes = [mending.whole(each, sources.main) for each in (texts, sources.texts)]
    same = any(mending.agrees(heard, whole) for whole in wholes)
    return "it stands outside the music" + (", and another reader agrees" if same else "")


@contextlib.contextmanager
def _copies(texts: Mapping[str, str]) -> Iterator[Path]:
    """A folder for one run, with the files of a piece in 'score' inside it."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        for name, text in texts.items():
            path = Path(folder, "score", name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8", newline="\n")
        yield Path(folder)


def _converted(sources: Sources, *, boxed: bool) -> dict[str, str]:
    """The files, old ones brought to the program's version by its own converter.

    A file that names no version is of its source's. What the converter does not give
    back stays as it is.
    """
    stated = {name: version_of(text) for name, text in sources.texts.items()}
    usual = stated[sources.main] or max((v for v in stated.values() if v), default=None)
    groups: dict[tuple[int, int, int] | None, list[str]] = {}
    for name, own in stated.items():
        old = own or usual
        if old is not None and old < version():
            groups.setdefault(None if own else usual, []).append(name)
    texts = dict(sources.texts)
    command, program = _command("convert-ly")
    for given, names in groups.items():
        # It writes all files one after the other: each ends with a line that tells its own.
        mark = f"%% end {secrets.token_hex(16)}"
        marked = {name: f"{texts[name]}\n{mark} {i}\n" for i, name in enumerate(names)}
        from_version = ["-f", ".".join(map(str, given))] if given else []
        paths = [f"{box.WORK}/score/{name}" for name in names]
        with _copies(marked) as work:
            ran = box.run(
                [*command, *from_version, *paths], work, program, boxed=boxed, alone=False
            )
        written = ran.wrote.decode("utf-8", errors="replace").replace("\r\n", "\n")
        pieces = re.split(rf"\n{mark} (\d+)\n", written)
        for text, number in zip(pieces[::2], pieces[1::2], strict=False):
            texts[names[int(number)]] = text
    return texts


def _reason(said: str) -> tuple[str, str]:
    """The first error that LilyPond names, in one line, and its file and line."""
    found = _ERROR.search(said)
    if found:
        name, line, words = found.groups()
        place = f"{name.removeprefix('score/').removeprefix('./')}, line {line}"
        return f"LilyPond finds an error: {words.replace(f'{box.WORK}/score/', '')}", place
    fatal = _FATAL.search(said)
    last: Sequence[str] = said.strip().splitlines()[-1:]
    words = fatal.group(0) if fatal else (last[0] if last else "it says nothing")
    return f"LilyPond stopped: {words[:300].replace(f'{box.WORK}/score/', '')}", ""
