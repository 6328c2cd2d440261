"""What pages of figures share: head, policy, style, and writing them whole."""

from __future__ import annotations

from collections.abc import Iterable

from corpusreg.documents.figures.style import colour_rules
from corpusreg.documents.pictures import look
from corpusreg.documents.pictures.svg import Picture
from corpusreg.documents.report.html import Html, asset, document, tag

__all__ = ["figure", "page"]

_STYLE = """
.wall { max-width: calc(70rem + 2rem); }
.figures { font-size: 0.9rem; }
@media screen and (max-width: 42rem) {
  .scroll { overflow-x: auto; }
  .scroll .picture { width: 720px; max-width: none; }
}
"""


def page(title: str, header: Iterable[str], body: Iterable[str], foot: str, kind: str) -> str:
    """A page that opens from disk and fetches nothing. kind: class of its body."""
    style = "\n".join((look.css(), colour_rules(), asset("page.css"), _STYLE))
    children = [
        tag("a", "Skip to the content", href="#content", class_="skip"),
        tag("header", tag("h1", title), *header),
        tag("main", *body, id="content"),
        tag("footer", tag("p", foot)),
    ]
    return document(title, children, style=style, pictures=True, class_=kind)


def figure(picture: Picture, caption: str) -> Html:
    """A picture with its caption; on a narrow screen it keeps its size and is pushed."""
    return tag(
        "figure",
        tag("div", Html(picture.svg), class_="scroll", tabindex=0, role="group",
            aria_label=picture.title),
        tag("figcaption", caption),
    )  # fmt: skip
