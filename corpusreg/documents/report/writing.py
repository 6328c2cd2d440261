"""The report of one or several works as a document."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.drafts import Drafts
from corpusreg.comparison.findings import reading
from corpusreg.documents.html import json_text
from corpusreg.documents.layout import Document, check_ending, made_document
from corpusreg.documents.report.work import works_of
from corpusreg.system.phrases import capital
from corpusreg.system.writing import write_files
from corpusreg.text.reading import CLASS_COLUMNS, class_row

if TYPE_CHECKING:
    from corpusreg.comparison.examples import Example
    from corpusreg.store import Reference

    Studied = tuple[list[Example], list[Example]]

__all__ = ["made_report", "write_report"]


def write_report(
    comparisons: Sequence[Comparison],
    failures: Sequence[str],
    reference_id: str,
    path: Path,
    *,
    studied: Sequence[Studied] = (),
    drafts: Sequence[Drafts] = (),
    paper: str | None = None,
    reference: Reference | None = None,
) -> tuple[str, ...]:
    """Write a report of some works, at least one; as `report`, and as `write_document`."""
    check_ending(path)
    content, remarks = made_report(
        comparisons, failures, reference_id, path.suffix.lower(),
        studied=studied, drafts=drafts, paper=paper, reference=reference,
    )  # fmt: skip
    write_files({path: content})
    return remarks


def made_report(
    comparisons: Sequence[Comparison],
    failures: Sequence[str],
    reference_id: str,
    kind: str,
    *,
    studied: Sequence[Studied] = (),
    drafts: Sequence[Drafts] = (),
    paper: str | None = None,
    reference: Reference | None = None,
) -> tuple[bytes, tuple[str, ...]]:
    """The content of a report's file; kind: as `layout.made_document`, the rest as `report`."""
    made = report(
        comparisons, failures, reference_id,
        studied=studied, drafts=drafts, reference=reference,
    )  # fmt: skip
    return made_document(made, kind, paper)


def report(
    comparisons: Sequence[Comparison],
    failures: Sequence[str],
    reference_id: str,
    *,
    studied: Sequence[Studied] = (),
    drafts: Sequence[Drafts] = (),
    reference: Reference | None = None,
) -> Document:
    """A report, whose first page has the reading and whose details stand behind it.

    failures: what could not be read, one line each, told at the end. studied: for each work
    the passages to study beside it, () for none. drafts: for each work what changed since an
    earlier draft, () where there is none. reference: the one that `studied` was found in, whose
    passages are then shown in notation; without it they are only named.
    """
    works = works_of(comparisons, reference_id, studied, drafts, reference)
    several = len(works) > 1
    title = f"{len(works)} pieces" if several else works[0].title
    return Document(
        f"{title}: how {'they use' if several else 'it uses'} register",
        "report.html",
        {
            "works": works,
            "title": title,
            "columns": [capital(each) for each in CLASS_COLUMNS],
            "class_rows": [class_row(reading(c)) for c in comparisons],
            "failures": failures,
            "h1": "h2" if several else "h1",
            "h2": "h3" if several else "h2",
            "sounds": {work.name: json_text(dict(work.sound)) for work in works},
        },
        {f"{work.name}/{key}": each for work in works for key, each in work.pictures.items()},
        script=True,
    )
