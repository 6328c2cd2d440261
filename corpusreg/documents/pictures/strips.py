"""Placement strips: for a measure the works compared with, and where the piece lies.

    strip(comparison, name, *, prefix, words="") -> Picture | None

The grey hill is how
the values of the works lie that count for a piece of this size, weighted as the placement
weighs them (`Cohort.near`, `unit_weights`): units the same, works of about the piece's
length most. The darker part of the hill is where the piece lies among them with 95 %
certainty, its interval of ranks put back into values; the tick is the middle, the diamond
the piece. A value that many works share exactly stands apart as a column, as high as its
share, since no hill can show it. The outermost hundredth of the works on either side may
lie beyond the strip. Boxes with data-told say how many works lie where one points.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.comparison import Comparison, PlacedMeasure
from corpusreg.documents.pictures.look import GAP, SIZES, paint
from corpusreg.documents.pictures.svg import (
    Markup,
    Picture,
    boxes,
    document,
    element,
    label,
    line,
    moved,
    points,
)
from corpusreg.measures.definitions import Measure
from corpusreg.norms.reference import Size, unit_weights, weighted_quantile
from corpusreg.system.phrases import capital
from corpusreg.text.sentences import value_words

__all__ = ["SLICES", "spread", "strip"]

_HILL = 26.0
_WIDTH = 260.0
SLICES = 16  # of a strip
_POINTS = 73
_ATOM = 0.2  # as in `words`: from here on a value is said to be shared
_NEGLIGIBLE = 1e-3

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spread:
    """Values of a cohort as a picture needs them.

    at: shape (k,), values from one end of the strip to the other; hill: shape (k,), how
    densely other values lie there, as the share that a slice of SLICES would hold if it
    were as dense throughout. shared: values with much weight of their own, and their
    shares. interval: values at the ends of the interval of ranks. slices: the share of the
    works in each of SLICES equal parts of the strip, what lies beyond in the outermost.
    """

    at: Floats
    hill: Floats
    shared: tuple[tuple[float, float], ...]
    middle: float
    interval: tuple[float, float]
    slices: tuple[float, ...]


def spread(comparison: Comparison, each: PlacedMeasure) -> Spread | None:
    """The cohort's values of a measure; None where the piece is not placed."""
    placement = each.placement
    if placement.percentile is None or placement.interval is None or each.value is None:
        return None
    whole, cohort = comparison.whole, comparison.cohort
    size = Size(len(whole.played.bars), whole.texture.voices)
    kernel = cohort.near(size, each.measure.name)
    if kernel is None:
        return None
    has = kernel > _NEGLIGIBLE
    values = cohort.values[each.measure.name][has]
    weights = unit_weights(cohort.unit[has], kernel[has])
    low, high = (
        weighted_quantile(values, weights, share / 100) for share in placement.interval
    )
    distinct, index = np.unique(values, return_inverse=True)
    mass = np.bincount(index, weights).astype(np.float64)
    atoms = mass >= _ATOM
    start = min(weighted_quantile(values, weights, 0.01), each.value)
    end = max(weighted_quantile(values, weights, 0.99), each.value)
    at = np.linspace(start, end if end > start else start + 1, _POINTS)
    hill = _density(distinct[~atoms], mass[~atoms], at) * (at[-1] - at[0]) / SLICES
    return Spread(
        at=at,
        hill=hill,
        shared=tuple(zip(distinct[atoms].tolist(), mass[atoms].tolist(), strict=True)),
        middle=weighted_quantile(values, weights, 0.5),
        # Where no work lies beyond the piece, its own value is the end of what is known.
        interval=(min(low, each.value), max(high, each.value)),
        slices=tuple(
            np.histogram(
                np.clip(values, at[0], at[-1]), SLICES, (at[0], at[-1]), weights=weights
            )[0].tolist()
        ),
    )


def _density(values: Floats, mass: Floats, at: Floats) -> Floats:
    """Density of weighted values, shape of `at`; its integral is at most the mass.

    Normal kernels with the width of Silverman 1986, formula 3.31, for the effective
    number of values. What they would put beyond the outermost values is folded back, so
    that nothing is drawn where no work lies.
    """
    total = mass.sum()
    if total <= 0:
        return np.zeros(len(at))
    weights = mass / total
    middle = float(weights @ values)
    spread_out = float(weights @ (values - middle) ** 2) ** 0.5
    quarters = [weighted_quantile(values, weights, share) for share in (0.25, 0.75)]
    narrow = min(filter(None, (spread_out, (quarters[1] - quarters[0]) / 1.34)), default=0.0)
    width = 0.9 * narrow * float((weights**2).sum()) ** 0.2
    width = max(width, float(at[-1] - at[0]) / 200)
    low, high = values.min(), values.max()

    def hill(places: Floats) -> Floats:
        away = (places[:, None] - values) / width
        return np.asarray(np.exp(-(away**2) / 2) @ weights / (width * np.sqrt(2 * np.pi)))

    folded = hill(at) + hill(2 * low - at) + hill(2 * high - at)
    return np.where((at >= low) & (at <= high), total * folded, 0.0)


def strip(comparison: Comparison, name: str, *, prefix: str, words: str = "") -> Picture | None:
    """The strip of one measure; None where the piece is not placed.

    prefix: begins every id. words: how it compares, for those who hear it read.
    """
    each = next(m for m in comparison.measures if m.measure.name == name)
    found = spread(comparison, each)
    if found is None or each.value is None:
        return None
    return document(
        _strip(found, each, GAP, _WIDTH - GAP, _HILL + 6),
        size=(_WIDTH, _HILL + 6 + 2 * GAP + 2),
        prefix=prefix,
        title=capital(each.measure.title),
        description=words,
    )


def _strip(
    found: Spread, each: PlacedMeasure, left: float, right: float, foot: float
) -> list[Markup]:
    start, end = float(found.at[0]), float(found.at[-1])
    tallest = max(float(found.hill.max()), *(share for _, share in found.shared), 1e-9)

    def x(at: float) -> float:
        return left + (min(max(at, start), end) - start) / (end - start) * (right - left)

    def slope(first: float, last: float, role: str) -> Markup:
        """The hill from one value to another."""
        at = np.clip(
            [first, *found.at[(found.at > first) & (found.at < last)], last], start, end
        )
        tall = np.interp(at, found.at, found.hill) * _HILL / tallest
        top = [(x(v), foot - t) for v, t in zip(at.tolist(), tall.tolist(), strict=True)]
        corners = [(top[0][0], foot), *top, (top[-1][0], foot)]
        return element("polygon", points=points(corners), **paint(role))

    middle = x(found.middle)
    low, high = (x(at) for at in found.interval)
    said = _plain_number(found.middle, each.measure)
    return [
        slope(start, end, "pale"),
        slope(*found.interval, "weight2"),
        *(_column(x(at), share / tallest, foot) for at, share in found.shared),
        line(left, foot, right, foot, "line"),
        line(middle, foot - _HILL, middle, foot + 4, "rule"),
        label(said, middle, foot + 13, SIZES["small"], "quiet", text_anchor="middle"),
        line(low, foot, max(high, low + 0.5), foot, "outline", "strong"),
        moved(_diamond(), x(each.value or 0.0), foot),
        *_answers(found, each.measure, left, right, foot),
    ]


def _answers(
    found: Spread, measure: Measure, left: float, right: float, foot: float
) -> Iterator[Markup]:
    """Transparent boxes that say, when pointed at, how many works lie there."""
    wide = (right - left) / SLICES
    ends = np.linspace(found.at[0], found.at[-1], SLICES + 1).tolist()
    for place, share in enumerate(found.slices):
        many = f"about {100 * share:.0f} of 100" if share >= 0.005 else "hardly any"
        low, high = (_plain_number(end, measure) for end in ends[place : place + 2])
        span = low if low == high else f"{low} to {high}"
        unit = "%" if measure.unit.startswith("share") else measure.unit
        told = f"{capital(measure.title)}, {span} {unit}: {many} works"
        yield element(
            "rect",
            element("title", told),
            x=left + place * wide, y=foot - _HILL, width=wide, height=_HILL + 6,
            fill="none", pointer_events="all", data_told=told,
        )  # fmt: skip


def _plain_number(value: float, measure: Measure) -> str:
    """The value without its unit, as the words round it."""
    return value_words(measure, value).partition(" ")[0]


def _column(x: float, share: float, foot: float) -> Markup:
    """A value that many works share, on the scale of the hill."""
    return boxes([(x - 2.5, foot - _HILL * share, 5.0, _HILL * share)], "weight3")


def _diamond() -> Markup:
    return element("polygon", points="0,-5 5,0 0,5 -5,0", **paint("mark"))
