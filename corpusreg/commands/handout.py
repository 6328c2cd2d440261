"""The command 'handout'."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import Any

from corpusreg.commands.building import positive, with_reference
from corpusreg.commands.common import command, say

__all__ = ["add_handout"]


def add_handout(commands: Any) -> None:
    """Add the command."""
    sheets = command(
        commands, "handout", "sheets for a class: overview, one a piece, teacher's"
    )
    sheets.add_argument(
        "folder", type=Path, metavar="CLASS_FOLDER", help="the folder of the class's pieces"
    )
    sheets.add_argument(
        "--to", type=Path, required=True, metavar="OUT_FOLDER", help="where the sheets go"
    )
    sheets.add_argument(
        "--measures", metavar="A,B", help="measures to speak of, as in span,shift_rate"
    )
    sheets.add_argument(
        "--roster",
        type=Path,
        metavar="FILE.csv",
        help="who wrote which piece, a table with the columns file, name, code",
    )
    sheets.add_argument(
        "--codes", action="store_true", help="print the roster's codes and keep names out"
    )
    sheets.add_argument(
        "--paper", choices=("a4", "letter"), default="a4", help="size of the sheets"
    )
    sheets.add_argument(
        "--cohort", metavar="NAME=VALUE", help="compare with these works only, as in compare"
    )
    sheets.add_argument(
        "--workers", type=positive, default=2, metavar="N", help="processes at once (default 2)"
    )
    sheets.set_defaults(run=_handout)


def _handout(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.documents.handout.writing import handout

    workflow.some_readable([options.folder])
    with_reference(options)
    made = handout(
        options.folder,
        options.to,
        measures=re.split(r"[,\s]+", options.measures.strip()) if options.measures else None,
        roster=options.roster,
        codes=options.codes,
        paper=options.paper,
        cohort=options.cohort,
        workers=options.workers,
    )
    sheets = "1 sheet" if made.pieces == 1 else f"{made.pieces} sheets"
    print(f"{options.to}: {sheets}, an overview, and a sheet for the teacher")
    for line in (*made.remarks, *made.problems):
        say(line)
    return 1 if made.problems else 0
