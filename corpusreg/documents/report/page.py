"""The report as one self-contained HTML file that opens from disk, and as PDF.

Both come from one template, `assets/report.html`. Nothing is fetched: the page's own policy
forbids it, and allows the one script and the one style that are written in it by their
hashes. Every text of a score is escaped.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING

from corpusreg.documents.engraving import glyph_sheet
from corpusreg.documents.paper import paper_of
from corpusreg.documents.pictures import look
from corpusreg.documents.report.html import Html, asset, document, json_text
from corpusreg.documents.report.typeset import Sheet
from corpusreg.documents.report.work import Work, paper_pictures
from corpusreg.system.phrases import capital
from corpusreg.text.reading import CLASS_COLUMNS

if TYPE_CHECKING:
    from jinja2 import Template

__all__ = ["page", "pdf"]

_COLOUR = re.compile(r' (?:fill|stroke)="#[0-9a-f]{6}"')
Rows = Sequence[Sequence[str]]


def page(
    works: Sequence[Work], table: Rows, failures: Sequence[str], *, paper: str | None = None
) -> str:
    """The whole page. works: at least one. table: a row a work, shown where there are several.

    failures: one line each. paper: 'a4' or 'letter' when it is printed, None to leave that
    to the printer.
    """
    glyphs = glyph_sheet(
        run for work in works for each in work.every_passage() for run in each.runs
    )
    size = f"\n@page {{ size: {paper}; }}" if paper else ""
    shown = [_uncoloured(work) for work in works]
    return document(
        f"{_title(works)}: how it uses register",
        [Html(glyphs), Html(_body(shown, table, failures, paper=False))],
        style=f"{look.css()}\n{asset('report.css')}{size}",
        script=asset("page.js"),
    )


def pdf(
    works: Sequence[Work], table: Rows, failures: Sequence[str], *, paper: str = "a4"
) -> Sheet:
    """The same on paper, details on the pages after the first. paper: 'a4' or 'letter'."""
    pictures = {
        f"{work.name}/{name}": svg
        for work in works
        for name, svg in paper_pictures(work).items()
    }
    body = _body(works, table, failures, paper=True)
    return paper_of(body, pictures, title=_title(works), paper=paper)


def _title(works: Sequence[Work]) -> str:
    return works[0].title if len(works) == 1 else f"{len(works)} pieces"


def _body(works: Sequence[Work], table: Rows, failures: Sequence[str], *, paper: bool) -> str:
    several = len(works) > 1
    return _template().render(
        works=works,
        title=_title(works),
        columns=[capital(each) for each in CLASS_COLUMNS],
        table=table,
        failures=failures,
        paper=paper,
        h1="h2" if several else "h1",
        h2="h3" if several else "h2",
        sounds={} if paper else {work.name: json_text(dict(work.sound)) for work in works},
    )


@lru_cache(maxsize=1)
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined

    environment = Environment(autoescape=True, undefined=StrictUndefined)
    return environment.from_string(asset("report.html"))


def _uncoloured(work: Work) -> Work:
    """Pictures without colours of their own: the style has a rule for each class of them."""

    def plain(svg: str) -> str:
        return _COLOUR.sub("", svg)

    pictures = {
        name: replace(each, svg=plain(each.svg), narrow=plain(each.narrow))
        for name, each in work.pictures.items()
    }
    return replace(work, pictures=pictures)
