"""The command 'atlas' for the command line."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from corpusreg.commands.common import command

__all__ = ["add_atlas"]


def add_atlas(commands: Any) -> None:
    """Add the command."""
    atlas = command(
        commands,
        "atlas",
        "figures of the reference for the wall: ensembles, periods, instruments",
    )
    atlas.add_argument(
        "--to",
        required=True,
        type=Path,
        metavar="FOLDER",
        help="where the sheets go (PDF, PNG, SVG), with a page of all of them",
    )
    atlas.set_defaults(run=_atlas)


def _atlas(options: argparse.Namespace) -> int:
    from corpusreg.documents.figure_pages.atlas import write_atlas
    from corpusreg.norms.atlas.study import atlas
    from corpusreg.store import open_reference

    with open_reference() as reference:
        found = atlas(reference)
    for path in write_atlas(found, options.to):
        print(path)
    return 0
