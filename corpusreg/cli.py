"""The command line: arguments in, one call of `workflow`, text out."""

from __future__ import annotations

import argparse
import codecs
import json
import os
import sys
import unicodedata
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NoReturn

from corpusreg import __version__
from corpusreg.commands.corpora import add_corpora
from corpusreg.commands.instruments import add_commands, ranges_option
from corpusreg.commands.periods import add_periods
from corpusreg.commands.profiles import add_profiles
from corpusreg.definitions import BY_NAME, MEASURES, VERSION
from corpusreg.errors import CorpusregError, UsageError

__all__ = ["main"]

_ABOUT = """\
How a piece uses musical space, high and low: how wide it ranges, how much it moves,
where it stays and where it shifts, and where that places it among open scores."""
_FIRST_STEPS = """\
first steps:
  corpusreg demo                    what the answers look like
  corpusreg compare my-song.mxl     a piece of your own (MusicXML, kern, ABC, MIDI, MEI)

'corpusreg COMMAND --help' says more about a command."""
_TIERS = ("noncommercial", "reserved")
_INTERRUPTED = 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code (0 done, 1 failed, 2 wrong usage)."""
    _plain_output()
    try:
        options = _parser().parse_args(arguments)
        code: int = options.run(options)
        sys.stdout.flush()
    except CorpusregError as error:
        _say(error)
        return 2 if isinstance(error, UsageError) else 1
    except KeyboardInterrupt:
        _say("stopped; what was finished is kept")
        return _INTERRUPTED
    except BrokenPipeError:
        # The reader of our output has gone; nothing more can be said to it, and
        # Python would try once more at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    return code


def _say(problem: object) -> None:
    """A problem in one line, whatever signs a file name may bring in."""
    print("corpusreg:", " ".join(str(problem).split()), file=sys.stderr)


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

    add_corpora(commands, _command, _form_options)
    _extract_command(commands)
    _compare_command(commands)
    add_commands(commands, _command)

    check = _command(commands, "check", "which reference is in use, and whether all is well")
    check.add_argument("--json", action="store_true", help="print JSON")
    check.set_defaults(run=_check)

    add_profiles(commands, _command)
    add_periods(commands, _command)
    _table_command(commands)
    _query_command(commands)

    demo = _command(commands, "demo", "eight pieces of an invented class, compared")
    _build_options(demo)
    demo.set_defaults(run=_demo)
    return parser


def _extract_command(commands: Any) -> None:
    extract = _command(commands, "extract", "measure many scores; the result is the reference")
    extract.add_argument(
        "corpora",
        nargs="*",
        metavar="CORPUS",
        help="'bundled' (the scores inside music21; the default) or a folder of scores; "
        "all that are named together make the reference",
    )
    _build_options(extract)
    extract.add_argument(
        "--fresh",
        action="store_true",
        help="measure everything again, also what has not changed",
    )
    extract.set_defaults(run=_extract)


def _compare_command(commands: Any) -> None:
    compare = _command(commands, "compare", "where a piece lies among the measured works")
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
    compare.add_argument("--json", action="store_true", help="print JSON")
    compare.set_defaults(run=_compare)


def _table_command(commands: Any) -> None:
    table = _command(commands, "table", "a measure by period, ensemble, composer or corpus")
    table.epilog = "measures:\n" + "\n".join(f"  {m.name:<18}{m.title}" for m in MEASURES)
    table.add_argument("measure", metavar="MEASURE", help="one of those below")
    table.add_argument(
        "--by", required=True, metavar="GROUP", help="period, ensemble, composer or corpus"
    )
    _form_options(table)
    table.set_defaults(run=_table)


def _query_command(commands: Any) -> None:
    query = _command(commands, "query", "ask the reference a question, ready-made or in SQL")
    query.add_argument(
        "name",
        nargs="?",
        metavar="NAME|FILE.sql",
        help="left out: the ready-made ones are listed",
    )
    query.add_argument(
        "values", nargs="*", metavar="PARAMETER=VALUE", help="what the query asks for"
    )
    _form_options(query)
    query.set_defaults(run=_query)


def _command(commands: Any, name: str, words: str) -> argparse.ArgumentParser:
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=words, description=words[0].upper() + words[1:] + "."
    )
    return parser


def _build_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--workers",
        type=_positive,
        metavar="N",
        help="how many processes measure at once (default: one for each processor)",
    )
    parser.add_argument(
        "--licence",
        action="append",
        choices=_TIERS,
        default=[],
        metavar="TIER",
        help="also bundled works that are noncommercial, or reserved (you must have the right "
        "to use them); may be given twice",
    )


def _form_options(parser: argparse.ArgumentParser) -> None:
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--csv", action="store_true", help="print comma-separated values")
    form.add_argument("--json", action="store_true", help="print JSON")


def _positive(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"'{text}' is not a whole number from 1 on")
    return int(text)


def _extract(options: argparse.Namespace) -> int:
    _build(options, options.corpora, options.fresh)
    return 0


def _build(
    options: argparse.Namespace, corpora: Sequence[str] = (), fresh: bool = False
) -> None:
    from corpusreg import workflow
    from corpusreg.building.progress import ProgressBar

    progress = ProgressBar()
    try:
        built = workflow.extract(
            corpora,
            workers=getattr(options, "workers", None),
            fresh=fresh,
            tiers=(*workflow.DEFAULT_TIERS, *getattr(options, "licence", ())),
            on_progress=progress,
        )
    finally:
        progress.close()
    for problem in built.problems:
        _say(problem)
    print(
        f"Reference {built.reference_id}: {built.works:,} works "
        f"({built.measured:,} files measured, {built.kept:,} kept from before, "
        f"{built.failed:,} could not be read"
        + ("; see 'corpusreg query failures_by_reason')" if built.failed else ")"),
        file=sys.stderr,
    )


def _with_reference(options: argparse.Namespace) -> None:
    """Build the reference where there is none yet."""
    from corpusreg import settings
    from corpusreg.store import pointed

    if pointed(settings.reference_folder()) is None:
        print("No reference yet: measuring the bundled corpus first.", file=sys.stderr)
        _build(options)


def _compare(options: argparse.Namespace) -> int:
    from corpusreg import workflow

    workflow.some_readable(options.pieces)
    _with_reference(options)
    found = workflow.compare_paths(
        options.pieces,
        cohort=options.cohort,
        as_written=options.as_written,
        ranges=options.ranges,
    )
    if options.json:
        from corpusreg.outputs.document import document

        print(
            json.dumps(
                document(found.comparisons, found.failures, found.reference_id, VERSION),
                indent=1,
            )
        )
    elif found.comparisons:
        _print_comparisons(found.comparisons, found.reference_id)
    for failure in found.failures:
        _say(failure)
    return 1 if found.failures else 0


def _print_comparisons(comparisons: Sequence[Any], reference_id: str) -> None:
    from corpusreg.outputs.console import comparison_text

    rule = "\n\n" + "=" * 88 + "\n\n"
    print(rule.join(comparison_text(each, reference_id, VERSION) for each in comparisons))


def _check(options: argparse.Namespace) -> int:
    from corpusreg import workflow

    found = workflow.check()
    if options.json:
        print(json.dumps(found, indent=1))
        return 0 if found["ok"] else 1
    for name, value in found.items():
        if name == "counts":
            value = ", ".join(f"{count:,} {what}" for what, count in value.items())
        print(
            f"{name.replace('_', ' ')}: {value if name != 'ok' else 'yes' if value else 'no'}"
        )
    return 0 if found["ok"] else 1


def _table(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.tabular import print_rows

    rows = workflow.table(options.measure, options.by)
    names = ["group", "works", "units", "p10", "p25", "p50", "p75", "p90"]
    print_rows(names, [tuple(row[name] for name in names) for row in rows], options)
    if not (options.csv or options.json):
        measure = BY_NAME[options.measure]
        print(f"\n{measure.title} [{measure.unit}]: {measure.meaning}.")
        print("p50 is the middle value; one work in ten lies below p10, one in ten above p90.")
        print(
            "Every composer counts the same, however many works (units: composers or sources)."
        )
    return 0


def _query(options: argparse.Namespace) -> int:
    from corpusreg.tabular import print_rows, text_table

    if options.name is None:
        from corpusreg import sql

        print(
            text_table(["query", "what it answers"], [(q.name, q.title) for q in sql.listed()])
        )
        return 0
    from corpusreg import workflow

    given = {}
    for pair in options.values:
        name, sign, value = pair.partition("=")
        if not sign:
            raise UsageError(f"'{pair}' is not understood; write PARAMETER=VALUE")
        given[name] = value
    result, wanted = workflow.query(options.name, given)
    print_rows(result.names, result.rows, options)
    if wanted.columns and not (options.csv or options.json):
        print()
        print(text_table(["column", "meaning"], [(c.name, c.words) for c in wanted.columns]))
    return 0


def _demo(options: argparse.Namespace) -> int:
    from corpusreg import demo

    _with_reference(options)
    print(demo.demo_text())
    return 0


if __name__ == "__main__":
    sys.exit(main())
