"""Builds that are killed, starved and damaged: `python tests/benchmarks/faults.py`.

Every trial works in a home of its own, in which a small reference is in force, and builds
a reference of some 300 bundled scores with the real command. Whatever happens to that
build, the reference in force must stay whole (equal row hashes) until the new one is, an
error must be one line, no process may stay behind, and the next plain `extract` must end
in the row hashes of a build that nothing disturbed.

Prints and writes results/faults.json: for each fault the trials, what they met, and in
`wrong` every trial that went otherwise. Needs Linux; a full disk and a read-only one are
small file systems in memory, which only root may mount. Batches of 0.3 s instead of 20 s
put many shards into a build of some seconds.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parents[1]))

import direct
from pipeline import default_files

from corpusreg import store
from corpusreg.system.errors import StoreError

RESULTS = Path(__file__).parent / "results" / "faults.json"
PIECE = Path(__file__).parents[2] / "demo" / "pieces" / "stairs.musicxml"
_LARGEST = 20_000  # bytes of a score: many trials, and a build has many files all the same
_BATCHES = "from corpusreg.store.shards import Shards\n" + (
    "Shards.__init__.__kwdefaults__['batch_seconds'] = 0.3\n"
)
# Interrupts are ignored by what a shell starts in the background.
_MAIN = (
    "import signal, sys\nsignal.signal(signal.SIGINT, signal.default_int_handler)\n"
    "from corpusreg.cli import main\nsys.exit(main(sys.argv[1:]))\n"
)
_OLDER = "from corpusreg import definitions\ndefinitions.VERSION = '1'\n"
_FIRST_OF_MAY_2040 = """
import datetime, time
began = time.time()
late = 2_219_529_600
time.time = lambda now=time.time: late + now() - began
class Later(datetime.datetime):
    @classmethod
    def now(cls, tz=None):
        return cls.fromtimestamp(time.time(), tz)
datetime.datetime = Later
"""


@dataclass
class Found:
    """What the trials of one fault met: counts by word, and what went wrong."""

    trials: int = 0
    met: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    slowest: float = 0.0  # seconds to end after the signal, where there is one

    def check(self, right: bool, words: str) -> None:
        """Note a trial that went otherwise."""
        if not right:
            self.wrong.append(f"trial {self.trials}: {words}")


class Bench:
    """The scores, a home with a small reference in force, and the hashes to be met."""

    def __init__(self, folder: Path, files: int) -> None:
        self.folder = folder
        self.scores = _copied(folder / "scores", files, 1)
        few = _copied(folder / "few", 12, 2)
        self.home = folder / "home"
        _ended(start(self.home, "extract", str(few)))
        shutil.rmtree(self.home / "shards")
        self.old = hashes(self.home)
        began = time.perf_counter()
        whole = self.fresh_home("whole")
        _ended(self.build(whole))
        self.seconds = time.perf_counter() - began
        self.whole = hashes(whole)
        self.whole_home = whole

    def fresh_home(self, name: str, of: str = "home") -> Path:
        """A copy of a home."""
        target = self.folder / name
        shutil.rmtree(target, ignore_errors=True)
        return Path(shutil.copytree(self.folder / of, target))

    def build(self, home: Path, before: str = "") -> subprocess.Popen[str]:
        """The build that is disturbed or resumed, started."""
        return start(home, "extract", str(self.scores), "--workers", "2", before=before)

    def resume(self, home: Path, found: Found) -> None:
        """The next plain build must succeed and give the undisturbed rows."""
        code, _, err = ended(self.build(home))
        found.check(code == 0, f"resumed build: {err.strip()[-300:]}")
        found.check(hashes(home) == self.whole, "rows of the resumed build differ")
        found.check(not _drafts(home), f"left behind: {_drafts(home)}")

    def in_force(self, home: Path, found: Found) -> str:
        """Which reference a disturbed build left in force; it must be a whole one."""
        present = hashes(home)
        found.check(present in (self.old, self.whole), "the reference in force is not whole")
        return "new in force" if present == self.whole else "old in force"


def killed(bench: Bench, count: int) -> Found:
    """kill -9 of the parent alone, at random moments of a build."""
    return _stopped(bench, count, signal.SIGKILL)


def killed_publishing(bench: Bench, count: int) -> Found:
    """kill -9 of the parent at random moments after it has begun to publish."""
    return _stopped(bench, count, signal.SIGKILL, publishing=True)


def interrupted(bench: Bench, count: int) -> Found:
    """Ctrl-C at random moments of a build."""
    return _stopped(bench, count, signal.SIGINT)


def _stopped(bench: Bench, count: int, what: signal.Signals, publishing: bool = False) -> Found:
    found, moments = Found(), random.Random(what)
    for _ in range(count):
        found.trials += 1
        home = bench.fresh_home("trial")
        process = bench.build(home)
        while publishing and process.poll() is None and not _drafts(home):
            time.sleep(0.001)
        # A build may end before its moment: the last moments test just that. Before 0.3 s
        # Python itself is starting.
        first, last = (0.0, 0.3 * bench.seconds) if publishing else (0.3, bench.seconds)
        with suppress(subprocess.TimeoutExpired):
            process.wait(moments.uniform(first, last))
        family = descendants(process.pid)
        found.met[_moment(process, home)] += 1
        process.send_signal(what)
        began = time.perf_counter()
        code, _, err = ended(process)
        while any(map(alive, family)) and time.perf_counter() - began < 10:
            time.sleep(0.01)
        found.slowest = max(found.slowest, time.perf_counter() - began)
        found.check(not any(map(alive, family)), "a worker stayed")
        if what == signal.SIGINT and code == -signal.SIGINT and "Traceback" not in err:
            found.met["as Python itself began or ended"] += 1
        elif what == signal.SIGINT:
            # -2: Python itself was starting or ending.
            found.check(code in (0, 130, -2), f"exit code {code}")
            found.check("Traceback" not in err, f"traceback: {err[-300:]}")
        found.met[bench.in_force(home, found)] += 1
        bench.resume(home, found)
    return found


def disk_full(bench: Bench, count: int) -> Found:
    """A file system that fills at `count` points of a build, then gets room."""
    found = Found()
    needed = _size(bench.whole_home) + _size(bench.home)
    for number in range(count):
        found.trials += 1
        size = _size(bench.home) + 65_536 + needed * number // count
        with mounted(bench.folder / "small", size) as home:
            shutil.copytree(bench.home, home, dirs_exist_ok=True)
            code, _, err = ended(bench.build(home))
            if code == 0:
                found.met["had room"] += 1
            else:
                found.check(one_line(err), f"not one line: {err[-400:]}")
                what = "shards" if "shards" in err.splitlines()[-1] else "reference"
                found.met[f"refused at {what}"] += 1
            found.met[bench.in_force(home, found)] += 1
            _mount("-o", "remount,size=2g", str(home))
            bench.resume(home, found)
    return found


def read_only(bench: Bench, count: int) -> Found:
    """A home that cannot be written: comparing works, building is refused in one line."""
    found = Found(trials=1)
    with mounted(bench.folder / "small", 200_000_000) as home:
        shutil.copytree(bench.whole_home, home, dirs_exist_ok=True)
        _mount("-o", "remount,ro", str(home))
        code, out, err = ended(start(home, "compare", str(PIECE)))
        found.check(code == 0 and bool(out), f"compare: {err}")
        code, _, err = ended(bench.build(home))
        found.check(code == 1 and one_line(err), f"extract: {code} {err}")
        found.met[f"extract says: {err.strip()}".replace(str(home), "HOME")] += 1
        found.check(hashes(home) == bench.whole, "the reference changed")
    return found


def two_builds(bench: Bench, count: int) -> Found:
    """A second build while one runs is refused and does the first no harm."""
    found = Found()
    for _ in range(count):
        found.trials += 1
        home = bench.fresh_home("trial")
        builds = [bench.build(home), bench.build(home)]
        results = [ended(build) for build in builds]
        refused = [err for code, _, err in results if code]
        found.check(len(refused) == 1, f"{len(refused)} of two refused")
        found.check(all("another build is running" in err for err in refused), f"{refused}")
        found.met["one refused"] += len(refused) == 1
        found.check(hashes(home) == bench.whole, "rows differ")
    return found


def compared(bench: Bench, count: int) -> Found:
    """Pieces compared without pause while builds publish; each sees one whole reference."""
    found = Found()
    _, *whole = ended(start(bench.whole_home, "compare", str(PIECE)))
    _, *old = ended(start(bench.home, "compare", str(PIECE)))
    for _ in range(count):
        home = bench.fresh_home("trial")
        build = bench.build(home)
        while build.poll() is None:
            found.trials += 1
            code, *said = ended(start(home, "compare", str(PIECE)))
            found.check(code == 0 and said in (old, whole), f"{code}: {said[1][-300:]}")
            found.met["by the new" if said == whole else "by the old"] += 1
        ended(build)
    return found


def damaged_shards(bench: Bench, count: int) -> Found:
    """Files of shards damaged at random: set aside, measured again, equal rows."""
    found, chance = Found(), random.Random(3)
    for _ in range(count):
        found.trials += 1
        home = bench.fresh_home("trial", "whole")
        files = sorted(path for path in (home / "shards").rglob("*") if path.is_file())
        found.met[_harm(chance.choice(files), chance)] += 1
        bench.resume(home, found)
    return found


def damaged_references(bench: Bench, count: int) -> Found:
    """The reference damaged at random: the right answer or one line, and `extract` mends."""
    found, chance = Found(), random.Random(4)
    _, right, _ = ended(start(bench.whole_home, "compare", str(PIECE)))
    for number in range(count):
        found.trials += 1
        home = bench.fresh_home("trial", "whole")
        name = "current" if number % 10 == 9 else "reference-*.duckdb"
        harm = _harm(next((home / "reference").glob(name)), chance)
        code, out, err = ended(start(home, "compare", str(PIECE)))
        answered = code == 0 and out == right
        found.check(answered or (code == 1 and one_line(err)), f"{harm}: {code} {err[-300:]}")
        found.met["right answer" if answered else "refused in one line"] += 1
        bench.resume(home, found)
    return found


def older_definitions(bench: Bench, count: int) -> Found:
    """A store made by an older version of the definitions is refused, then made again."""
    found = Found(trials=1)
    home = bench.fresh_home("trial")
    ended(bench.build(home, before=_OLDER))
    code, _, err = ended(start(home, "compare", str(PIECE)))
    found.check(code == 1 and one_line(err) and "extract" in err, f"compare: {code} {err}")
    code, out, _ = ended(bench.build(home))
    found.check(code == 0 and "0 were there already" not in out, f"extract: {out}")
    found.met[" ".join(out.split())[:160]] += 1
    found.check(hashes(home) == bench.whole, "rows differ")
    return found


def clock_back(bench: Bench, count: int) -> Found:
    """A build begun in 2040 is killed, and resumed with today's clock: equal rows."""
    found, moments = Found(), random.Random(5)
    for _ in range(count):
        found.trials += 1
        home = bench.fresh_home("trial")
        process = bench.build(home, before=_FIRST_OF_MAY_2040)
        time.sleep(moments.uniform(0.5, bench.seconds))
        process.kill()
        ended(process)
        for path in home.rglob("*"):
            os.utime(path, (2_219_529_600, 2_219_529_600))
        found.met[_moment(process, home)] += 1
        bench.resume(home, found)
    return found


FAULTS: dict[str, tuple[Callable[[Bench, int], Found], int]] = {
    "kill -9 of the parent": (killed, 50),
    "kill -9 while publishing": (killed_publishing, 30),
    "Ctrl-C": (interrupted, 20),
    "disk full": (disk_full, 16),
    "read-only home": (read_only, 1),
    "two builds at once": (two_builds, 5),
    "compare during a build": (compared, 5),
    "damaged shard": (damaged_shards, 30),
    "damaged reference": (damaged_references, 40),
    "older definitions": (older_definitions, 1),
    "clock moved back": (clock_back, 5),
}


def start(home: Path, *words: str, before: str = "") -> subprocess.Popen[str]:
    """A corpusreg command in a process of its own, `before` run first in it."""
    return subprocess.Popen(
        [sys.executable, "-c", before + _BATCHES + _MAIN, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"CORPUSREG_HOME": str(home)},
    )


def ended(process: subprocess.Popen[str]) -> tuple[int, str, str]:
    """Exit code, output and errors of a command."""
    out, err = process.communicate(timeout=300)
    return process.returncode, out, err


def hashes(home: Path) -> dict[str, str]:
    """Row hashes of the reference in force; empty where it cannot be read."""
    try:
        path = store.pointed(home / "reference")
        return direct.row_hashes(path) if path else {}
    except StoreError:
        return {}


def one_line(err: str) -> bool:
    """Whether a command that failed said why in one line, after its progress."""
    said = [line for line in err.splitlines() if line.startswith("corpusreg: ")]
    return len(said) == 1 and "Traceback" not in err


def descendants(root: int) -> list[int]:
    """Processes that a process started, and theirs."""
    found, waiting = [], [root]
    while waiting:
        pid = waiting.pop()
        with suppress(OSError):
            text = Path(f"/proc/{pid}/task/{pid}/children").read_text()
            waiting += map(int, text.split())
            found += map(int, text.split())
    return found


def alive(pid: int) -> bool:
    """Whether a process runs; one that ended and was not fetched does not."""
    try:
        return ") Z " not in Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return False


@contextmanager
def mounted(folder: Path, size: int) -> Iterator[Path]:
    """A file system in memory of so many bytes."""
    folder.mkdir(exist_ok=True)
    _mount("-t", "tmpfs", "-o", f"size={size}", "none", str(folder))
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def _mount(*words: str) -> None:
    subprocess.run(["mount", *words], check=True)


def _copied(folder: Path, count: int, seed: int) -> Path:
    folder.mkdir()
    small = [file for file in default_files() if file.size < _LARGEST]
    files = random.Random(seed).sample(small, count)
    for number, file in enumerate(files):
        shutil.copy(file.path, folder / f"{number}{file.path.suffix}")
    return folder


def _ended(process: subprocess.Popen[str]) -> None:
    code, _, err = ended(process)
    if code:
        raise SystemExit(f"the undisturbed build failed: {err[-500:]}")


def _moment(process: subprocess.Popen[str], home: Path) -> str:
    if process.poll() is not None and process.returncode == 0:
        return "after the end"
    if _drafts(home):
        return "while publishing"
    if list((home / "shards").glob("*.json")):
        return "while measuring, with shards"
    return "before the first shard"


def _drafts(home: Path) -> list[Path]:
    return list((home / "reference").glob("building*"))


def _harm(path: Path, chance: random.Random) -> str:
    """Damage a file in one of four ways; returns which."""
    data = bytearray(path.read_bytes())
    how = chance.choice(["bit", "cut", "zeros", "gone"])
    if how == "bit":
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
    elif how == "cut":
        del data[chance.randrange(len(data)) :]
    elif how == "zeros":
        at = chance.randrange(len(data))
        data[at : at + 4096] = bytes(len(data[at : at + 4096]))
    path.unlink() if how == "gone" else path.write_bytes(data)
    return how


def _size(folder: Path) -> int:
    return sum(path.stat().st_blocks * 512 for path in folder.rglob("*"))


def main() -> None:
    """Try faults, print and keep what they met."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=300, help="scores in a build")
    parser.add_argument("--only", choices=FAULTS, nargs="+", default=list(FAULTS))
    parser.add_argument("--share", type=float, default=1.0, help="of the usual trials")
    options = parser.parse_args()
    kept: dict[str, Any] = json.loads(RESULTS.read_text()) if RESULTS.exists() else {}
    with tempfile.TemporaryDirectory() as name:
        bench = Bench(Path(name), options.files)
        print(f"an undisturbed build takes {bench.seconds:.1f} s", flush=True)
        for fault in options.only:
            function, trials = FAULTS[fault]
            found = function(bench, max(1, round(trials * options.share)))
            kept[fault] = {"trials": found.trials, "met": dict(sorted(found.met.items()))}
            if found.slowest:
                kept[fault]["slowest_end_seconds"] = round(found.slowest, 2)
            kept[fault]["wrong"] = found.wrong
            print(f"{fault}: {json.dumps(kept[fault], indent=1)}", flush=True)
            RESULTS.write_text(json.dumps(kept, indent=1) + "\n")


if __name__ == "__main__":
    main()
