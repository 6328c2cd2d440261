"""The command 'compare'."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corpusreg.commands.building import with_reference
from corpusreg.commands.common import command, say, trust_option
from corpusreg.commands.instruments import ranges_option
from corpusreg.system.errors import UsageError

if TYPE_CHECKING:
    from corpusreg.workflow import Compared

__all__ = ["add_compare"]

_RULE = "\n\n" + "=" * 88 + "\n\n"


def add_compare(commands: Any) -> None:
    """Add the command."""
    compare = command(commands, "compare", "where a piece lies among the measured works")
    compare.add_argument(
        "pieces", nargs="+", type=Path, metavar="PIECE", help="a score, or a folder of scores"
    )
    compare.add_argument(
        "--cohort",
        metavar="NAME=VALUE",
        help="compare with these works only, as in ensemble=piano,period=romantic",
    )
    compare.add_argument(
        "--as-written", action="store_true", help="keep the page's order, repeats not played"
    )
    ranges_option(compare)
    compare.add_argument(
        "--report",
        type=Path,
        metavar="FILE",
        help="write a page to read and hand out, into a file that ends in .html or .pdf",
    )
    compare.add_argument(
        "--paper", choices=("a4", "letter"), help="size of the report on paper (PDF: a4)"
    )
    compare.add_argument(
        "--against",
        type=Path,
        metavar="EARLIER",
        help="an earlier draft of the piece: what changed, and where",
    )
    compare.add_argument(
        "--full", action="store_true", help="print all measures, events, stays and players"
    )
    compare.add_argument("--json", action="store_true", help="print JSON")
    trust_option(compare)
    compare.set_defaults(run=_compare)


def _compare(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.documents.report.writing import check_report, write_report

    if options.report:
        check_report(options.report)
    elif options.paper:
        raise UsageError("--paper is for a report; add --report FILE.pdf or FILE.html")
    workflow.one_draft(options.pieces, options.against)
    workflow.some_readable([*options.pieces, *([options.against] if options.against else [])])
    with_reference(options)
    found = workflow.compare_paths(
        options.pieces,
        cohort=options.cohort,
        as_written=options.as_written,
        ranges=options.ranges,
        with_study=True,
        against=options.against,
    )
    if options.report and found.comparisons:
        remarks = write_report(
            found.comparisons, found.failures, found.reference_id, options.report,
            studied=found.studied, drafts=found.drafts, paper=options.paper,
        )  # fmt: skip
        for remark in remarks:
            say(f"{options.report}: {remark}")
    if options.json:
        from corpusreg.text.outputs.document import document

        told = document(
            found.comparisons,
            found.failures,
            found.reference_id,
            found.studied,
            found.drafts,
        )
        print(json.dumps(told, indent=1))
    elif options.report:
        _say_written(len(found.comparisons), options.report)
    elif found.drafts:
        _print_drafts(found)
    elif found.comparisons:
        _print_comparisons(found, full=options.full)
    for failure in found.failures:
        say(failure)
    return 1 if found.failures else 0


def _say_written(works: int, path: Path) -> None:
    if works:
        print(f"{path}: {'a piece' if works == 1 else f'{works} pieces'}")


def _print_drafts(found: Compared) -> None:
    from corpusreg.text.outputs.drafts_text import drafts_text

    print(_RULE.join(drafts_text(d, found.reference_id) for d in found.drafts))


def _print_comparisons(found: Compared, *, full: bool) -> None:
    """One piece with its map, several in a table; full: each with all its details."""
    from corpusreg.text.outputs.console import class_text, comparison_text
    from corpusreg.text.outputs.examples_text import study_text

    if len(found.comparisons) > 1 and not full:
        print(class_text(found.comparisons))
        return
    texts = [
        comparison_text(each, found.reference_id, full=full)
        + (study_text(each, *studied) if full else "")
        for each, studied in zip(found.comparisons, found.studied, strict=True)
    ]
    print(_RULE.join(texts))
