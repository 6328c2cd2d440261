"""The command 'map'."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from corpusreg.commands.common import command, number_option

__all__ = ["add_maps"]


def add_maps(commands: Any) -> None:
    """Add the command."""
    map_ = command(commands, "map", "a picture of where a piece sounds, bar by bar")
    map_.add_argument("piece", type=Path, metavar="PIECE", help="a score")
    map_.add_argument(
        "other", nargs="?", type=Path, metavar="OTHER", help="another version, drawn below it"
    )
    map_.add_argument(
        "--to",
        required=True,
        type=Path,
        metavar="FILE",
        help="the picture, which ends in .svg, .png or .pdf",
    )
    map_.add_argument("--part", metavar="NAME", help="name or number of a part")
    number_option(map_)
    map_.add_argument("--wide", action="store_true", help="for a projector, 16:9")
    map_.set_defaults(run=_map)


def _map(options: argparse.Namespace) -> int:
    from corpusreg import workflow

    written = workflow.draw_map(
        options.piece,
        options.other,
        options.to,
        part=options.part,
        wide=options.wide,
        number=options.number,
    )
    for path in written:
        print(path)
    return 0
