"""The command line: arguments in, one call of `workflow`, text out."""

from __future__ import annotations

import argparse
import codecs
import json
import sys
import time
import unicodedata
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corpusreg import __version__
from corpusreg.definitions import BY_NAME, VERSION
from corpusreg.errors import CorpusregError, StoreError, UsageError

if TYPE_CHECKING:
    from corpusreg.batch import Progress

__all__ = ["main"]

_TIERS = ("noncommercial", "reserved")
_INTERRUPTED = 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code (0 done, 1 failed, 2 wrong usage)."""
    _plain_output()
    options = _parser().parse_args(arguments)
    try:
        code: int = options.run(options)
    except CorpusregError as error:
        print(f"corpusreg: {error}", file=sys.stderr)
        return 2 if isinstance(error, UsageError) else 1
    except KeyboardInterrupt:
        print("corpusreg: stopped; what was finished is kept", file=sys.stderr)
        return _INTERRUPTED
    except BrokenPipeError:
        sys.stderr.close()
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


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="corpusreg",
        description="How a piece uses musical space, placed among open scores.",
    )
    parser.add_argument("--version", action="version", version=f"corpusreg {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    corpora = commands.add_parser("corpora", help="the scores that can be measured")
    inner = corpora.add_subparsers(required=True, metavar="ACTION")
    listing = inner.add_parser("list", help="works by collection and licence, and why")
    listing.set_defaults(run=_corpora_list)

    extract = commands.add_parser("extract", help="measure corpora and publish a reference")
    extract.add_argument(
        "corpora", nargs="*", metavar="CORPUS", help="'bundled' (the default) or a folder of scores"
    )
    _build_options(extract)
    extract.add_argument("--fresh", action="store_true", help="measure everything again")
    extract.set_defaults(run=_extract)

    compare = commands.add_parser("compare", help="place pieces among the reference")
    compare.add_argument("pieces", nargs="+", type=Path, metavar="PIECE", help="scores or folders")
    compare.add_argument(
        "--cohort", metavar="NAME=VALUE", help="compare with these works, as in ensemble=piano,period=romantic"
    )
    compare.add_argument("--as-written", action="store_true", help="do not unfold repeats")
    compare.add_argument("--json", action="store_true", help="print JSON")
    compare.set_defaults(run=_compare)

    check = commands.add_parser("check", help="the present reference and whether all is well")
    check.add_argument("--json", action="store_true", help="print JSON")
    check.set_defaults(run=_check)

    table = commands.add_parser("table", help="percentiles of a measure by group")
    table.add_argument("measure", metavar="MEASURE", help=", ".join(BY_NAME))
    table.add_argument("--by", required=True, metavar="GROUP", help="period, ensemble, composer or corpus")
    _form_options(table)
    table.set_defaults(run=_table)

    query = commands.add_parser("query", help="ask the reference in SQL")
    query.add_argument("name", nargs="?", metavar="NAME|FILE.sql", help="without it, the queries are listed")
    query.add_argument("values", nargs="*", metavar="PARAMETER=VALUE")
    _form_options(query)
    query.set_defaults(run=_query)

    demo = commands.add_parser("demo", help="an invented class of eight pieces, compared")
    _build_options(demo)
    demo.set_defaults(run=_demo)
    return parser


def _build_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--workers", type=_positive, metavar="N", help="processes (default: all processors)")
    parser.add_argument(
        "--licence", action="append", choices=_TIERS, default=[], help="add bundled works of this tier"
    )


def _form_options(parser: argparse.ArgumentParser) -> None:
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--csv", action="store_true", help="print comma-separated values")
    form.add_argument("--json", action="store_true", help="print JSON")


def _positive(text: str) -> int:
    number = int(text)
    if number < 1:
        raise ValueError
    return number


def _corpora_list(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.tabular import text_table

    rows = workflow.corpora_list()
    print(text_table(
        ["collection", "licence tier", "files", "works", "why"],
        [(r.name, r.tier, r.files, r.works, r.reason) for r in rows],
    ))
    totals: dict[str, int] = {}
    for row in rows:
        totals[row.tier] = totals.get(row.tier, 0) + row.works
    print("\nIn all: " + ", ".join(f"{count:,} {tier}" for tier, count in totals.items()))
    print("The default reference takes open and permitted; --licence adds the others.")
    return 0


def _extract(options: argparse.Namespace) -> int:
    _build(options, options.corpora, options.fresh)
    return 0


def _build(options: argparse.Namespace, corpora: Sequence[str] = (), fresh: bool = False) -> None:
    from corpusreg import workflow

    progress = _ProgressBar()
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
        print(f"corpusreg: {problem}", file=sys.stderr)
    print(
        f"Reference {built.reference_id}: {built.works:,} works "
        f"({built.measured:,} files measured, {built.kept:,} kept from before, "
        f"{built.failed:,} could not be read"
        + ("; see 'corpusreg query failures')" if built.failed else ")"),
        file=sys.stderr,
    )


class _ProgressBar:
    """Works, rate, time left and failures on one line of a terminal, else now and then."""

    def __init__(self) -> None:
        self._terminal = sys.stderr.isatty()
        self._next = 0.0

    def __call__(self, progress: Progress) -> None:
        now = time.monotonic()
        if now < self._next and progress.done < progress.total:
            return
        self._next = now + (0.2 if self._terminal else 10.0)
        share = progress.bytes_done / max(progress.bytes_total, 1)
        left = progress.seconds * (1 - share) / share if share else 0.0
        rate = progress.works / max(progress.seconds, 1e-9)
        filled = int(24 * share)
        line = (
            f"[{'#' * filled}{'.' * (24 - filled)}] {progress.works:,} works, "
            f"{rate:.0f} a second, {left:.0f} s left, {progress.failed:,} failed"
        )
        print(f"\r{line:<78}" if self._terminal else line, end="" if self._terminal else "\n",
              file=sys.stderr, flush=True)

    def close(self) -> None:
        """End the line."""
        if self._terminal and self._next:
            print(file=sys.stderr)


def _with_reference(options: argparse.Namespace) -> None:
    """Build the reference where there is none yet."""
    from corpusreg import settings
    from corpusreg.store import pointed

    if pointed(settings.reference_folder()) is None:
        print("No reference yet: measuring the bundled corpus first.", file=sys.stderr)
        _build(options)


def _compare(options: argparse.Namespace) -> int:
    from corpusreg import workflow

    workflow.score_files(options.pieces)
    _with_reference(options)
    found = workflow.compare_paths(
        options.pieces, cohort=options.cohort, as_written=options.as_written
    )
    if options.json:
        from corpusreg.document import document

        print(json.dumps(
            document(found.comparisons, found.failures, found.reference_id, VERSION), indent=1
        ))
    else:
        _print_comparisons(found.comparisons, found.reference_id)
    for failure in found.failures:
        print(f"corpusreg: {failure}", file=sys.stderr)
    return 1 if found.failures else 0


def _print_comparisons(comparisons: Sequence[Any], reference_id: str) -> None:
    from corpusreg.console import comparison_text

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
        print(f"{name.replace('_', ' ')}: {value if name != 'ok' else 'yes' if value else 'no'}")
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
        print("Every composer counts the same, however many works (units: composers or sources).")
    return 0


def _query(options: argparse.Namespace) -> int:
    from corpusreg.tabular import print_rows, text_table

    if options.name is None:
        from corpusreg import sql

        print(text_table(["query", "what it answers"], [(q.name, q.title) for q in sql.listed()]))
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
    return 0


def _demo(options: argparse.Namespace) -> int:
    from corpusreg import demo

    _with_reference(options)
    print(demo.demo_text())
    return 0


if __name__ == "__main__":
    sys.exit(main())
