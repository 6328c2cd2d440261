"""The commands that ask the reference: 'table', 'query'."""

from __future__ import annotations

import argparse
from typing import Any

from corpusreg.commands.common import command, form_options
from corpusreg.measures.definitions import MEASURES
from corpusreg.system.errors import UsageError

__all__ = ["add_asking"]


def add_asking(commands: Any) -> None:
    """Add the commands."""
    _table_command(commands)
    _query_command(commands)


def _table_command(commands: Any) -> None:
    table = command(commands, "table", "a measure by period, ensemble, composer or corpus")
    table.epilog = "measures:\n" + "\n".join(f"  {m.name:<18}{m.title}" for m in MEASURES)
    table.add_argument("measure", metavar="MEASURE", help="one of those below")
    table.add_argument(
        "--by", required=True, metavar="GROUP", help="period, ensemble, composer or corpus"
    )
    form_options(table)
    table.set_defaults(run=_table)


def _query_command(commands: Any) -> None:
    query = command(commands, "query", "ask the reference a question, ready-made or in SQL")
    query.add_argument(
        "name",
        nargs="?",
        metavar="NAME|FILE.sql",
        help="left out: the ready-made ones are listed",
    )
    query.add_argument(
        "values", nargs="*", metavar="PARAMETER=VALUE", help="what the query asks for"
    )
    form_options(query)
    query.set_defaults(run=_query)


def _table(options: argparse.Namespace) -> int:
    from corpusreg import workflow
    from corpusreg.text.outputs.table_text import table_text
    from corpusreg.text.tabular import print_rows

    rows = workflow.table(options.measure, options.by)
    names = workflow.COLUMNS
    print_rows(names, [tuple(row[name] for name in names) for row in rows], options)
    if not (options.csv or options.json):
        left_out = workflow.ungrouped(options.measure, options.by)
        print(f"\n{table_text(options.measure, options.by, rows, left_out)}")
    return 0


def _query(options: argparse.Namespace) -> int:
    from corpusreg.text.tabular import print_rows, text_table

    if options.name is None:
        from corpusreg.store import sql

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
