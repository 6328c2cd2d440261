"""The class among the repertoire: a line for each measure, a dot for each piece.

Each line goes from less to more. The works that a piece is compared with are spread
evenly along it, so that a class like them would be spread evenly too: a quarter of its
dots in each outer field, a half in the middle. Dots that would hide each other are piled
up. They carry no names. A ring is a piece like many of its works, which counts on no side.
"""

from __future__ import annotations

from collections.abc import Sequence

from corpusreg.documents.handout.classroom import Row
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

__all__ = ["class_picture"]

WIDTH = 650.0
_NAMES = 190.0
_RIGHT = 64.0
_STEP = 9.0  # from dot to dot in a pile
_TALLEST = 54.0  # height of a pile, whose dots are smaller where there are many
_DOT = 0.44  # radius of a dot, by the step
_LEAST = 30.0  # height of the field of a line
_BIN = 2.5  # ranks that share a pile


def class_picture(rows: Sequence[Row], *, prefix: str) -> Picture:
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
    for row in rows:
        block, y = _row(row, y, left, right)
        drawn.append(block)
    return document(
        drawn,
        size=(WIDTH, y),
        prefix=prefix,
        title="The class among the works that its pieces are compared with",
        description=" ".join(map(_said, rows)),
    )


def piles(dots: Sequence[tuple[float, str]]) -> list[tuple[float, list[str]]]:
    """Where dots are piled up, from 0 to 100, and the side of each there.

    >>> piles([(50.0, "middle"), (50.9, "none"), (100.0, "high")])
    [(51.25, ['middle', 'none']), (98.75, ['high'])]
    """
    last = int(100 / _BIN) - 1
    bins: dict[int, list[str]] = {}
    for rank, side in dots:
        bins.setdefault(min(int(rank / _BIN), last), []).append(side)
    return [((at + 0.5) * _BIN, bins[at]) for at in sorted(bins)]


def _row(row: Row, y: float, left: float, right: float) -> tuple[Markup, float]:
    found = piles(row.dots)
    tallest = max((len(sides) for _, sides in found), default=0)
    step = min(_STEP, _TALLEST / max(tallest, 1))
    height = max(_LEAST, tallest * step + 6)
    foot = y + height
    width = right - left
    title = row.measure.title
    drawn = [
        boxes([(left + width / 4, y, width / 2, height)], "pale"),
        line(left, foot, right, foot, "line"),
        line(left + width / 2, y, left + width / 2, foot, "line"),
        label(capital(title), GAP, foot - 8, SIZES["text"]),
    ]
    for rank, sides in found:
        drawn += [
            _dot(left + rank / 100 * width, foot - 3 - (place + 0.5) * step, step, side)
            for place, side in enumerate(sides)
        ]
    if row.unplaced:
        words = f"{row.unplaced} not placed"
        drawn.append(label(words, right + GAP / 2, foot - 8, SIZES["small"], "quiet"))
    return element("g", *drawn, data_measure=row.measure.name), foot + 2 * GAP


def _dot(x: float, y: float, step: float, side: str) -> Markup:
    if side == "none":
        return element("circle", cx=x, cy=y, r=_DOT * step - 0.6, **paint("rule", width="thin"))
    return element("circle", cx=x, cy=y, r=_DOT * step, **paint("weight4"))


def _said(row: Row) -> str:
    sides = [side for _, side in row.dots]
    alike = sides.count("none")
    return (
        f"{row.measure.title}: {sides.count('low')} of {len(sides)} in the lowest quarter, "
        f"{sides.count('high')} in the highest"
        + (f", {alike} like many of the works." if alike else ".")
    )
