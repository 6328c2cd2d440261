"""The commands about corpora for the command line."""

from __future__ import annotations

import argparse
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corpusreg.commands.building import positive
from corpusreg.commands.common import command, form_options, say, trust_option

if TYPE_CHECKING:
    from corpusreg.corpus.corpora import Entry
    from corpusreg.workflow import Change

__all__ = ["add_corpora"]


def add_corpora(commands: Any) -> None:
    """Add the command."""
    corpora = command(commands, "corpora", "which scores can be measured, and their licences")
    inner = corpora.add_subparsers(required=True, metavar="ACTION", title="actions")
    listing = command(inner, "list", "works by collection and licence, and why")
    listing.set_defaults(run=_corpora_list)
    getting = command(inner, "get", "fetch an open corpus of the catalogue, and measure it")
    getting.add_argument("corpus", metavar="NAME", help="as 'corpora list' has it")
    _workers(getting)
    trust_option(getting)
    getting.set_defaults(run=_corpora_get)
    adding = command(inner, "add", "measure a folder of scores, or what has changed in it")
    adding.add_argument("path", type=Path, metavar="PATH", help="the folder")
    adding.add_argument(
        "--name",
        dest="corpus",
        help="what to call it (default: as the folder); the name of a corpus of the "
        "catalogue says that this is that corpus",
    )
    _workers(adding)
    trust_option(adding)
    adding.set_defaults(run=_corpora_add)
    template = command(
        inner, "template", "write a metadata table for a folder, to be filled in"
    )
    template.add_argument("path", type=Path, metavar="PATH", help="the folder")
    template.set_defaults(run=_corpora_template)
    showing = command(inner, "show", "one corpus: licence, source, what was left out and why")
    showing.add_argument("corpus", metavar="NAME")
    showing.set_defaults(run=_corpora_show)
    removing = command(inner, "remove", "take the works of a corpus out of the reference")
    removing.add_argument("corpus", metavar="NAME")
    _workers(removing)
    removing.set_defaults(run=_corpora_remove)
    covering = command(inner, "coverage", "where the reference is thin, and what would help")
    form_options(covering)
    covering.set_defaults(run=_corpora_coverage)
    twice = command(inner, "duplicates", "the same music found twice, and which copy counts")
    form_options(twice)
    twice.set_defaults(run=_corpora_duplicates)


def _workers(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--workers",
        type=positive,
        metavar="N",
        help="how many processes measure at once (default: one for each processor)",
    )


def _corpora_list(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.text.tabular import text_table

    rows, others = workflow.corpora_list()
    reasons = {
        reason: str(n) for n, reason in enumerate(dict.fromkeys(r.reason for r in rows), 1)
    }
    names = ["collection", "licence tier", "files", "works", "why"]
    print(
        text_table(names, [(r.name, r.tier, r.files, r.works, reasons[r.reason]) for r in rows])
    )
    print()
    print(
        text_table(
            ["why", "what the files or the package say"], [(n, r) for r, n in reasons.items()]
        )
    )
    totals: dict[str, int] = {}
    for row in rows:
        totals[row.tier] = totals.get(row.tier, 0) + row.works
    print("\nWorks in all: " + ", ".join(f"{count:,} {tier}" for tier, count in totals.items()))
    print("The reference takes open and permitted; 'extract --licence TIER' adds the others.")
    print("\nOther corpora; 'corpora show NAME' tells more.\n")
    table = []
    for entry, added in others:
        state = f"added, {added.path}" if added else _how(entry)
        name = entry.name if entry else added.name if added else ""
        tier = "each its own" if _each_its_own(entry) else entry.tier if entry else "yours"
        files = f"{entry.files:,}" if entry and entry.files else ""
        table.append((name, tier, files, state))
    print(text_table(["corpus", "licence tier", "files", "state"], table))
    return 0


def _how(entry: Entry | None) -> str:
    return f"corpora get {entry.name}" if entry and entry.on else "not fetched"


def _each_its_own(entry: Entry | None) -> bool:
    """Whether the works of a corpus are under licences of their own."""
    return entry is not None and entry.on and entry.tier not in entry.allowed


def _corpora_get(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.store.building.progress import FetchBar, ProgressBar

    fetching, measuring = FetchBar(), ProgressBar()
    try:
        change = workflow.get_corpus(
            options.corpus, workers=options.workers, on_fetch=fetching, on_progress=measuring
        )
    finally:
        fetching.close()
        measuring.close()
    return _tell(change)


def _corpora_add(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.store.building.progress import ProgressBar

    progress = ProgressBar()
    try:
        change = workflow.add_corpus(
            options.path, options.corpus, workers=options.workers, on_progress=progress
        )
    finally:
        progress.close()
    return _tell(change)


def _tell(change: Change) -> int:
    built = change.built
    for problem in built.problems if built else ():
        say(problem)
    if built is None:
        print(f"Corpus '{change.name}': nothing has changed; {change.works:,} works.")
    else:
        print(
            f"Corpus '{change.name}': {change.works:,} works in the reference "
            f"({built.measured:,} files measured, {built.kept:,} kept from before, of all "
            "corpora together)."
        )
    _tell_left_out(change.left_out)
    if built and built.failed:
        print(f"{built.failed:,} could not be read; see 'corpusreg query failures_by_reason'.")
    return 0


def _tell_left_out(left_out: tuple[tuple[str, int], ...]) -> None:
    for reason, count in left_out:
        print(f"Left out: {count:,} ({reason}).")


def _corpora_template(options: argparse.Namespace) -> int:
    from corpusreg import workflow

    path = workflow.corpora_template(options.path)
    print(f"Wrote {path}. Fill in what you know, then 'corpusreg corpora add {options.path}'.")
    return 0


def _corpora_show(options: argparse.Namespace) -> int:
    from corpusreg import workflow

    shown = workflow.show_corpus(options.corpus)
    for problem in shown.problems:
        say(problem)
    entry = shown.entry
    lines = [("corpus", shown.name)]
    if entry is not None:
        lines += [
            ("title", entry.title),
            ("holds", entry.holds),
            ("licence", f"{entry.tier}: {entry.statement}"),
            ("evidence", entry.evidence),
            ("source", entry.repository or "not fetched by corpusreg"),
            ("revision", entry.revision or "none"),
            ("years", entry.dates),
            ("expected", f"{entry.files:,} files" if entry.files else "not counted"),
        ]
        lines += [("excluded", f"{glob}: {why}") for glob, why in entry.exclude]
        lines += [] if shown.added else [("to get it", _to_get(entry))]
    else:
        lines += [("licence", "your own choice; nothing is left out")]
    if shown.added:
        lines += [
            ("folder", str(shown.added.path)),
            ("files", f"{shown.files:,} to measure"),
            *(("left out", f"{count:,}: {reason}") for reason, count in shown.left_out),
            ("reference", f"{shown.works:,} works by {shown.composers:,} composers"),
            ("not read", f"{shown.failed:,}"),
        ]
    for name, text in lines:
        print(textwrap.fill(text, 88, initial_indent=f"{name:<11}", subsequent_indent=" " * 11,
                            break_long_words=False, break_on_hyphens=False))  # fmt: skip
    return 0


def _to_get(entry: Entry) -> str:
    fetched = f"corpusreg corpora get {entry.name}, or " if entry.on else ""
    return fetched + entry.instructions


def _corpora_remove(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.store.building.progress import ProgressBar

    progress = ProgressBar()
    try:
        change = workflow.remove_corpus(
            options.corpus, workers=options.workers, on_progress=progress
        )
    finally:
        progress.close()
    print(f"Corpus '{change.name}' is removed.", end=" ")
    print(f"Deleted {change.deleted}." if change.deleted else "Its folder was not touched.")
    if change.built:
        print(f"Reference {change.built.reference_id}: {change.built.works:,} works.")
    return 0


def _corpora_coverage(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.text.outputs.coverage_text import coverage_text
    from corpusreg.text.tabular import print_rows

    found = workflow.coverage()
    if options.csv or options.json:
        print_rows(found.names, found.rows, options)
    else:
        print(coverage_text(found))
    return 0


def _corpora_duplicates(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.text.tabular import print_rows

    result, _ = workflow.query("copies", {})
    print_rows(result.names, result.rows, options)
    if not (options.csv or options.json):
        kept = len({row[result.names.index("counts")] for row in result.rows})
        print(
            f"\n{len(result.rows):,} copies of {kept:,} works; in every table each counts once."
        )
        print(
            "Of copies the one with the freest licence counts, then the one with most notes,\n"
            "so that a whole counts before its parts."
        )
    return 0
