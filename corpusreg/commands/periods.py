"""The command 'periods' for the command line."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from corpusreg.commands.common import command, form_options
from corpusreg.measures.definitions import MEASURES

__all__ = ["add_periods"]


def add_periods(commands: Any) -> None:
    """Add the command."""
    periods = command(
        commands, "periods", "what differs between periods, and whether it survives a test"
    )
    periods.epilog = "measures:\n" + "\n".join(f"  {m.name:<18}{m.title}" for m in MEASURES)
    periods.add_argument(
        "measures",
        nargs="*",
        metavar="MEASURE",
        help="some of those below; all when left out. The correction is for all of them "
        "either way",
    )
    periods.add_argument(
        "--ensemble", metavar="KIND", help="works for one ensemble only, as in piano"
    )
    periods.add_argument(
        "--report",
        type=Path,
        metavar="FILE",
        help="write the answer as a page with pictures, FILE.html or FILE.pdf",
    )
    form_options(periods)
    periods.set_defaults(run=_periods)


def _periods(options: argparse.Namespace) -> int:
    from corpusreg.norms.periods.answer import study
    from corpusreg.norms.periods.document import COLUMNS, study_document, study_rows
    from corpusreg.norms.periods.works import check_words, fetch_works
    from corpusreg.store import open_reference
    from corpusreg.text.periods import study_text
    from corpusreg.text.tabular import print_rows

    check_words(options.measures)
    if options.report:
        return _report(options)
    with open_reference() as reference:
        works = fetch_works(reference, options.ensemble)
        found, made = study(works, options.measures, options.ensemble), reference.reference_id
    if options.json:
        print(json.dumps(study_document(found, made), indent=1))
    elif options.csv:
        print_rows(COLUMNS, study_rows(found), options)
    else:
        print(study_text(found, made))
    return 0


def _report(options: argparse.Namespace) -> int:
    from corpusreg.documents.figure_pages.periods import check_name, write_periods
    from corpusreg.norms.periods.answer import study
    from corpusreg.norms.periods.chart import charts, unit_names
    from corpusreg.norms.periods.works import fetch_works
    from corpusreg.store import open_reference

    check_name(options.report)
    with open_reference() as reference:
        works = fetch_works(reference, options.ensemble)
        names, made = unit_names(reference), reference.reference_id
    found = study(works, options.measures, options.ensemble)
    drawn = charts(works, found, names)
    for remark in write_periods(found, drawn, made, options.report):
        print(remark, file=sys.stderr)
    print(options.report)
    return 0
