"""The class among the repertoire: a line for each measure, a dot for each piece.

Each line goes from less to more. The works that a piece is compared with are spread
evenly along it, so that a class like them would be spread evenly too: a quarter of its
dots in each outer field, a half in the middle. Dots that would hide each other are piled
up. They carry no names.
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


def piles(ranks: Sequence[float]) -> list[tuple[float, int]]:
    """Where dots are piled up, from 0 to 100, and how many there.

    >>> piles([50.0, 50.9, 100.0])
    [(51.25, 2), (98.75, 1)]
    """
    last = int(100 / _BIN) - 1
    bins = [min(int(rank / _BIN), last) for rank in ranks]
    return [((at + 0.5) * _BIN, bins.count(at)) for at in sorted(set(bins))]


def _row(row: Row, y: float, left: float, right: float) -> tuple[Markup, float]:
    found = piles(row.ranks)
    tallest = max((number for _, number in found), default=0)
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
    for rank, number in found:
        drawn += [
            element(
                "circle",
                cx=left + rank / 100 * width,
                cy=foot - 3 - (place + 0.5) * step,
                r=_DOT * step,
                **paint("weight4"),
            )
            for place in range(number)
        ]
    if row.unplaced:
        words = f"{row.unplaced} not placed"
        drawn.append(label(words, right + GAP / 2, foot - 8, SIZES["small"], "quiet"))
    return element("g", *drawn, data_measure=row.measure.name), foot + 2 * GAP


def _said(row: Row) -> str:
    low = sum(rank < 25 for rank in row.ranks)
    high = sum(rank > 75 for rank in row.ranks)
    return (
        f"{row.measure.title}: {low} of {len(row.ranks)} in the lowest quarter, "
        f"{high} in the highest."
    )
