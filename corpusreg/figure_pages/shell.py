"""What pages of figures share: head, policy, style, and writing them whole."""

from __future__ import annotations

from collections.abc import Iterable
from importlib.resources import files

from corpusreg.figures.style import colour_rules
from corpusreg.pictures import look
from corpusreg.pictures.svg import Picture
from corpusreg.report.html import Html, digest, tag

__all__ = ["capital", "figure", "page"]

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
    style = "\n".join((look.css(".picture"), colour_rules(), _asset("page.css"), _STYLE))
    policy = (
        f"default-src 'none'; style-src {digest(style)}; img-src 'self'; base-uri 'none'; "
        "form-action 'none'"
    )
    head = tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", http_equiv="Content-Security-Policy", content=policy),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="color-scheme", content="light dark"),
        tag("title", title),
        tag("style", Html(style)),
    )
    whole = tag(
        "body",
        tag("a", "Skip to the content", href="#content", class_="skip"),
        tag("header", tag("h1", title), *header),
        tag("main", *body, id="content"),
        tag("footer", tag("p", foot)),
        class_=kind,
    )
    return f"<!doctype html>\n{tag('html', head, whole, lang='en')}\n"


def figure(picture: Picture, caption: str) -> Html:
    """A picture with its caption; on a narrow screen it keeps its size and is pushed."""
    return tag(
        "figure",
        tag("div", Html(picture.svg), class_="scroll", tabindex=0, role="group",
            aria_label=picture.title),
        tag("figcaption", caption),
    )  # fmt: skip


def capital(text: str) -> str:
    """Text with a capital letter."""
    return text[:1].upper() + text[1:]


def _asset(name: str) -> str:
    text = files("corpusreg.report").joinpath("assets", name).read_text(encoding="utf-8")
    return text.replace("\r\n", "\n")
