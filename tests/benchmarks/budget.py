"""What running costs, as ratios that hold on any machine; fails where one has doubled.

    python tests/benchmarks/budget.py            prints and checks
    python tests/benchmarks/budget.py --record   keeps the ratios

All times are of computing, taken alternately in one run, the least of several, so that what
else a machine does changes little. The scores come with music21.

extraction   one file to rows over its floor: unpacking and parsing it with lxml, for
             kern and ABC splitting its text into cells
parent       what the parent of 8 workers spends on one more work, over the extraction of a
             MusicXML file: below 1 / 8 it keeps none of them waiting
nothing new  `corpusreg extract` with nothing new over importing numpy and DuckDB
compare      `corpusreg compare` of a demo piece over the same
"""

from __future__ import annotations

import json
import os
import pickle
import resource
import shutil
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from lxml import etree

from corpusreg import store
from corpusreg.building import batch
from corpusreg.building.extract import extract_file
from corpusreg.corpus.files import SourceFile, bundled_root

RECORDED = Path(__file__).parent / "results" / "budget.json"
PIECE = Path(__file__).parents[2] / "demo" / "pieces" / "waiting-for-the-bus.musicxml"
TIMES = 3
WORKS = 400  # of the parent
MOST = 2.0  # times the recorded ratio
SMALL = 0.01  # ratios below it are not told apart: a parent that is idle
FILES = {
    "musicxml": (
        "bach/bwv66.6.mxl", "haydn/opus1no1/movement2.mxl", "haydn/opus74no1/movement3.mxl",
        "monteverdi/madrigal.3.1.mxl", "monteverdi/madrigal.3.10.mxl",
    ),
    "kern": (
        "chopin/mazurka06-2.krn", "palestrina/Kyrie_79.krn", "palestrina/Agnus_08.krn",
        "palestrina/Benedictus_86.krn",
    ),
    "abc": ("oneills1850/0626-0635.abc", "oneills1850/0721-0730.abc"),
}  # fmt: skip


def main() -> None:
    """Measure everything, print it, and compare it with what is recorded."""
    found: dict[str, float] = {}
    measured = 0.0
    for family, names in FILES.items():
        floor, own = extraction(names, unpacked if family == "musicxml" else cells)
        found[f"extraction of {family} over its floor"] = own / floor
        if family == "musicxml":
            measured = own
        print(f"{family}: floor {1e3 * floor:.2f} ms, extraction {1e3 * own:.2f} ms a file")
    spent = parent(8)
    found["parent of 8 workers over extraction"] = spent / measured
    print(f"parent of 8 workers: {1e3 * spent:.3f} ms a work")
    bare, compare, extract = commands()
    found["compare over imports"] = compare / bare
    found["nothing new over imports"] = extract / bare
    print(
        f"imports {bare:.2f} s, compare {compare:.2f} s, extract, nothing new {extract:.2f} s"
    )
    if "--record" in sys.argv:
        RECORDED.write_text(
            json.dumps({k: round(v, 4) for k, v in found.items()}, indent=1) + "\n"
        )
    recorded = json.loads(RECORDED.read_text(encoding="utf-8"))
    late = [name for name, ratio in found.items() if ratio > MOST * max(recorded[name], SMALL)]
    for name, ratio in found.items():
        print(f"{name:<40} {ratio:8.3f}  recorded {recorded[name]:8.3f}")
    if late:
        raise SystemExit(f"more than {MOST:g} times what is recorded: {', '.join(late)}")


def extraction(names: tuple[str, ...], floor: Callable[[Path], Any]) -> tuple[float, float]:
    """Seconds a file of the floor and of the extraction."""
    files = [source(bundled_root() / name) for name in names]
    for file in files:  # what is imported or read once is no part of it
        extract_file(file)
    times = [
        [(spent(floor, file.path), spent(extract_file, file)) for file in files]
        for _ in range(TIMES)
    ]
    least = [
        [min(each) for each in zip(*of_file, strict=True)]
        for of_file in zip(*times, strict=True)
    ]
    return tuple(sum(column) / len(files) for column in zip(*least, strict=True))


def source(path: Path) -> SourceFile:
    """A file as a corpus of its own would list it."""
    kind = {".krn": "kern", ".abc": "abc"}.get(path.suffix, "musicxml")
    return SourceFile("budget", path.name, path, kind, path.stat().st_size)


def spent(function: Callable[[Any], Any], item: Any) -> float:
    """Seconds of computing that a call takes."""
    began = time.process_time()
    function(item)
    return time.process_time() - began


def unpacked(path: Path) -> etree._Element:
    """A MusicXML file as a tree."""
    with zipfile.ZipFile(path) as archive:
        (name,) = (
            name
            for name in archive.namelist()
            if name.endswith((".xml", ".musicxml")) and not name.startswith("META-INF")
        )
        return etree.fromstring(archive.read(name))


def cells(path: Path) -> list[list[str]]:
    """A text file as cells."""
    return [
        line.split() for line in path.read_text(encoding="utf-8", errors="replace").split("\n")
    ]


def canned(file: SourceFile) -> dict[str, list[tuple[Any, ...]]]:
    """The rows in a file as those of that file: a worker that costs next to nothing."""
    rows = pickle.loads(file.path.read_bytes())
    old, path = rows["works"][0][0], rows["works"][0][2]
    new = {old: f"{file.corpus}:{file.relative}", path: file.relative}
    return {
        table: [
            tuple(new.get(value, value) if isinstance(value, str) else value for value in row)
            for row in part
        ]
        for table, part in rows.items()
    }


def parent(workers: int) -> float:
    """Seconds that the parent of some workers spends on a work."""
    rows = extract_file(source(bundled_root() / FILES["musicxml"][0]))
    few, many = (run_of(rows, count, workers) for count in (workers, WORKS))
    return (many - few) / (WORKS - workers)


def run_of(rows: dict[str, list[tuple[Any, ...]]], works: int, workers: int) -> float:
    """Seconds that the parent spends on a run over so many works of these rows."""
    import budget  # workers find the function by the name of its module

    with tempfile.TemporaryDirectory() as folder:
        files = []
        for number in range(works):
            path = Path(folder) / f"{number}.rows"
            path.write_bytes(pickle.dumps(rows))
            files.append(source(path))
        shards = store.Shards(Path(folder) / "shards", store.Recipe("budget", "1"))
        began = time.process_time()
        tally = batch.run(files, budget.canned, shards, workers=workers)
        taken = time.process_time() - began
    if (tally.works, tally.failed) != (works, 0):
        raise SystemExit(f"{tally.works} works of {works}, {tally.failed} failed")
    return taken


def commands() -> tuple[float, float, float]:
    """Seconds of importing numpy and DuckDB, of a comparison, of an extraction of nothing."""
    tool = [sys.executable, "-m", "corpusreg.cli"]
    with tempfile.TemporaryDirectory() as folder:
        scores = Path(folder) / "scores"
        scores.mkdir()
        for name in (name for names in FILES.values() for name in names):
            shutil.copy(bundled_root() / name, scores)
        called = (
            [sys.executable, "-c", "import numpy, duckdb"],
            [*tool, "compare", str(PIECE)],
            [*tool, "extract", str(scores), "--workers", "1"],
        )
        home = str(Path(folder) / "home")
        child(called[-1], home)
        times = [[child(arguments, home) for arguments in called] for _ in range(TIMES)]
    bare, compare, extract = (min(each) for each in zip(*times, strict=True))
    return bare, compare, extract


def child(arguments: list[str], home: str) -> float:
    """Seconds of computing of a command and its children."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    env = os.environ | {"CORPUSREG_HOME": home}
    done = subprocess.run(arguments, capture_output=True, text=True, env=env)
    if done.returncode:
        raise SystemExit(f"{' '.join(arguments)} failed: {done.stderr[-500:]}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


if __name__ == "__main__":
    main()
