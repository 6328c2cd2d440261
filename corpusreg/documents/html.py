"""HTML as text: whole pages, elements, escaping. Knows nothing of music."""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
from collections.abc import Iterable
from importlib.resources import files
from typing import Any

__all__ = ["Html", "asset", "document", "json_text", "tag"]

# Signs that HTML does not allow, and single surrogates.
_FORBIDDEN = re.compile(
    r"[^\t\n\r\u0020-\u007e\u00a0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]"
)
_EMPTY = ("meta", "br", "hr")


class Html(str):
    """Finished HTML; any other text is escaped where it is put into an element."""

    __slots__ = ()

    def __html__(self) -> str:
        """Itself: a template takes it as it is."""
        return self


def tag(name: str, /, *children: str, **attributes: str | int | bool | None) -> Html:
    """One element. Attributes that are None or False are left out.

    `class_` is written class, and `data_bar` data-bar.

    >>> tag("p", "Air & <b>", class_="lead", hidden=True, title=None)
    '<p class="lead" hidden>Air &amp; &lt;b&gt;</p>'
    """
    given = "".join(
        f" {_name(key)}" + ("" if value is True else f'="{_escaped(str(value))}"')
        for key, value in attributes.items()
        if value is not None and value is not False
    )
    if name in _EMPTY:
        return Html(f"<{name}{given}>")
    return Html(f"<{name}{given}>{together(children)}</{name}>")


def document(
    title: str,
    children: Iterable[str],
    *,
    style: str,
    script: str = "",
    pictures: bool = False,
    class_: str | None = None,
) -> str:
    """A page that opens from disk and fetches nothing.

    Its own policy forbids all but the one style and the one script that are written in it,
    by their hashes, and pictures beside it where there are some. class_: of its body.
    """
    policy = "; ".join(
        (
            "default-src 'none'",
            f"style-src {digest(style)}",
            *([f"script-src {digest(script)}"] if script else []),
            *(["img-src 'self'"] if pictures else []),
            "base-uri 'none'",
            "form-action 'none'",
        )
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
    last = [tag("script", Html(script))] if script else []
    body = tag("body", *children, *last, class_=class_)
    return f"<!doctype html>\n{tag('html', head, body, lang='en')}\n"


def asset(name: str, package: str = "corpusreg.documents") -> str:
    """The text of a file in a package's folder `assets`, with plain line ends."""
    text = files(package).joinpath("assets", name).read_text(encoding="utf-8")
    return text.replace("\r\n", "\n")


def together(children: Iterable[str]) -> Html:
    """Children one after the other, text among them escaped."""
    return Html("".join(c if isinstance(c, Html) else _escaped(c) for c in children))


def json_text(data: Any) -> Html:
    """JSON that may stand inside a <script> element: nothing in it can end the element.

    >>> json_text(["</script>"])
    '["\\\\u003c/script\\\\u003e"]'
    """
    text = json.dumps(data, separators=(",", ":"))
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Html(text)


def digest(text: str) -> str:
    """The hash by which a content security policy allows one script or style."""
    found = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(found).decode('ascii')}'"


def _name(key: str) -> str:
    return key.rstrip("_").replace("_", "-")


def _escaped(text: str) -> str:
    return html.escape(_FORBIDDEN.sub("\ufffd", text))
