"""SVG as text: elements, escaping, numbers. Knows nothing of music.

Conventions: user units are CSS pixels; x goes right, y goes down. A `Markup` is finished
SVG; any other text is escaped, so that a title that holds markup is shown as it is.
"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from corpusreg.documents.pictures.look import FONT, paint

__all__ = [
    "Markup", "Picture", "boxes", "document", "element", "escaped", "label", "line", "lines",
    "moved", "number", "points", "shortened", "text_width", "wrapped",
]  # fmt: skip

# Signs that XML 1.0 does not allow (section 2.2), and single surrogates.
_FORBIDDEN = re.compile(r"[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_LETTER = 0.47  # width of a letter by its size, on average, in the text face


class Markup(str):
    """Finished SVG."""

    __slots__ = ()


@dataclass(frozen=True)
class Picture:
    """A drawing. width, height: CSS pixels. description: what it shows, in words."""

    svg: str
    width: float
    height: float
    title: str
    description: str


def number(value: float) -> str:
    """A finite number with two decimals at most.

    >>> number(1.0), number(-0.001), number(2.345)
    ('1', '0', '2.35')
    """
    if not math.isfinite(value):
        raise ValueError(f"{value} has no place in a drawing")
    text = f"{round(float(value) + 1e-9, 2):.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def escaped(text: str) -> str:
    """Text as it may stand between tags or in an attribute."""
    return html.escape(_FORBIDDEN.sub("\ufffd", text))


def element(tag: str, *children: str, **attributes: str | float | None) -> Markup:
    """One element. Attributes that are None are left out.

    `class_` is written class, and `data_bar` data-bar.

    >>> element("text", "Air & <b>", x=1.5, class_="ink")
    '<text x="1.5" class="ink">Air &amp; &lt;b&gt;</text>'
    """
    given = "".join(
        f' {name.rstrip("_").replace("_", "-")}="'
        f'{escaped(value) if isinstance(value, str) else number(value)}"'
        for name, value in attributes.items()
        if value is not None
    )
    inside = "".join(c if isinstance(c, Markup) else escaped(c) for c in children)
    return Markup(f"<{tag}{given}>{inside}</{tag}>" if inside else f"<{tag}{given}/>")


def points(pairs: Iterable[tuple[float, float]]) -> str:
    """Corners of a polygon as an attribute."""
    return " ".join(f"{number(x)},{number(y)}" for x, y in pairs)


def label(
    text: str, x: float, y: float, size: float, role: str = "ink", **more: str | float | None
) -> Markup:
    """Text whose foot line begins at x, y."""
    return element("text", text, x=x, y=y, font_size=size, **paint(role), **more)


def lines(
    several: Iterable[tuple[float, float, float, float]],
    role: str,
    width: str | float = "thin",
    **more: str | float | None,
) -> Markup:
    """Straight lines (x and y of both ends) of one role as one path; nothing for none."""
    data = "".join(
        f"M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}" for x1, y1, x2, y2 in several
    )
    return element("path", d=data, **paint(role, width=width), **more) if data else Markup()


def line(
    x1: float, y1: float, x2: float, y2: float, role: str, width: str | float = "thin"
) -> Markup:
    """A straight line."""
    return lines([(x1, y1, x2, y2)], role, width)


def boxes(several: Iterable[tuple[float, float, float, float]], role: str) -> Markup:
    """Boxes (x, y, width, height) of one role as one path."""
    data, at = "", (0.0, 0.0)
    for x, y, w, h in several:
        # From the corner before; on rounded places, so that nothing adds up.
        here = round(x, 2), round(y, 2)
        step = f"m{number(here[0] - at[0])} {number(here[1] - at[1])}"
        data += f"{step}h{number(w)}v{number(h)}h{number(-w)}z"
        at = here
    return element("path", d=data, **paint(role))


def moved(what: Markup, x: float, y: float) -> Markup:
    """Something drawn around the origin, put elsewhere."""
    return element("g", what, transform=f"translate({number(x)} {number(y)})")


def text_width(text: str, size: float) -> float:
    """About how wide a line of text is; a little too wide rather than too narrow."""
    return len(text) * size * _LETTER


def wrapped(text: str, room: float, size: float) -> list[str]:
    """Words in lines that fit a width; a word that is too long for one is cut."""
    rows: list[str] = []
    for word in text.split() or [""]:
        if rows and text_width(f"{rows[-1]} {word}", size) <= room:
            rows[-1] += f" {word}"
        else:
            rows.append(shortened(word, room, size))
    return rows


def shortened(text: str, room: float, size: float) -> str:
    """Text cut to a width, with dots where it is cut."""
    if text_width(text, size) <= room:
        return text
    letters = max(int(room / text_width("n", size)) - 1, 1)
    return f"{text[:letters].rstrip()}\u2026"


def document(
    children: Iterable[str],
    *,
    size: tuple[float, float],
    prefix: str,
    title: str,
    description: str,
    shown: tuple[float, float] | None = None,
) -> Picture:
    """A whole drawing on paper of its own.

    size: width and height in the units of the children. shown: in pixels, None for the
    same.
    """
    width, height = shown or size
    svg = element(
        "svg",
        element("title", title, id=f"{prefix}-title"),
        element("desc", description, id=f"{prefix}-desc"),
        element("rect", width=size[0], height=size[1], **paint("paper")),
        *children,
        xmlns="http://www.w3.org/2000/svg",
        id=prefix,
        class_="picture",
        width=width,
        height=height,
        viewBox=f"0 0 {number(size[0])} {number(size[1])}",
        role="img",
        aria_labelledby=f"{prefix}-title {prefix}-desc",
        font_family=FONT,
    )
    return Picture(svg, width, height, title, description)
