"""Damaged and odd scores by the thousand: `python tests/benchmarks/fuzz.py [--commands]`.

Without an option every mutant (tests/mutations.py) is measured as `corpusreg extract` measures
a file, in a bounded worker. What may come of it: works, or a row in failures with a reason of
one line. A worker that crashes, hangs or balloons costs that file only; it is counted and named
here. An unexpected error of our own ('error') is a defect, and so is a reason of several lines
or with a traceback in it.

With --commands variants (tests/variants.py: well formed and odd) go through the command line:
compare, its reports, handout, contrast and revise, over the reference in force. What may come
of it: an answer, or one line for each file; within the computing time of `variants.SLOW`. A
LilyPond source is a program and is not among them.

Writes results/fuzz.json and results/fuzz_commands.json. A sample of the same runs in the tests
(test_mutants.py, test_variants.py).
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

import variants
from mutations import LIMITS, measured, seeds, wrong_reasons

from corpusreg.system.isolate import StoppedError, call_each

RESULTS = Path(__file__).parent / "results"
BATCH = 500
# Of ten variants so many go to each command.
SHARES = {
    "compare": 3.0, "contrast": 2.0, "revise": 1.5, "json": 1.0, "handout": 1.0, "full": 0.8,
    "report": 0.7,
}  # fmt: skip


def mutants(count: int, workers: int, start: int) -> dict[str, Any]:
    """Outcomes of so many mutants: counts, and every one that should not be."""
    names = list(seeds())
    counts: Counter[str] = Counter()
    found: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        items = [(names[n % len(names)], n, folder) for n in range(start, start + count)]
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
    return {"mutants": count, "seeds": len(names), "outcomes": dict(counts), "named": found}


def commands(count: int, workers: int, start: int) -> dict[str, Any]:
    """Exit codes of commands over so many variants of each format, and what is wrong."""
    codes: Counter[str] = Counter()
    tried: Counter[str] = Counter()
    found: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        cases: list[variants.Case] = []
        for family in variants.families():
            number = start
            for kind, share in SHARES.items():
                together = variants.TOGETHER.get(kind, 1)
                for _ in range(max(1, round(count * share / 10 / together))):
                    cases.append((kind, family, number, folder))
                    number += together
        for at in range(0, len(cases), BATCH):
            for answer in call_each(
                variants.tried, cases[at : at + BATCH], workers, variants.LIMITS
            ):
                kind, family = answer.item[:2]
                if answer.error is not None:
                    tried[f"{family}, {kind}"] += variants.TOGETHER.get(kind, 1)
                    codes["the command itself was stopped"] += 1
                    found.append(f"{answer.item[:3]}: {answer.error}")
                    continue
                variants_tried, code, faults = answer.result
                tried[f"{family}, {kind}"] += variants_tried
                codes[f"exit code {code}"] += 1
                found += faults
            print(f"{at + BATCH:6d} {dict(codes)} {len(found)} wrong", file=sys.stderr)
    return {
        "variants": sum(tried.values()),
        "commands": len(cases),
        "variants by format and command": dict(sorted(tried.items())),
        "outcomes": dict(sorted(codes.items())),
        "named": found,
    }


def main() -> None:
    """Run, print and keep the result."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--commands", action="store_true", help="variants, through commands")
    parser.add_argument("--count", type=int, default=20_000, help="of each format, or in all")
    parser.add_argument("--start", type=int, default=0, help="number of the first")
    options = parser.parse_args()
    run, name = (commands, "fuzz_commands") if options.commands else (mutants, "fuzz")
    began = time.perf_counter()
    result = run(options.count, os.cpu_count() or 1, options.start)
    result["seconds"] = round(time.perf_counter() - began, 1)
    print(json.dumps(result, indent=1))
    (RESULTS / f"{name}.json").write_text(json.dumps(result, indent=1) + "\n")


if __name__ == "__main__":
    main()
