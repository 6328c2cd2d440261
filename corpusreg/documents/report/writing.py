"""Reports as files: what kinds there are, and writing one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.drafts import Drafts
from corpusreg.system.errors import UsageError
from corpusreg.system.writing import write_files

if TYPE_CHECKING:
    from corpusreg.comparison.examples import Example
    from corpusreg.store import Reference

    Studied = tuple[list[Example], list[Example]]

__all__ = ["REPORTS", "check_report", "made_report", "write_report"]

# Kinds of report, by ending.
REPORTS = (".html", ".pdf")


def check_report(path: Path) -> None:
    """Raise UsageError before anything is measured where the ending is unknown."""
    kind = path.suffix.lower()
    if kind not in REPORTS:
        raise UsageError(f"{path}: a report ends in {' or '.join(REPORTS)}; name it so")


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
    """Write a report of some works, at least one; returns what a reader must know about it.

    The arguments are those of `made_report`; path: the file, replaced by a finished one only.
    Raises CorpusregError where it cannot be written.
    """
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
    """A report of some works, at least one: the content of a file of a kind in REPORTS.

    failures: what could not be read, one line each, told at the end. studied: for each work
    the passages to study beside it, () for none. drafts: for each work what changed since an
    earlier draft, () where there is none. paper: 'a4' or 'letter'; None is A4 for a PDF and
    leaves a page to the reader's printer. reference: the one that `studied` was found in, whose
    passages are then shown in notation; without it they are only named. Returned beside it:
    what a reader must know about the file, one line each.
    """
    from corpusreg.comparison.findings import reading
    from corpusreg.documents.report.page import page, pdf
    from corpusreg.documents.report.work import works_of
    from corpusreg.text.reading import class_row

    works = works_of(comparisons, reference_id, studied, drafts, reference)
    table = [class_row(reading(c)) for c in comparisons]
    if kind == ".pdf":
        sheet = pdf(works, table, failures, paper=paper or "a4")
        return sheet.pdf, sheet.remarks
    return page(works, table, failures, paper=paper).encode("utf-8"), ()
