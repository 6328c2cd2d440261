"""The commands 'contrast' and 'revise'."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from corpusreg.commands.building import with_reference
from corpusreg.commands.common import command, number_option
from corpusreg.commands.instruments import ranges_option

__all__ = ["add_revising"]


def add_revising(commands: Any) -> None:
    """Add both commands."""
    contrast = command(commands, "contrast", "a version in other registers, to hear against it")
    contrast.add_argument("piece", type=Path, metavar="PIECE", help="a score")
    contrast.add_argument("--bars", metavar="A-B", help="printed bar numbers (default: all)")
    contrast.add_argument(
        "--how",
        choices=("settled", "narrow", "open"),
        default="settled",
        help="each entry in the register before it (default), drawn together, or opened out",
    )
    contrast.add_argument(
        "--to",
        type=Path,
        action="append",
        default=[],
        metavar="FILE",
        help="write it, as .musicxml or .mid; may be given twice",
    )
    contrast.add_argument(
        "--report", type=Path, metavar="FILE", help="a page with both maps, to hear: .html"
    )
    number_option(contrast)
    ranges_option(contrast)
    contrast.add_argument("--json", action="store_true", help="print JSON")
    contrast.set_defaults(run=_contrast)

    revise = command(commands, "revise", "small changes that lead where you want to go")
    revise.add_argument("piece", type=Path, metavar="PIECE", help="a score")
    revise.add_argument(
        "--toward",
        required=True,
        metavar="INTENTION",
        help="as in 'clear before 24', 'hold bass until 24', 'lift drone at 24', 'lighter', "
        "'move more', 'move more at 24', 'narrower in 9-16', or what 'examples' prints: "
        "'shift as in WORK bar 24'",
    )
    revise.add_argument("--to", type=Path, metavar="FOLDER", help="write the options there")
    revise.add_argument(
        "--cohort", metavar="NAME=VALUE", help="place among these works only, as in compare"
    )
    number_option(revise)
    ranges_option(revise)
    revise.add_argument("--json", action="store_true", help="print JSON")
    revise.set_defaults(run=_revise)


def _contrast(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.text.outputs.revision_text import contrast_document, contrast_text

    if options.report:
        from corpusreg.documents.pages.contrast import check_contrast_page, write_contrast

        check_contrast_page(options.report)
    found = workflow.contrast(
        options.piece,
        options.how,
        bars=options.bars,
        to=options.to,
        ranges=options.ranges,
        number=options.number,
    )
    if options.report:
        write_contrast(found, options.report)
    print(
        json.dumps(contrast_document(found), indent=1) if options.json else contrast_text(found)
    )
    return 0


def _revise(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.text.outputs.revision_text import revised_document, revised_text

    workflow.intention(options.toward)  # what it says is seen before anything is built
    workflow.some_readable([options.piece])
    with_reference(options)
    found = workflow.revise(
        options.piece,
        options.toward,
        to=options.to,
        cohort=options.cohort,
        ranges=options.ranges,
        number=options.number,
    )
    print(
        json.dumps(revised_document(found), indent=1) if options.json else revised_text(found)
    )
    return 0
