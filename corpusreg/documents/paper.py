"""HTML of a document as PDF, by typst: one layout for screen and paper.

Only the elements of `ELEMENTS` are known, and any other is refused: a template that wants
more asks for it here. Text travels as data and is never markup. Pictures are named by
`<img src>` and need a description. The PDF carries its fonts and is tagged (PDF/UA-1).
"""

from __future__ import annotations

from collections.abc import Mapping
from html.parser import HTMLParser
from importlib import resources
from typing import Any

from corpusreg.documents.report.typeset import Sheet, typeset

__all__ = ["ELEMENTS", "paper_of"]

ELEMENTS = frozenset((
    "h1", "h2", "h3", "p", "ul", "ol", "li", "table", "thead", "tbody", "tr", "th", "td",
    "figure", "figcaption", "img", "strong", "em", "small", "cite", "br", "hr", "a", "span",
    "div", "section", "article", "header", "main", "footer",
))  # fmt: skip
_EMPTY = frozenset(("img", "br", "hr"))


def paper_of(body: str, pictures: Mapping[str, str], *, title: str, paper: str = "a4") -> Sheet:
    """A PDF of the body of a page.

    pictures: SVG by the name that an `<img src>` gives. paper: 'a4' or 'letter'. Raises
    ValueError for an element that paper does not know and a picture that is not there.
    """
    reader = _Reader(pictures)
    reader.feed(body)
    reader.close()
    template = resources.files("corpusreg.documents") / "assets" / "paper.typ"
    data = {"title": title, "body": reader.root["children"], "pictures": dict(pictures)}
    return typeset(template.read_text(encoding="utf-8"), data, paper=paper)


class _Reader(HTMLParser):
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
