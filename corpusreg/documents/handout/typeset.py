"""The sheets of a class, each as a page and as PDF, made in a bounded child."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from importlib import resources

from corpusreg.documents.handout.pages import overview_page, piece_page, teacher_page
from corpusreg.documents.handout.sheets import Overview, PieceSheet, TeacherSheet
from corpusreg.documents.paper import PaperSheet, typeset

__all__ = ["SetSheet", "Shown", "set_sheet"]

Shown = Overview | PieceSheet | TeacherSheet | tuple[PieceSheet, ...]


@dataclass(frozen=True, eq=False)
class SetSheet:
    """What is to be set. paper: 'a4' or 'letter'. title: of the sheets of several pieces."""

    shown: Shown
    paper: str
    title: str = ""


def set_sheet(job: SetSheet) -> tuple[str, PaperSheet]:
    """The page, '' for the sheets of several pieces, and the PDF."""
    shown, paper = job.shown, job.paper
    if isinstance(shown, Overview):
        return overview_page(shown, paper), _pdf(shown.title, "overview", shown, paper)
    if isinstance(shown, TeacherSheet):
        title = f"{shown.title}, for the teacher"
        return teacher_page(shown, paper), _pdf(title, "teacher", shown, paper)
    if isinstance(shown, PieceSheet):
        return piece_page(shown, paper), _pdf(shown.title, "pieces", (shown,), paper)
    return "", _pdf(job.title, "pieces", shown, paper)


def _pdf(title: str, name: str, shown: Shown, paper: str) -> PaperSheet:
    """The sheet under the name by which the template knows its kind."""
    template = resources.files("corpusreg.documents.handout") / "assets" / "sheets.typ"
    data = [asdict(each) for each in shown] if isinstance(shown, tuple) else asdict(shown)
    return typeset(
        template.read_text(encoding="utf-8"), {"title": title, name: data}, paper=paper
    )
