"""The command 'examples'."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from corpusreg.commands.common import command

__all__ = ["add_examples"]


def add_examples(commands: Any) -> None:
    """Add the command."""
    examples = command(commands, "examples", "passages to learn from, of one kind")
    examples.add_argument(
        "kind", nargs="?", metavar="KIND", help="left out: the kinds are listed"
    )
    examples.add_argument("--ensemble", metavar="NAME", help="only works for this ensemble")
    examples.add_argument("--period", metavar="NAME", help="only works of this period")
    examples.add_argument(
        "--difficulty",
        metavar="LEVEL",
        help="easy, middle or hard: by range and notes a bar among works for the same ensemble",
    )
    examples.add_argument(
        "--licence", metavar="TIER", help="only encodings of this tier, such as open"
    )
    examples.add_argument(
        "--count", type=int, default=5, metavar="N", help="how many (5 unless said otherwise)"
    )
    form = examples.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="print JSON")
    form.add_argument(
        "--report",
        type=Path,
        metavar="FILE",
        help="write a page, into a file that ends in .html",
    )
    examples.set_defaults(run=_examples)


def _examples(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.comparison.examples import Filters
    from corpusreg.text.outputs.examples_text import (
        examples_document,
        examples_text,
        kinds_text,
    )

    if options.kind is None:
        print(kinds_text())
        return 0
    if options.report:
        from corpusreg.documents.report.writing import check_report

        check_report(options.report)
    wanted = Filters(options.ensemble, options.period, options.difficulty, options.licence)
    found = workflow.examples(options.kind, wanted, options.count)
    if options.report and found.found:
        from corpusreg.documents.pages.examples import write_examples

        write_examples(found, options.report)
        print(f"{options.report}: {len(found.found)} passages")
    elif options.json:
        print(json.dumps(examples_document(found), indent=1))
    else:
        print(examples_text(found))
    return 0 if found.found else 1
