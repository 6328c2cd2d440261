"""Damaged scores by the thousand: `python tests/benchmarks/fuzz.py`.

Every mutant (tests/mutations.py) is measured as `corpusreg extract` measures a file, in
a bounded worker. What may come of it: works, or a row in failures with a reason of one
line. A worker that crashes, hangs or balloons costs that file only; it is counted and
named here. An unexpected error of our own ('error') is a defect, and so is a reason of
several lines or with a traceback in it.

Writes results/fuzz.json. A sample of the same runs in the tests (test_mutants.py).
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from mutations import LIMITS, measured, seeds, wrong_reasons

from corpusreg.system.isolate import StoppedError, call_each

RESULTS = Path(__file__).parent / "results" / "fuzz.json"
BATCH = 500


def run(mutants: int, workers: int, start: int = 0) -> dict[str, Any]:
    """Outcomes of so many mutants: counts, and every one that should not be."""
    names = list(seeds())
    counts: Counter[str] = Counter()
    found: list[str] = []
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        items = [(names[n % len(names)], n, folder) for n in range(start, start + mutants)]
        for at in range(0, len(items), BATCH):
            for answer in call_each(measured, items[at : at + BATCH], workers, LIMITS):
                where = f"{answer.item[0]}:{answer.item[1]}"
                if isinstance(answer.error, StoppedError):
                    counts[answer.error.kind] += 1
                    found.append(f"{where} {answer.error.kind}: {answer.error}")
                    continue
                works, reasons = answer.result
                counts["read" if works else "refused"] += 1
                found += [f"{where} reason: {r[:200]!r}" for r in wrong_reasons(reasons)]
            print(f"{at + BATCH:6d} {dict(counts)}", file=sys.stderr)
    return {
        "mutants": mutants,
        "seeds": len(names),
        "seconds": round(time.perf_counter() - began, 1),
        "outcomes": dict(sorted(counts.items())),
        "named": found,
    }


def main() -> None:
    """Run, print and keep the result."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--mutants", type=int, default=20_000)
    parser.add_argument("--start", type=int, default=0, help="number of the first mutant")
    options = parser.parse_args()
    result = run(options.mutants, os.cpu_count() or 1, options.start)
    print(json.dumps(result, indent=1))
    RESULTS.write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    main()
