"""What the reference in force holds, and the same as Parquet for other programs."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

from corpusreg.measures import definitions
from corpusreg.store import Reference, exchange, packing, ships, sql
from corpusreg.system import settings
from corpusreg.system.errors import StoreError, UsageError
from corpusreg.system.lock import build_lock

__all__ = ["export_reference", "import_reference", "reference_facts"]


def reference_facts(reference: Reference) -> dict[str, Any]:
    """The data sheet of a reference, as plain data.

    reference, definitions, tool, works, counted. ships: whether it is the one that came
    with the installation; own: works of the user's own on top of it. corpora: of what
    ships, each with title, works, composers, files that failed, source, revision and
    licence. media, periods: rows of name, works, composers, collections. dates: how many
    works have years from where. left_out: works with a value that counts in no norm.
    """
    packed = settings.packed_folder()
    sheet = packing.about(packed) if ships() else {}
    under = reference.path == packed or "on_top_of" in reference.settings

    def rows(name: str) -> list[dict[str, Any]]:
        found = reference.fetch_columns(sql.load(name))
        lines = zip(*(column.tolist() for column in found.values()), strict=True)
        return [dict(zip(found, line, strict=True)) for line in lines]

    (counts,) = rows("sheet_counts")
    known = sheet.get("corpora", {}) if under else {}
    corpora = {
        row["corpus"]: row | known.get(row["corpus"], {}) for row in rows("corpora_told")
    }
    return {
        "reference": reference.reference_id,
        "definitions": reference.definitions,
        "tool": reference.tool,
        "path": str(reference.path),
        "ships": reference.path == packed,
        "own": counts["works"] - sheet.get("works", 0) if under else counts["works"],
        "absent": sheet.get("absent", []) if under else [],
        **counts,
        "corpora": corpora,
        "media": rows("sheet_media"),
        "periods": rows("sheet_periods"),
        "dates": rows("sheet_dates"),
    }


def export_reference(reference: Reference, folder: Path) -> Path:
    """Write every table of a reference as Parquet, with a page on the columns.

    folder: must not exist yet. Raises UsageError where it does, StoreError where it cannot
    be written; nothing half written is left.
    """
    if folder.exists():
        raise UsageError(f"{folder} is there already; name a folder that is not")
    aside = folder.with_name(f"{folder.name}.part")
    shutil.rmtree(aside, ignore_errors=True)
    try:
        path, title = reference.path, f"Reference {reference.reference_id}"
        layered = path == settings.packed_folder() or "on_top_of" in reference.settings
        exchange.write(path, settings.packed_folder() if layered else None, title, aside)
        aside.rename(folder)
    except OSError as error:
        raise StoreError(f"{folder} cannot be written ({error.strerror})") from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return folder


def import_reference(folder: Path) -> Path:
    """Put a reference in force that `export_reference` wrote; returns its file.

    Raises UsageError for a folder that is none, or whose tables have other columns, and for
    one that was made by other definitions; the reference in force stays then.
    """
    if not folder.is_dir():
        raise UsageError(f"{folder} is not a folder; name one that 'reference export' wrote")
    with build_lock(settings.lock_file()):
        return exchange.read(folder, settings.reference_folder(), definitions.VERSION)
