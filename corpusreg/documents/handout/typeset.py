"""The sheets of a class as PDF."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from importlib import resources

from corpusreg.documents.handout.sheets import Overview, PieceSheet, TeacherSheet
from corpusreg.documents.paper import Sheet, typeset

__all__ = ["overview_pdf", "pieces_pdf", "teacher_pdf"]


def overview_pdf(overview: Overview, paper: str) -> Sheet:
    """The overview sheet."""
    return _pdf({"title": overview.title, "overview": asdict(overview)}, paper)


def pieces_pdf(pieces: Sequence[PieceSheet], title: str, paper: str) -> Sheet:
    """One sheet a piece, each beginning on a page of its own. title: of the document."""
    return _pdf({"title": title, "pieces": [asdict(piece) for piece in pieces]}, paper)


def teacher_pdf(teacher: TeacherSheet, paper: str) -> Sheet:
    """The teacher's sheet."""
    title = f"{teacher.title}, for the teacher"
    return _pdf({"title": title, "teacher": asdict(teacher)}, paper)


def _pdf(data: dict[str, object], paper: str) -> Sheet:
    template = resources.files("corpusreg.documents.handout") / "assets" / "sheets.typ"
    return typeset(template.read_text(encoding="utf-8"), data, paper=paper)
