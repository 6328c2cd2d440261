"""The main job against plain music21, in one run: `python tests/benchmarks/pipeline.py`.

Prints a table and writes results/pipeline.json:

- extraction of the bundled corpus to a published reference with two workers, in
  works per second, against a loop that parses with music21 and takes only the
  lowest and the highest pitch (the same files, sampled);
- two workers against one, in interleaved pairs on the same sample;
- peak memory of any process of an extraction;
- `compare` on a piano piece of about 100 bars, process start to end, against what
  music21 takes to parse that file in a process of its own;
- `table` and `query`, process start to end.

The whole takes some five minutes on two cores. Times depend on the machine and
on what else it does; the ratios are of one run.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from corpusreg.corpus import catalogue
from corpusreg.corpus.files import bundled_root

RESULTS = Path(__file__).parent / "results" / "pipeline.json"
PIANO = "joplin/maple_leaf_rag.mxl"
_EXTREMES = """
import sys, music21
for path in sys.stdin.read().splitlines():
    found = music21.converter.parse(path, forceSource=True)
    scores = list(found.scores) if isinstance(found, music21.stream.Opus) else [found]
    for score in scores:
        pitches = [p.ps for p in score.flatten().pitches]
        print(min(pitches, default=0), max(pitches, default=0))
"""


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sample", type=int, default=60, help="files given to music21")
    parser.add_argument("--pairs", type=int, default=3, help="pairs of one and two workers")
    options = parser.parse_args()
    found: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as folder:
        found |= whole_corpus(Path(folder))
        found |= workers(Path(folder), options.pairs)
        found |= commands(Path(folder))
    found |= plain_music21(options.sample)
    found["extraction_over_music21"] = found["works_a_second"] / found["music21_works_a_second"]
    found["compare_over_parse"] = found["compare_seconds"] / found["music21_parse_seconds"]
    for name, value in found.items():
        print(f"{name:<28} {value:10.3f}")
    RESULTS.write_text(json.dumps({k: round(v, 4) for k, v in found.items()}, indent=1) + "\n")


def default_files() -> list[catalogue.SourceFile]:
    """The files of the default reference."""
    return [
        f for f in catalogue.bundled() if catalogue.licence(f).tier in ("open", "permitted")
    ]


def run(arguments: list[str], home: Path, text: str | None = None) -> tuple[float, float, str]:
    """Wall seconds, peak megabytes of the largest process, and output of one command."""
    began = time.perf_counter()
    with tempfile.TemporaryFile("w+", encoding="utf-8") as said:
        process = subprocess.Popen(
            arguments,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=said,
            text=True,
            env=os.environ | {"CORPUSREG_HOME": str(home)},
        )
        assert process.stdin is not None and process.stdout is not None
        process.stdin.write(text or "")
        process.stdin.close()
        peak = 0.0
        if text is None:
            while process.poll() is None:
                peak = max(peak, largest(process.pid))
                time.sleep(0.05)
        output = process.stdout.read()
        if process.wait():
            said.seek(0)
            raise SystemExit(f"{' '.join(arguments[:2])} failed:\n{said.read()[-2000:]}")
    return time.perf_counter() - began, peak, output


def largest(root: int) -> float:
    """Resident megabytes of the largest among a process and its descendants (Linux)."""
    waiting, sizes = [root], [0.0]
    while waiting:
        pid = waiting.pop()
        try:
            status = Path(f"/proc/{pid}/status").read_text()
            children = Path(f"/proc/{pid}/task/{pid}/children").read_text()
        except OSError:
            continue
        sizes += [
            int(line.split()[1]) / 1024 for line in status.splitlines() if "VmRSS" in line
        ]
        waiting += [int(child) for child in children.split()]
    return max(sizes)


def command(*words: str) -> list[str]:
    """A corpusreg command as it would be typed."""
    return [sys.executable, "-m", "corpusreg.cli", *words]


def whole_corpus(folder: Path) -> dict[str, float]:
    """The default corpus, extraction to published reference, two workers."""
    seconds, peak, _ = run(command("extract", "--workers", "2"), folder / "home")
    _, _, output = run(command("check", "--json"), folder / "home", "")
    works = json.loads(output)["counts"]["works"]
    return {
        "works": works,
        "seconds": seconds,
        "works_a_second": works / seconds,
        "peak_megabytes": peak,
    }


def workers(folder: Path, pairs: int) -> dict[str, float]:
    """Median over interleaved pairs of one worker's time over two workers' time."""
    sample = folder / "sample"
    sample.mkdir()
    for number, file in enumerate(spread(default_files(), 300)):
        (sample / f"{number}{file.path.suffix}").write_bytes(file.path.read_bytes())
    ratios = []
    for number in range(pairs):
        one, _, _ = run(
            command("extract", str(sample), "--workers", "1"), folder / f"one{number}"
        )
        two, _, _ = run(
            command("extract", str(sample), "--workers", "2"), folder / f"two{number}"
        )
        ratios.append(one / two)
    return {"two_workers_over_one": statistics.median(ratios)}


def spread(files: list[catalogue.SourceFile], count: int) -> list[catalogue.SourceFile]:
    """A fixed random sample."""
    return random.Random(1).sample(files, min(count, len(files)))


def commands(folder: Path) -> dict[str, float]:
    """Medians of five runs of the commands that read the reference."""
    piano = str(bundled_root() / PIANO)
    home = folder / "home"
    parse = f"import music21; music21.converter.parse({piano!r}, forceSource=True)"
    timed = {
        "compare_seconds": command("compare", piano),
        "music21_parse_seconds": [sys.executable, "-c", parse],
        "table_seconds": command("table", "span", "--by", "ensemble"),
        "query_seconds": command("query", "thin_cohorts"),
        "help_seconds": command("--help"),
    }
    return {
        name: statistics.median(run(words, home, "")[0] for _ in range(5))
        for name, words in timed.items()
    }


def plain_music21(count: int) -> dict[str, float]:
    """Works a second of a music21 loop, one process, import left out."""
    files = spread(default_files(), count)
    nothing, _, _ = run([sys.executable, "-c", _EXTREMES], Path(), "")
    names = "\n".join(str(file.path) for file in files)
    seconds, _, output = run([sys.executable, "-c", _EXTREMES], Path(), names)
    return {"music21_works_a_second": len(output.splitlines()) / (seconds - nothing)}


if __name__ == "__main__":
    main()
