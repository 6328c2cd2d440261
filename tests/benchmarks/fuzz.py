"""Damaged and odd scores by the thousand: `python tests/benchmarks/fuzz.py [--commands]`.

Without an option every mutant (tests/mutations.py) is measured as `corpusreg extract` measures
a file, in a bounded worker. What may come of it: works, or a row in failures with a reason of
one line. A worker that crashes, hangs or balloons costs that file only; it is counted and named
here. An unexpected error of our own ('error') is a defect, and so is a reason of several lines
or with a traceback in it.

With --commands variants (tests/variants.py: well formed and odd) go through the command line:
compare, its reports, handout, contrast and revise, over the reference in force. What may come
of it: an answer, or one line for each file; within the computing time of `variants.SLOW`.
LilyPond sources are among them where LilyPond can be run in its box.

Writes results/fuzz.json and results/fuzz_commands.json. A sample of the same runs in the tests
(test_mutants.py, test_variants.py).
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, TypeVar

sys.path.insert(0, str(Path(__file__).parents[1]))

import variants
from mutations import LIMITS, measured, seeds, wrong_reasons

from corpusreg.system.isolate import Pool, StoppedError

RESULTS = Path(__file__).parent / "results"
MUTANTS, COMMANDS = 500, 40  # after so many figures are kept
Item = TypeVar("Item")
# Of a hundred variants so many go to each command: most to the one that is given many at once.
SHARES = {
    "compare": 70, "json": 8, "contrast": 6, "revise": 5, "handout": 5, "full": 3, "report": 3,
}  # fmt: skip
SLOW_FORMAT = 0.1  # of the variants of another format so many are of LilyPond


Result = dict[str, Any]


def mutants(count: int, workers: int, start: int) -> Iterator[Result]:
    """Outcomes of so many mutants, by batch: counts, and every one that should not be."""
    names = list(seeds())
    with tempfile.TemporaryDirectory() as folder:
        items = [(names[n % len(names)], n, folder) for n in range(start, start + count)]
        for batch in _batches(items, MUTANTS):
            counts: Counter[str] = Counter()
            found: list[str] = []
            with Pool(measured, workers, LIMITS) as pool:
                answers = pool.answers(batch)
            for answer in answers:
                where = f"{answer.item[0]}:{answer.item[1]}"
                kind = Path(answer.item[0]).suffix
                if isinstance(answer.error, StoppedError):
                    counts[f"{kind} {answer.error.kind}"] += 1
                    found.append(f"{where} {answer.error.kind}: {answer.error}")
                    continue
                works, reasons = answer.result
                counts[f"{kind} {'read' if works else 'refused'}"] += 1
                found += [f"{where} reason: {r[:200]!r}" for r in wrong_reasons(reasons)]
            yield {"tried": len(batch), "outcomes": counts, "wrong": found}


def commands(count: int, workers: int, start: int) -> Iterator[Result]:
    """Exit codes of commands over so many variants of each format, and what is wrong."""
    with tempfile.TemporaryDirectory() as folder:
        cases: list[variants.Case] = []
        for family in variants.families():
            number = start
            for kind, share in SHARES.items():
                together = variants.TOGETHER.get(kind, 1)
                each = share / 100 * (SLOW_FORMAT if family == "LilyPond" else 1)
                for _ in range(max(1, round(count * each / together))):
                    cases.append((kind, family, number, together, folder))
                    number += together
        # So that what is there after some batches is of every kind.
        random.Random(start).shuffle(cases)
        for batch in _batches(cases, COMMANDS):
            codes: Counter[str] = Counter()
            tried: Counter[str] = Counter()
            found: list[str] = []
            with Pool(variants.tried, workers, variants.LIMITS) as pool:
                answers = pool.answers(batch)
            for answer in answers:
                kind, family, _, together, _ = answer.item
                tried[f"{family}, {kind}"] += together
                if answer.error is not None:
                    codes["the command itself was stopped"] += 1
                    found.append(f"{answer.item[:3]}: {answer.error}")
                    continue
                codes[f"exit code {answer.result[1]}"] += 1
                found += answer.result[2]
            yield {
                "tried": sum(tried.values()),
                "commands": len(batch),
                "variants by format and command": tried,
                "outcomes": codes,
                "wrong": found,
            }


def _batches(items: Sequence[Item], size: int) -> Iterator[Sequence[Item]]:
    for at in range(0, len(items), size):
        yield items[at : at + size]


def added(one: Result, other: Result) -> Result:
    """The figures of two runs as those of one."""
    both = dict(other)
    for name, value in one.items():
        if isinstance(value, dict):
            both[name] = dict(sorted((Counter(value) + Counter(other.get(name, {}))).items()))
        else:
            both[name] = value + other.get(name, type(value)())
    return both


def main() -> None:
    """Run, print and keep the result: after every batch, so that a run may be ended."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--commands", action="store_true", help="variants, through commands")
    parser.add_argument("--count", type=int, default=20_000, help="of each format, or in all")
    parser.add_argument("--start", type=int, default=0, help="number of the first; beyond 0 "
                        "the figures are added to those that are kept")  # fmt: skip
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    run, name = (commands, "fuzz_commands") if options.commands else (mutants, "fuzz")
    kept = RESULTS / f"{name}.json"
    result: Result = json.loads(kept.read_text()) if options.start else {}
    clock = _computing()
    for batch in run(options.count, options.workers, options.start):
        spent, clock = _computing() - clock, _computing()
        result = added(batch | {"seconds of computing": round(spent)}, result)
        kept.write_text(json.dumps(result, indent=1) + "\n")
        print(json.dumps(result, indent=1))


def _computing() -> float:
    """Seconds of this process and of its children that have ended."""
    return sum(os.times()[:4])


if __name__ == "__main__":
    main()
