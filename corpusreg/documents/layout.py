"""One layout for every document: a template and its data, as a page or on paper.

A `Document` is a template of `assets/`, what it speaks of, and its pictures by name. As a
page it is one file that opens from disk and fetches nothing; on paper the same template is
set by `paper`. What templates share is in `assets/parts.html`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from corpusreg.documents.engraving import Engraved, glyph_sheet, standalone
from corpusreg.documents.html import Html, asset, document
from corpusreg.documents.paper import PaperSheet, paper_of
from corpusreg.documents.pictures import look
from corpusreg.system.errors import CorpusregError, UsageError
from corpusreg.system.isolate import StoppedError, call
from corpusreg.system.phrases import capital
from corpusreg.system.writing import write_files

if TYPE_CHECKING:
    from jinja2 import Environment

__all__ = ["Document", "Drawn", "check_ending", "made_document", "write_document"]

ENDINGS = (".html", ".pdf")
_COLOUR = re.compile(r' (?:fill|stroke)="#[0-9a-f]{6}"')


@dataclass(frozen=True)
class Drawn:
    """A picture for a page, and for a phone where that is another ('' where it serves both).

    engraved: notation, whose signs stand once in a page; on paper it is whole in itself.
    figure: drawn by seaborn, whose colours stay.
    """

    svg: str
    alt: str
    narrow: str = ""
    engraved: Engraved | None = None
    figure: bool = False

    @property
    def alone(self) -> str:
        """Whole in itself."""
        return standalone(self.engraved) if self.engraved else self.svg


@dataclass(frozen=True)
class Document:
    """A template and all that it shows.

    data: what the template speaks of. pictures: by the names that it places them by. script:
    whether maps answer and passages can be heard. style: rules beyond those of every page.
    beside: whether the page shows files that lie beside it. kind: a class of its body.
    """

    title: str
    template: str
    data: Mapping[str, Any]
    pictures: Mapping[str, Drawn] = field(default_factory=dict)
    script: bool = False
    style: str = ""
    beside: bool = False
    kind: str | None = None

    def page(self, paper: str | None = None) -> str:
        """One HTML file. paper: 'a4' or 'letter' when it is printed, None for the printer's."""
        size = f"\n@page {{ size: {paper}; }}" if paper else ""
        engraved = [each.engraved for each in self.pictures.values() if each.engraved]
        shown = {name: _uncoloured(each) for name, each in self.pictures.items()}
        return document(
            self.title,
            [Html(glyph_sheet(engraved)), self._body(shown, paper=False)],
            style=f"{look.css()}\n{asset('page.css')}{self.style}{size}",
            script=asset("page.js") if self.script else "",
            pictures=self.beside,
            class_=self.kind,
        )

    def sheet(self, paper: str = "a4") -> PaperSheet:
        """The same on paper. paper: 'a4' or 'letter'."""
        body = self._body(self.pictures, paper=True)
        whole = {name: each.alone for name, each in self.pictures.items()}
        return paper_of(body, whole, title=self.title, paper=paper)

    def _body(self, pictures: Mapping[str, Drawn], *, paper: bool) -> Html:
        template = _templates().get_template(self.template)
        return Html(template.render(**self.data, pictures=pictures, paper=paper))


def check_ending(path: Path) -> None:
    """Raise UsageError, before anything is measured, where no document has such an ending."""
    if path.suffix.lower() not in ENDINGS:
        raise UsageError(f"{path}: a report ends in {' or '.join(ENDINGS)}; name it so")


def write_document(made: Document, path: Path, paper: str | None = None) -> tuple[str, ...]:
    """Write a page or a PDF, by its ending; what a reader must know about it, one line each.

    It is made in a bounded child. paper: 'a4' or 'letter'; None is A4 for a PDF and leaves a
    page to the printer. A file of that name is replaced only by a finished one. Raises
    UsageError for another ending, CorpusregError where it cannot be made or written.
    """
    check_ending(path)
    try:
        content, remarks = call(
            partial(made_document, made, path.suffix.lower()), paper, near=True
        )
    except StoppedError as error:
        raise CorpusregError(f"{path}: cannot be made ({error})") from error
    write_files({path: content})
    found: tuple[str, ...] = remarks
    return found


def made_document(
    made: Document, kind: str, paper: str | None = None
) -> tuple[bytes, tuple[str, ...]]:
    """The content of a file, and what a reader must know about it; kind: one of ENDINGS."""
    if kind == ".pdf":
        sheet = made.sheet(paper or "a4")
        return sheet.pdf, sheet.remarks
    return made.page(paper).encode("utf-8"), ()


@lru_cache(maxsize=1)
def _templates() -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    found = Environment(
        autoescape=True, undefined=StrictUndefined, loader=FunctionLoader(asset)
    )
    found.filters["capital"] = capital
    return found


def _uncoloured(each: Drawn) -> Drawn:
    """A picture without colours of its own: the style has a rule for each class of it."""
    if each.figure or each.engraved:
        return each
    return Drawn(_COLOUR.sub("", each.svg), each.alt, _COLOUR.sub("", each.narrow))
