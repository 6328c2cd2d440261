"""The sheets of a class, each as PDF and as one HTML file that opens from disk and prints.

Nothing is fetched and nothing runs: a page's own policy allows its one style and no more.
Text of scores is escaped.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from importlib import resources

from corpusreg.documents.handout.piece import ShownPassage
from corpusreg.documents.handout.sheets import Overview, PieceSheet, TeacherRow, TeacherSheet
from corpusreg.documents.html import Html, asset, document, tag
from corpusreg.documents.paper import PaperSheet, typeset
from corpusreg.documents.pictures import look

__all__ = ["SetSheet", "Shown", "overview_page", "piece_page", "set_sheet", "teacher_page"]

_LINES = 3  # to write on


def overview_page(sheet: Overview, paper: str) -> str:
    """The overview. paper: 'a4' or 'letter'."""
    return _page(
        sheet.title,
        [
            _head(sheet.title, "", sheet.facts),
            _figure(sheet.picture),
            tag("ol", *(tag("li", name) for _, name in sheet.key), class_="key"),
            tag("p", sheet.reading, class_="aside"),
            tag("h2", "What the class shares"),
            *_paragraphs(sheet.shared),
            *(_pairs("Who does what", sheet.devices, "devices") if sheet.devices else []),
            *(_pairs(sheet.asked, sheet.answers, "devices") if sheet.asked else []),
            *_pairs("", sheet.measures, "measures"),
        ],
        paper,
    )


def piece_page(sheet: PieceSheet, paper: str) -> str:
    """The sheet of one piece."""
    asked = [
        tag("p", sheet.question, class_="question"),
        *[tag("div", class_="line", aria_hidden="true")] * _LINES,
    ]
    return _page(
        sheet.title,
        [
            _head(sheet.title, sheet.who, sheet.facts),
            _figure(sheet.map),
            *_paragraphs([f"The task: {sheet.asked}"] if sheet.asked else [], "asked"),
            *_paragraphs(sheet.answers, "answer"),
            *_paragraphs([sheet.changed] if sheet.changed else [], "changed"),
            tag("ul", *(tag("li", each) for each in sheet.sentences), class_="sentences"),
            tag("div", *_passages(sheet.passages), class_="passages"),
            *(asked if sheet.question else []),
            *([_table(sheet.progress)] if sheet.progress else []),
            *_paragraphs([sheet.compared], "aside"),
        ],
        paper,
    )


def teacher_page(sheet: TeacherSheet, paper: str) -> str:
    """The teacher's sheet."""
    problems = tag("ul", *(tag("li", each) for each in sheet.problems))
    return _page(
        f"{sheet.title}, for the teacher",
        [
            _head(sheet.title, "", (sheet.introduction,)),
            *([tag("h2", "To look into"), problems] if sheet.problems else []),
            *map(_row, sheet.rows),
            *([tag("h2", "Worth knowing")] if sheet.notes else []),
            *_paragraphs(sheet.notes),
            *([tag("h2", "Beside the earlier class")] if sheet.since else []),
            *_paragraphs(sheet.since),
        ],
        paper,
    )


def _page(title: str, children: Iterable[str], paper: str) -> str:
    sheets = asset("sheets.css", "corpusreg.documents.handout")
    style = f"{look.css()}\n@page {{ size: {paper}; }}\n{sheets}"
    return document(title, [tag("main", *children)], style=style)


def _head(title: str, who: str, facts: Sequence[str]) -> Html:
    name = [tag("p", who, class_="who")] if who else []
    return tag("header", tag("h1", title), *name, tag("p", " · ".join(facts), class_="facts"))


def _pairs(head: str, pairs: Sequence[tuple[str, str]], class_: str) -> list[Html]:
    """A heading, and what is said under each of several names."""
    said = [each for name, text in pairs for each in (tag("dt", name), tag("dd", text))]
    return [*([tag("h2", head)] if head else []), tag("dl", *said, class_=class_)]


def _table(rows: Sequence[Sequence[str]]) -> Html:
    head, *body = rows
    return tag(
        "table",
        tag("caption", "Over the term"),
        tag("thead", tag("tr", *(tag("th", cell, scope="col") for cell in head))),
        tag(
            "tbody",
            *(
                tag("tr", tag("th", first, scope="row"), *(tag("td", c) for c in cells))
                for first, *cells in body
            ),
        ),
    )


def _paragraphs(texts: Iterable[str], class_: str | None = None) -> list[Html]:
    return [tag("p", text, class_=class_) for text in texts]


def _figure(svg: str) -> Html:
    # On a phone one moves along it: the keyboard reaches it for that.
    return tag("figure", Html(svg), class_="wide", tabindex=0)


def _passages(passages: Sequence[ShownPassage]) -> list[Html]:
    return [
        tag(
            "section",
            tag("h2", passage.heading),
            *(
                tag("figure", _own_ids(svg, f"p{number}-{run}"), class_="notation")
                for run, svg in enumerate(passage.pictures, start=1)
            ),
            *_paragraphs([passage.why] if passage.why else []),
            *_paragraphs([". ".join(passage.aside) + "."] if passage.aside else [], "aside"),
        )
        for number, passage in enumerate(passages, start=1)
    ]


def _own_ids(svg: str, prefix: str) -> Html:
    """The shapes of a passage under ids of its own, as each stands once in a page."""
    return Html(re.sub(r'((?:id|href)="#?)(glyph-)', rf"\g<1>{prefix}-\g<2>", svg))


def _row(row: TeacherRow) -> Html:
    edited = ["with sentences of your own"] if row.edited else []
    file = [row.file] if row.file != row.who else []
    figures = [
        tag("li", f"{title}: {value}" + (f", {place}" if place else ""))
        for title, value, place in row.figures
    ]
    return tag(
        "section",
        tag(
            "div",
            tag("h2", row.title),
            *_paragraphs([row.who] if row.who else []),
            *_paragraphs([*file, ", ".join(row.facts), *edited], "aside"),
        ),
        tag("div", *_paragraphs(row.stands_out), *_paragraphs(row.notes, "aside")),
        tag("ul", *figures, class_="figures"),
        class_="row",
    )


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
