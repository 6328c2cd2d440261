"""The commands about corpora for the command line."""

from __future__ import annotations

import argparse
from typing import Any

from corpusreg.commands.common import command, form_options

__all__ = ["add_corpora"]


def add_corpora(commands: Any) -> None:
    """Add the command."""
    corpora = command(commands, "corpora", "which scores can be measured, and their licences")
    inner = corpora.add_subparsers(required=True, metavar="ACTION", title="actions")
    listing = command(inner, "list", "works by collection and licence, and why")
    listing.set_defaults(run=_corpora_list)
    twice = command(inner, "duplicates", "the same music found twice, and which copy counts")
    form_options(twice)
    twice.set_defaults(run=_corpora_duplicates)


def _corpora_list(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.tabular import text_table

    rows = workflow.corpora_list()
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
    return 0


def _corpora_duplicates(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.tabular import print_rows

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
