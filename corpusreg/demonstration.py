"""The demo: an invented class of eight short pieces, compared, and scores measured afresh."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from corpusreg.building.batch import Progress
from corpusreg.building.build import DEFAULT_TIERS, extract
from corpusreg.comparison.compared import compare_paths
from corpusreg.corpus.catalogue import bundled, licence
from corpusreg.corpus.files import bundled_root
from corpusreg.norms.asking import query
from corpusreg.store import Reference, open_reference
from corpusreg.system import settings
from corpusreg.system.errors import DataError
from corpusreg.text.console import class_text, comparison_text
from corpusreg.text.tabular import text_table

__all__ = ["demo_text", "measured_text", "pieces_folder"]

# Bundled scores that the demo measures afresh: every so many of them, by size.
_AFRESH = 30
_QUERY = "longest_stays"
_SHOWN = ("title", "ensemble", "start_bar", "end_bar", "bars")

# A work of the bundled scores (Vicente Lusitano, 1562) for an ensemble that they serve well.
_SERVED = "lusitano/allor_che_ignuda.mxl"


def pieces_folder() -> Path:
    """The folder of the eight pieces, in a wheel or in a checkout.

    Raises DataError when it is in neither.
    """
    package = Path(__file__).resolve().parent
    for candidate in (package / "demo_pieces", package.parent / "demo" / "pieces"):
        if candidate.is_dir():
            return candidate
    raise DataError(f"no demo pieces beside {package}; install corpusreg again")


def demo_text(reference: Reference) -> str:
    """The class as a table, then one piece of it and one work of the reference as read."""
    found = compare_paths(lambda: reference, [pieces_folder()])
    known = compare_paths(lambda: reference, [bundled_root() / _SERVED])
    for failure in (*found.failures, *known.failures):
        raise DataError(f"{failure}; install corpusreg and music21 again")
    pieces = sorted(found.comparisons, key=lambda c: c.piece.title)
    shown = next(c for c in pieces if "waiting-for-the-bus" in c.piece.path)
    made = found.reference_id
    blocks = [
        "An evening class of eight, all invented; nobody was asked to think about register.",
        class_text(pieces),
        comparison_text(shown, made),
        "A madrigal of the reference, which has many works like it:",
        comparison_text(known.comparisons[0], made),
    ]
    return "\n\n".join(blocks)


def measured_text(
    *, workers: int | None = None, on_progress: Callable[[Progress], None] | None = None
) -> str:
    """Thirty bundled scores measured into a folder that is then removed, and one question.

    What a reference is made by, seen whole: worker processes, a DuckDB file, a query.
    """
    files = sorted(
        (file for file in bundled() if file.format == "musicxml"),
        key=lambda file: (file.size, file.relative),
    )
    free = [file for file in files if licence(file).tier in DEFAULT_TIERS]
    chosen = free[:: max(len(free) // _AFRESH, 1)][:_AFRESH]
    with tempfile.TemporaryDirectory() as made:
        scores = Path(made) / "thirty-scores"
        scores.mkdir()
        for number, file in enumerate(chosen):
            shutil.copy(file.path, scores / f"{number:02}-{file.path.name}")
        with settings.home_at(Path(made) / "home"):
            built = extract([str(scores)], workers=workers, on_progress=on_progress)
            with open_reference() as reference:
                found, wanted = query(reference, _QUERY, {"rows": "5"})
    places = [found.names.index(name) for name in _SHOWN]
    rows = [[str(row[place] or "") for place in places] for row in found.rows]
    return "\n".join(
        [
            f"{built.works} of the scores inside music21 measured afresh, into a DuckDB file",
            f"of their own, which is asked (corpusreg query {_QUERY}):",
            f"  {wanted.title}",
            "",
            text_table([name.replace("_", " ") for name in _SHOWN], rows),
        ]
    )
