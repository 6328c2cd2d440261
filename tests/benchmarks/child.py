"""What the bounded child costs a comparison: `python tests/benchmarks/child.py [PAIRS]`.

Pairs, one after the other: a comparison of a demo piece as it is, and one that measures in
its own process. Computing time with that of the child, and time by the clock; the median of
the differences. Wanted: at most a tenth of a second. Prints, and writes results/child.json.
"""

from __future__ import annotations

import json
import os
import resource
import statistics
import subprocess
import sys
import time
from pathlib import Path

RESULTS = Path(__file__).parent / "results" / "child.json"
PIECE = Path(__file__).parents[2] / "demo" / "pieces" / "waiting-for-the-bus.musicxml"
APART = "import sys; from corpusreg.cli import main; sys.exit(main(sys.argv[1:]))"
HERE = (
    """
import sys
from corpusreg.system import isolate
from corpusreg.system.isolate import Outcome
class Here:
    def __init__(self, function, *_, **__): self.function = function
    def __enter__(self): return self
    def __exit__(self, *_): pass
    def in_turn(self, items): return (Outcome(item, self.function(item)) for item in items)
isolate.Pool = Here
"""
    + APART
)


def spent(code: str) -> tuple[float, float]:
    """Seconds of computing and by the clock of one comparison."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(
        [sys.executable, "-c", code, "compare", str(PIECE)],
        check=True, capture_output=True, env=os.environ,
    )  # fmt: skip
    clock, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return used, clock


def main() -> None:
    """Measure, print and keep."""
    pairs = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    spent(APART), spent(HERE)
    times = [(spent(APART), spent(HERE)) for _ in range(pairs)]
    found: dict[str, object] = {"pairs": pairs, "load": round(os.getloadavg()[0], 1)}
    for number, name in enumerate(("computing", "clock")):
        apart, here = ([each[side][number] for each in times] for side in (0, 1))
        found[name] = {
            "with the child": round(statistics.median(apart), 3),
            "without": round(statistics.median(here), 3),
            "median difference": round(
                statistics.median(a - b for a, b in zip(apart, here, strict=True)), 3
            ),
        }
    print(json.dumps(found, indent=1))
    RESULTS.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
