"""Documents on paper, by typst: one layout for screen and paper.

`paper_of` sets the body of a page: only the elements of `ELEMENTS` are known, and any other
is refused, so that a template that wants more asks for it here. Text travels as data and is
never markup: a title that holds markup is no markup. Pictures are SVG, named by `<img src>`,
and need a description. The PDF carries its fonts, its text can be selected, and it is tagged
for screen readers (PDF/UA-1).

The face is the one that typst brings along, so that sheets look alike everywhere. Where it
lacks a letter, fonts of the system step in; where these lack it too, the letter is shown as
an empty box and the answer says so.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from html.parser import HTMLParser
from typing import Any

from corpusreg.documents.html import asset
from corpusreg.documents.pictures.look import COLOURS

__all__ = ["PaperSheet", "paper_of", "typeset"]

ELEMENTS = frozenset((
    "h1", "h2", "h3", "p", "ul", "ol", "li", "table", "thead", "tbody", "tr", "th", "td",
    "figure", "figcaption", "img", "strong", "em", "small", "cite", "br", "hr", "a", "span",
    "div", "section", "article", "header", "main", "footer",
))  # fmt: skip
PAPERS = {"a4": "a4", "letter": "us-letter"}
_EMPTY = frozenset(("img", "br", "hr"))
_TAGGED = "ua-1"
_NO_GLYPH = "could not be displayed"
_WHITE = "#ffffff"


@dataclass(frozen=True)
class PaperSheet:
    """A PDF, and what a reader must know about it."""

    pdf: bytes
    remarks: tuple[str, ...] = ()


def paper_of(
    body: str, pictures: Mapping[str, str], *, title: str, paper: str = "a4"
) -> PaperSheet:
    """A PDF of the body of a page.

    pictures: SVG by the name that an `<img src>` gives. paper: 'a4' or 'letter'. Raises
    ValueError for an element that paper does not know and a picture that is not there.
    """
    reader = _PageReader(pictures)
    reader.feed(body)
    reader.close()
    data = {"title": title, "body": reader.root["children"], "pictures": dict(pictures)}
    return typeset(asset("paper.typ"), data, paper=paper)


def typeset(template: str, data: Mapping[str, Any], *, paper: str = "a4") -> PaperSheet:
    """Data set by a template.

    template: typst source, which follows `assets/base.typ`; that gives it `data`, `look`
    and the shapes that all sheets share. data: what JSON can hold, with 'title' for the
    document. paper: a key of PAPERS.
    """
    import typst

    source = f"{asset('base.typ')}\n{template}".encode()
    given = {**_on_white(data), "look": COLOURS, "paper": PAPERS[paper]}
    inputs = {"data": json.dumps(given)}

    def compiled(*, system_fonts: bool, standards: list[str]) -> bytes:
        compiler: Any = typst.Compiler(
            source, ignore_system_fonts=not system_fonts, sys_inputs=inputs
        )
        pdf: bytes = compiler.compile(format="pdf", pdf_standards=standards)
        return pdf

    missing = ""
    for system_fonts in (False, True):
        try:
            return PaperSheet(compiled(system_fonts=system_fonts, standards=[_TAGGED]))
        except typst.TypstError as error:
            if _NO_GLYPH not in str(error):
                raise
            missing = str(error).partition("`")[2].partition("`")[0]
    return PaperSheet(
        compiled(system_fonts=True, standards=[]),
        (f"no font here has the letters {missing}: they are shown as empty boxes",),
    )


def _on_white(value: Any) -> Any:
    """Pictures with the paper's own colour, which a printer would print as a tint."""
    if isinstance(value, Mapping):
        return {name: _on_white(inner) for name, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_on_white(inner) for inner in value]
    if isinstance(value, str) and value.startswith("<svg"):
        return value.replace(COLOURS["paper"], _WHITE)
    return value


class _PageReader(HTMLParser):
    """Elements as nested data: tag, class, children, and of pictures src and alt."""

    def __init__(self, pictures: Mapping[str, str]) -> None:
        super().__init__(convert_charrefs=True)
        self.root: dict[str, Any] = {"tag": "body", "children": []}
        self.open = [self.root]
        self.pictures = pictures

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """An element begins."""
        if tag not in ELEMENTS:
            raise ValueError(f"<{tag}> is no element that paper knows")
        given = dict(attrs)
        node: dict[str, Any] = {"tag": tag, "class": given.get("class") or "", "children": []}
        if tag == "img":
            if given.get("src") not in self.pictures:
                raise ValueError(f"no picture {given.get('src')}")
            node |= {"src": given["src"], "alt": given.get("alt") or ""}
        self.open[-1]["children"].append(node)
        if tag not in _EMPTY:
            self.open.append(node)

    def handle_endtag(self, tag: str) -> None:
        """An element ends."""
        if tag not in _EMPTY:
            ended = self.open.pop()
            if ended["tag"] != tag:
                raise ValueError(f"<{ended['tag']}> is closed by </{tag}>")

    def handle_data(self, data: str) -> None:
        """Text; white space between blocks is none."""
        text = " ".join(data.split())
        if not text:
            if data and self.open[-1]["tag"] in ("p", "li", "td", "th"):
                self.open[-1]["children"].append(" ")
            return
        before = " " if data[:1].isspace() else ""
        after = " " if data[-1:].isspace() else ""
        self.open[-1]["children"].append(before + text + after)
