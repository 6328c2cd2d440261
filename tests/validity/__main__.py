"""Command line of the benchmark; see the package's text."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from .materials import CORPORA
from .run import benchmark, report

RESULT = Path(__file__).parent / "results" / "validity.json"


def main() -> None:
    """Run, print the table, write the result file."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.validity", description="Changed works against the measures."
    )
    parser.add_argument("--sample", type=int, default=30, help="works of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", type=Path, default=RESULT, help="result file")
    parser.add_argument(
        "--corpora", type=Path, default=CORPORA, help="folder of open corpora, if present"
    )
    given = parser.parse_args()
    corpora = given.corpora if given.corpora.is_dir() else None
    if corpora is None:
        print(f"{given.corpora} is not there: bundled scores only", file=sys.stderr)
    result = benchmark(
        given.sample, given.seed, corpora, lambda text: print(text, file=sys.stderr)
    )
    given.json.write_text(as_text(result), encoding="utf-8")
    print(report(result))


def as_text(result: dict[str, Any]) -> str:
    """JSON with one line a row, so that two results can be compared line by line."""
    fields = []
    for name, value in result.items():
        if isinstance(value, list) and value:
            inside = ",\n".join(json.dumps(row) for row in value)
            fields.append(f'"{name}": [\n{inside}\n]')
        else:
            fields.append(f'"{name}": {json.dumps(value)}')
    return "{\n" + ",\n".join(fields) + "\n}\n"


if __name__ == "__main__":
    main()
