"""The command line: arguments in, one call of `workflow`, text out."""

from __future__ import annotations

import argparse
import codecs
import os
import sys
import unicodedata
from collections.abc import Sequence
from typing import Any, NoReturn

from corpusreg import __version__
from corpusreg.commands.asking import add_asking
from corpusreg.commands.atlas import add_atlas
from corpusreg.commands.building import add_building
from corpusreg.commands.common import heed_trust, say
from corpusreg.commands.corpora import add_corpora
from corpusreg.commands.examples import add_examples
from corpusreg.commands.handout import add_handout
from corpusreg.commands.instruments import add_instruments
from corpusreg.commands.maps import add_maps
from corpusreg.commands.periods import add_periods
from corpusreg.commands.placing import add_compare
from corpusreg.commands.profiles import add_profiles
from corpusreg.commands.reference import add_reference
from corpusreg.commands.revising import add_revising
from corpusreg.commands.room import add_room
from corpusreg.system.errors import CorpusregError, UsageError

__all__ = ["main"]

_ABOUT = """\
How a piece uses musical space, high and low: how wide it ranges, how much it moves,
where it stays and where it shifts, and where that places it among open scores."""
_FIRST_STEPS = """\
first steps:
  corpusreg demo                    what the answers look like
  corpusreg compare my-song.mxl     a piece of your own (MusicXML, kern, ABC, MIDI, MEI)

'corpusreg COMMAND --help' says more about a command."""
_INTERRUPTED = 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code (0 done, 1 failed, 2 wrong usage)."""
    _plain_output()
    try:
        options = _parser().parse_args(arguments)
        heed_trust(options)
        code: int = options.run(options)
        sys.stdout.flush()
    except CorpusregError as error:
        say(error)
        return 2 if isinstance(error, UsageError) else 1
    except KeyboardInterrupt:
        say("stopped; what was finished is kept")
        return _INTERRUPTED
    except BrokenPipeError:
        # The reader of our output has gone; nothing more can be said to it, and
        # Python would try once more at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    return code


def _plain_output() -> None:
    """Let letters that a terminal cannot show fall back to their plain form."""

    def plain(error: UnicodeError) -> tuple[str, int]:
        if not isinstance(error, UnicodeEncodeError):
            raise error
        piece = unicodedata.normalize("NFKD", error.object[error.start : error.end])
        return piece.encode("ascii", "ignore").decode() or "?", error.end

    codecs.register_error("plain", plain)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="plain")


class _Parser(argparse.ArgumentParser):
    """Wrong usage is one line; help texts keep their lines."""

    def __init__(self, **given: Any) -> None:
        super().__init__(formatter_class=_Help, **given)

    def error(self, message: str) -> NoReturn:
        raise UsageError(f"{message}; see '{self.prog} --help'")


class _Help(argparse.RawDescriptionHelpFormatter):
    def __init__(self, prog: str, **given: Any) -> None:
        super().__init__(prog, max_help_position=26, width=88, **given)


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="corpusreg", description=_ABOUT, epilog=_FIRST_STEPS)
    parser.add_argument("--version", action="version", version=f"corpusreg {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND", title="commands")

    add_corpora(commands)
    add_building(commands)
    add_compare(commands)
    add_maps(commands)
    add_handout(commands)
    add_room(commands)
    add_instruments(commands)
    add_revising(commands)

    add_examples(commands)
    add_profiles(commands)
    add_reference(commands)
    add_periods(commands)
    add_atlas(commands)
    add_asking(commands)
    return parser


if __name__ == "__main__":
    sys.exit(main())
