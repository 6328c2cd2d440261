"""The commands that make a reference: 'extract', 'check', 'demo'."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from typing import Any, TextIO

from corpusreg.commands.common import command, say, trust_option

__all__ = ["add_building", "positive", "with_reference"]

_TIERS = ("noncommercial", "reserved")


def add_building(commands: Any) -> None:
    """Add the commands."""
    _extract_command(commands)

    check = command(commands, "check", "which reference is in use, and whether all is well")
    check.add_argument("--json", action="store_true", help="print JSON")
    check.set_defaults(run=_check)

    demo = command(commands, "demo", "eight pieces of an invented class, compared")
    _build_options(demo)
    demo.set_defaults(run=_demo)


def _extract_command(commands: Any) -> None:
    extract = command(commands, "extract", "measure many scores; the result is the reference")
    extract.add_argument(
        "corpora",
        nargs="*",
        metavar="CORPUS",
        help="'bundled' (the scores inside music21), the name of an added corpus, or a folder "
        "of scores; those named together make the reference, and nothing else (default: all "
        "added corpora, on top of the reference that comes with corpusreg)",
    )
    _build_options(extract)
    trust_option(extract)
    extract.add_argument(
        "--fresh",
        action="store_true",
        help="measure everything again, also what has not changed",
    )
    extract.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="measure on the workers of a Dask scheduler, as in tls://10.0.0.5:8786; with "
        "tcp:// everyone who reaches it can run programs on the workers",
    )
    extract.add_argument(
        "--shards",
        metavar="URL",
        help="keep what is measured there as well, and take what is there: a folder, "
        "s3://bucket/shards, or sftp://host/shards",
    )
    extract.set_defaults(run=_extract)


def _build_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--workers",
        type=positive,
        metavar="N",
        help="how many processes measure at once (default: one for each processor)",
    )
    parser.add_argument(
        "--licence",
        action="append",
        choices=_TIERS,
        default=[],
        metavar="TIER",
        help="also bundled works, and added corpora, that are noncommercial or reserved (you "
        "must have the right to use them); may be given twice",
    )


def positive(text: str) -> int:
    """A whole number from 1 on, for argparse."""
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"'{text}' is not a whole number from 1 on")
    return int(text)


def _extract(options: argparse.Namespace) -> int:
    _build(options, sys.stdout, options.corpora, options.fresh)
    return 0


def _build(
    options: argparse.Namespace,
    out: TextIO,
    corpora: Sequence[str] = (),
    fresh: bool = False,
) -> None:
    """Build a reference; out: where the result is told."""
    from corpusreg import workflow
    from corpusreg.store.building.cluster import protected
    from corpusreg.store.building.progress import ProgressBar

    address = getattr(options, "cluster", None)
    if address and not protected(address):
        say(
            f"{address} asks nobody who he is: whoever reaches it can run programs on every "
            "worker; in a network that others share use tls://, see DEVELOPERS.md"
        )
    progress = ProgressBar()
    try:
        built = workflow.extract(
            corpora,
            workers=getattr(options, "workers", None),
            fresh=fresh,
            tiers=(*workflow.DEFAULT_TIERS, *getattr(options, "licence", ())),
            on_progress=progress,
            cluster=address,
            shards=getattr(options, "shards", None),
        )
    finally:
        progress.close()
    for problem in built.problems:
        say(problem)
    print(
        f"Reference {built.reference_id}: {built.works:,} works "
        f"({built.measured:,} files measured, {built.kept:,} kept from before, "
        f"{built.failed:,} could not be read"
        + ("; see 'corpusreg query failures_by_reason')" if built.failed else ")"),
        file=out,
    )
    for corpus, reason, count in built.left_out:
        print(f"Left out of corpus '{corpus}': {count:,} ({reason}).", file=out)


def with_reference(options: argparse.Namespace) -> None:
    """Build the reference where there is none yet; standard output is the command's own."""
    from corpusreg.store import pointed, ships
    from corpusreg.system import settings

    if not ships() and pointed(settings.reference_folder()) is None:
        print("No reference yet: measuring the bundled corpus first.", file=sys.stderr)
        _build(options, sys.stderr)


def _check(options: argparse.Namespace) -> int:
    from corpusreg import workflow

    found = workflow.check()
    if options.json:
        print(json.dumps(found, indent=1))
        return 0 if found["ok"] else 1
    for name, value in found.items():
        if name == "counts":
            value = ", ".join(f"{count:,} {what}" for what, count in value.items())
        elif name == "damaged_shards":
            value = ", ".join(value) or "none"
        print(
            f"{name.replace('_', ' ')}: {value if name != 'ok' else 'yes' if value else 'no'}"
        )
    return 0 if found["ok"] else 1


def _demo(options: argparse.Namespace) -> int:
    from corpusreg import demo
    from corpusreg.store.building.progress import ProgressBar

    with_reference(options)
    print(demo.demo_text(), flush=True)
    progress = ProgressBar()
    try:
        told = demo.measured_text(workers=options.workers, on_progress=progress)
    finally:
        progress.close()
    print(f"\n{told}")
    return 0
