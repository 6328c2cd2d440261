"""What several commands share: how a command is added, common options, one-line problems."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from corpusreg.system import settings
from corpusreg.system.phrases import capital
from corpusreg.system.plaintext import plain

__all__ = ["command", "form_options", "heed_trust", "number_option", "say", "trust_option"]


def command(commands: Any, name: str, words: str) -> argparse.ArgumentParser:
    """A parser for the command `name`; words: what it does, as listed."""
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=words, description=capital(words) + "."
    )
    return parser


def form_options(parser: argparse.ArgumentParser) -> None:
    """Other forms of a table."""
    form = parser.add_mutually_exclusive_group()
    form.add_argument(
        "--csv", action="store_true", help="print comma-separated values, for a spreadsheet"
    )
    form.add_argument("--json", action="store_true", help="print JSON, texts as they were read")


def number_option(parser: argparse.ArgumentParser) -> None:
    """One work of a file that holds several."""
    parser.add_argument(
        "--number", metavar="N", help="which work of a file of several, as compare numbers them"
    )


def trust_option(parser: argparse.ArgumentParser) -> None:
    """Let scores that are programs run where there is no sandbox."""
    parser.add_argument(
        "--trust",
        action="store_true",
        help="run LilyPond sources without a sandbox: they are programs and can do anything "
        "that you can do, so only for scores whose writers you trust",
    )


def heed_trust(options: argparse.Namespace) -> None:
    """Pass a user's trust on to whatever reads scores, also in other processes."""
    if getattr(options, "trust", False):
        settings.trust()


def say(problem: object) -> None:
    """A problem in one line, whatever signs a file name may bring in."""
    print("corpusreg:", plain(str(problem)), file=sys.stderr)
