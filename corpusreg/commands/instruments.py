"""The commands about instruments, 'heights' and 'ranges', for the command line."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from corpusreg.commands.common import command, number_option

__all__ = ["add_instruments", "ranges_option"]


def add_instruments(commands: Any) -> None:
    """Add both commands."""
    heights = command(commands, "heights", "how high a passage lies on this or that instrument")
    heights.add_argument("piece", type=Path, metavar="PIECE", help="a score")
    heights.add_argument(
        "--bars", required=True, metavar="A-B", help="printed bar numbers, as in 5-8"
    )
    heights.add_argument(
        "--part", metavar="NAME", help="name or number of a part, where there are several"
    )
    heights.add_argument(
        "--on",
        metavar="A,B",
        help="instruments, as in flute,bassoon (default: those of the piece)",
    )
    heights.add_argument(
        "--level", choices=("student", "professional"), help="default: both of them"
    )
    number_option(heights)
    ranges_option(heights)
    heights.add_argument(
        "--picture",
        type=Path,
        metavar="FILE",
        help="draw it too, into a file that ends in .png, .svg or .pdf",
    )
    heights.add_argument("--json", action="store_true", help="print JSON")
    heights.set_defaults(run=_heights)

    ranges = command(commands, "ranges", "the table of instruments, and where it comes from")
    ranges.add_argument(
        "instrument", nargs="?", metavar="INSTRUMENT", help="one of them, with all that is told"
    )
    ranges_option(ranges)
    ranges.add_argument("--json", action="store_true", help="print JSON")
    ranges.set_defaults(run=_ranges)


def ranges_option(parser: argparse.ArgumentParser) -> None:
    """A user's own table."""
    parser.add_argument(
        "--ranges",
        type=Path,
        metavar="FILE.csv",
        help="your own ranges, which replace or join those of the table",
    )


def _heights(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.text.outputs.heights_text import passage_document, passage_text

    found = workflow.heights(
        options.piece,
        options.bars,
        part=options.part,
        on=[name.strip() for name in (options.on or "").split(",") if name.strip()],
        level=options.level,
        ranges=options.ranges,
        number=options.number,
    )
    if options.picture:
        from corpusreg.documents.figures.heights import write_heights

        write_heights(found, options.picture)
    print(
        json.dumps(passage_document(found), indent=1) if options.json else passage_text(found)
    )
    return 0


def _ranges(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.text.outputs.ranges_text import ranges_document, ranges_text, row_text

    rows, table = workflow.ranges(options.instrument, options.ranges)
    if options.json:
        print(json.dumps(ranges_document(rows, table), indent=1))
    elif options.instrument:
        print("\n\n".join(row_text(row, table) for row in rows))
    else:
        print(ranges_text(rows))
        print("\nThe first three are sounding, 'written' is the professional range on paper.")
        print("All that is told of one instrument: 'corpusreg ranges INSTRUMENT'.")
    return 0
