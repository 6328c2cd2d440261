"""The demo: an invented class of eight short pieces, compared, and where to look first."""

from __future__ import annotations

from pathlib import Path

from corpusreg import workflow
from corpusreg.corpus.files import bundled_root
from corpusreg.system.errors import DataError
from corpusreg.text.outputs.console import class_text, comparison_text

__all__ = ["demo_text", "pieces_folder"]

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


def demo_text() -> str:
    """The class as a table, then one piece of it and one work of the reference as read.

    Needs a reference; raises StoreError without one.
    """
    found = workflow.compare_paths([pieces_folder()])
    known = workflow.compare_paths([bundled_root() / _SERVED])
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
