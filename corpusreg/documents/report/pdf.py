"""The report as PDF: the sections of the page without what one can point at or hear."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from importlib import resources
from typing import Any

from corpusreg.documents.engraving import standalone
from corpusreg.documents.report.model import Content
from corpusreg.documents.report.page import Work
from corpusreg.documents.report.pieces import SECTIONS
from corpusreg.documents.report.slots import Notation, Slot
from corpusreg.documents.report.typeset import Sheet, typeset

__all__ = ["pdf"]


def pdf(works: Sequence[Work], failures: Sequence[str] = (), *, paper: str = "a4") -> Sheet:
    """All works, each beginning on a page of its own.

    works: at least one. failures: one line each, told at the end. paper: 'a4' or 'letter'.
    """
    title = works[0].content.title if len(works) == 1 else f"{len(works)} pieces"
    template = resources.files("corpusreg.documents.report") / "assets" / "compare.typ"
    data = {
        "title": f"{title}: how it uses register",
        "titles": dict(SECTIONS),
        "works": [_work(work) for work in works],
        "failures": list(failures),
    }
    return typeset(template.read_text(encoding="utf-8"), data, paper=paper)


def _work(work: Work) -> dict[str, Any]:
    """Content as it is, with pictures by slot and numbers as text."""
    content = work.content
    return asdict(content) | {
        "slots": {slot: list(found.pictures) for slot, found in _drawn(work.slots).items()},
        "notation": {slot: _notation(found) for slot, found in work.notation.items()},
        "figures": _figures(content),
    }


def _drawn(slots: Mapping[str, Slot]) -> dict[str, Slot]:
    return {slot: found for slot, found in slots.items() if found.pictures}


def _notation(found: Notation) -> dict[str, Any]:
    return {
        "pictures": [standalone(each) for each in found.drawn],
        "remarks": list(found.remarks),
    }


def _figures(content: Content) -> list[list[str]]:
    """For each measure: title, unit, value, middle, rank and interval, as `--json` has them."""
    return [
        [
            row.title,
            row.figure.unit,
            *map(_number, (row.figure.value, row.figure.median, row.figure.percentile)),
            " to ".join(map(_number, row.figure.interval)) if row.figure.interval else "–",
        ]
        for row in content.measures.rows
    ]


def _number(value: float | None) -> str:
    return "–" if value is None else f"{value:.10g}"
