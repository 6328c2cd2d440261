"""The class among the repertoire: a line for each measure, a numbered dot for each piece.

Each line goes from less to more. The works that a piece is compared with are spread
evenly along it, so that a class like them would be spread evenly too: a quarter of its
dots in each outer field, a half in the middle. Dots that would hide each other are piled
up. The number is that of the piece in alphabetical order (`key`). A ring is a piece whose
side cannot be told.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from corpusreg.comparison.classroom import Class, ClassLine, Dot
from corpusreg.documents.pictures.look import GAP, SIZES, paint
from corpusreg.documents.pictures.svg import (
    Markup,
    Picture,
    boxes,
    document,
    element,
    label,
    line,
)
from corpusreg.system.phrases import capital
from corpusreg.text.classroom import line_words, named
from corpusreg.text.measures import title

__all__ = ["class_picture", "key", "piles"]

WIDTH = 650.0
_NAMES = 190.0
_RIGHT = 84.0  # room for "2 not placed", in a wide font too
_STEP = 17.0  # from dot to dot in a pile
_RADIUS = 8.0
_LEAST = 30.0  # height of the field of a line
_BIN = 4.0  # ranks that share a pile


def key(group: Class) -> tuple[tuple[str, str], ...]:
    """The number of each dot, and whose it is."""
    return tuple((str(n), named(member)) for n, member in enumerate(group.members, start=1))


def class_picture(group: Class, *, prefix: str) -> Picture:
    """All measures of a class below each other."""
    small = SIZES["small"]
    left, right = _NAMES, WIDTH - _RIGHT
    y = GAP + small
    centre = (left + right) / 2
    drawn = [
        label("less", left, y, small, "quiet"),
        label("the middle half of the works", centre, y, small, "quiet", text_anchor="middle"),
        label("more", right, y, small, "quiet", text_anchor="end"),
    ]
    y += GAP
    numbers = {member.key: n for n, member in enumerate(group.members, start=1)}
    for each in group.lines:
        block, y = _line(each, numbers, y, left, right)
        drawn.append(block)
    return document(
        drawn,
        size=(WIDTH, y),
        prefix=prefix,
        title="The class among the works that its pieces are compared with",
        description=" ".join(map(line_words, group.lines)),
    )


def piles(dots: Sequence[Dot]) -> list[tuple[float, list[Dot]]]:
    """Where dots are piled up, from 0 to 100, and those that lie there, lowest first."""
    last = int(100 / _BIN) - 1
    bins: dict[int, list[Dot]] = {}
    for dot in dots:
        bins.setdefault(min(int(dot.percentile / _BIN), last), []).append(dot)
    return [((at + 0.5) * _BIN, bins[at]) for at in sorted(bins)]


def _line(
    found: ClassLine, numbers: Mapping[str, int], y: float, left: float, right: float
) -> tuple[Markup, float]:
    piled = piles(found.dots)
    tallest = max((len(dots) for _, dots in piled), default=0)
    height = max(_LEAST, tallest * _STEP + 6)
    foot = y + height
    width = right - left
    drawn = [
        boxes([(left + width / 4, y, width / 2, height)], "pale"),
        line(left, foot, right, foot, "line"),
        line(left + width / 2, y, left + width / 2, foot, "line"),
        label(capital(title(found.measure.name)), GAP, foot - 8, SIZES["text"]),
    ]
    for rank, dots in piled:
        for place, dot in enumerate(dots):
            x, centre = left + rank / 100 * width, foot - 3 - (place + 0.5) * _STEP
            drawn += _dot(x, centre, dot, numbers[dot.member.key])
    if found.unplaced:
        words = f"{len(found.unplaced)} not placed"
        drawn.append(label(words, right + GAP / 2, foot - 8, SIZES["small"], "quiet"))
    return element("g", *drawn, data_measure=found.measure.name), foot + 2 * GAP


def _dot(x: float, y: float, dot: Dot, number: int) -> list[Markup]:
    """A disc with the number of the piece in it, or a ring."""
    small = SIZES["small"]
    ring = dot.side == "none"
    style = paint("paper") if ring else paint("weight4")
    around = paint("rule", width="thin") if ring else {}
    return [
        element("circle", cx=x, cy=y, r=_RADIUS, **style),
        *([element("circle", cx=x, cy=y, r=_RADIUS - 0.5, **around)] if ring else []),
        label(
            str(number), x, y + 0.35 * small, small, "ink" if ring else "paper",
            text_anchor="middle",
        ),
    ]  # fmt: skip
