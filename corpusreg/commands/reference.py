"""The command 'reference': what the reference in force holds; export and import."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from corpusreg.commands.common import command, say

__all__ = ["add_reference"]


def add_reference(commands: Any) -> None:
    """Add the command."""
    reference = command(
        commands, "reference", "what pieces are placed among: works, sources, licences, gaps"
    )
    reference.add_argument("--json", action="store_true", help="print JSON")
    reference.set_defaults(run=_sheet)
    inner = reference.add_subparsers(metavar="ACTION", title="actions")
    export = command(inner, "export", "write it as Parquet, for R, pandas and DuckDB")
    export.add_argument("folder", type=Path, metavar="FOLDER", help="a folder to make")
    export.set_defaults(run=_export)
    taking = command(inner, "import", "put a reference in force that was exported")
    taking.add_argument("folder", type=Path, metavar="FOLDER", help="the exported folder")
    taking.set_defaults(run=_import)


def _sheet(options: argparse.Namespace) -> int:
    from corpusreg.text.outputs.reference_text import reference_text
    from corpusreg.workflow.reference import told

    found = told()
    print(json.dumps(found, indent=1) if options.json else reference_text(found))
    return 0


def _export(options: argparse.Namespace) -> int:
    from corpusreg.workflow.reference import export_reference

    print(f"{export_reference(options.folder)}: see SCHEMA.md there for the columns")
    return 0


def _import(options: argparse.Namespace) -> int:
    from corpusreg.workflow.reference import import_reference

    path = import_reference(options.folder)
    say(f"in force: {path}")
    return 0
