"""Placement strips: for each measure the works compared with, and where the piece lies.

    strips(comparison, names=None, *, prefix, width=...) -> Picture

One row a measure, with id '<prefix>-measure-<name>' and data-measure. The grey hill is how
the values of the works lie that count for a piece of this size, weighted as the placement
weighs them (`Cohort.near`, `unit_weights`): units the same, works of about the piece's
length most. The darker part of the hill is where the piece lies among them with 95 %
certainty, its interval of ranks put back into values; the tick is the middle, the diamond
the piece. A value that many works share exactly stands apart as a column, as high as its
share, since no hill can show it. The outermost hundredth of the works on either side may
lie beyond the strip.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison import Comparison, PlacedMeasure
from corpusreg.definitions import Measure
from corpusreg.pictures.look import GAP, SIZES, paint
from corpusreg.pictures.map_key import Entry, key
from corpusreg.pictures.svg import Markup, Picture, boxes, document, element, label, line, moved
from corpusreg.reference import Size, unit_weights, weighted_quantile
from corpusreg.words.sentences import cohort_words, place_words, plain, value_words

__all__ = ["WIDTH", "Spread", "bare_strip", "spread", "strips", "strips_key"]

WIDTH = 760.0
_ROW = 46.0
_HILL = 26.0
_NAMES, _WORDS = 214.0, 150.0
_BINS = (8, 24)  # the more works count, the finer
_ATOM = 0.2  # as in `words`: from here on a value is said to be shared
_NEGLIGIBLE = 1e-3

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spread:
    """Values of a cohort as a picture needs them.

    edges: shape (bins + 1,); shares: shape (bins,), of all weight, shared values left
    out. shared: values with much weight of their own, and their shares. interval: values
    at the ends of the interval of ranks.
    """

    edges: Floats
    shares: Floats
    shared: tuple[tuple[float, float], ...]
    middle: float
    interval: tuple[float, float]


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
    mass = np.bincount(index, weights)
    atoms = mass >= _ATOM
    start = min(weighted_quantile(values, weights, 0.01), each.value)
    end = max(weighted_quantile(values, weights, 0.99), each.value)
    if end <= start:
        end = start + 1
    bins = int(np.clip(1.5 / float((weights**2).sum()) ** 0.5, *_BINS))
    shares, edges = np.histogram(
        values, bins=bins, range=(start, end), weights=np.where(atoms[index], 0.0, weights)
    )
    return Spread(
        edges=edges,
        shares=shares,
        shared=tuple(zip(distinct[atoms].tolist(), mass[atoms].tolist(), strict=True)),
        middle=weighted_quantile(values, weights, 0.5),
        # Where no work lies beyond the piece, its own value is the end of what is known.
        interval=(min(low, each.value), max(high, each.value)),
    )


def strips(
    comparison: Comparison,
    names: Sequence[str] | None = None,
    *,
    prefix: str,
    width: float = WIDTH,
) -> Picture:
    """A row for each measure, or for those named, in the order of the definitions.

    prefix: begins every id.
    """
    chosen = [m for m in comparison.measures if names is None or m.measure.name in names]
    y = GAP
    drawn: list[Markup] = []
    for each in chosen:
        drawn.append(_row(comparison, each, prefix, y, width))
        y += _ROW
    placed = sum(each.placement.percentile is not None for each in chosen)
    signs, y = key(_key(placed > 0), y + GAP, width)
    return document(
        [*drawn, signs],
        size=(width, y + GAP),
        prefix=prefix,
        title=f"{plain(comparison.piece.title)} among {cohort_words(comparison.cohort)}",
        description=(
            f"For {placed} of {len(chosen)} measures: the values of the works, "
            "the piece's own, and how surely it lies there."
        ),
    )


def bare_strip(
    comparison: Comparison, name: str, *, prefix: str, width: float = 260.0
) -> Picture | None:
    """The strip of one measure without its words; None where the piece is not placed."""
    each = next(m for m in comparison.measures if m.measure.name == name)
    found = spread(comparison, each)
    if found is None or each.value is None:
        return None
    title = each.measure.title
    return document(
        _strip(found, each, GAP, width - GAP, _HILL + 6),
        size=(width, _HILL + 2 * GAP),
        prefix=prefix,
        title=title[0].upper() + title[1:],
        description=place_words(each.measure, each.value, each.placement),
    )


def strips_key(*, prefix: str, width: float = WIDTH) -> Picture:
    """What the signs of strips mean."""
    signs, y = key(_key(True), GAP, width)
    return document(
        [signs],
        size=(width, y + GAP),
        prefix=prefix,
        title="Signs of the strips",
        description="What the signs in the strips mean.",
    )


def _row(
    comparison: Comparison, each: PlacedMeasure, prefix: str, y: float, width: float
) -> Markup:
    small, text = SIZES["small"], SIZES["text"]
    title, value = each.measure.title, value_words(each.measure, each.value)
    found = spread(comparison, each)
    left, right, foot = _NAMES, width - _WORDS - GAP, y + _HILL + 6
    drawn = [
        label(title[0].upper() + title[1:], GAP, foot - 9, text),
        label(value, GAP, foot + 4, small, "quiet"),
    ]
    if found is None or each.value is None:
        drawn.append(_unplaced(each.placement.reason, left, right, foot))
    else:
        drawn += _strip(found, each, left, right, foot)
        said = place_words(each.measure, each.value, each.placement)
        drawn.append(label(said, right + 2 * GAP, foot - 3, text))
    return element(
        "g",
        *drawn,
        id=f"{prefix}-measure-{each.measure.name}",
        class_="strip",
        data_measure=each.measure.name,
    )


def _unplaced(reason: str, left: float, right: float, foot: float) -> Markup:
    """An empty strip with the reason."""
    words = f"not placed: {reason}" if reason else "not placed"
    return element(
        "g",
        line(left, foot, right, foot, "faint"),
        label(words, left, foot - 5, SIZES["small"], "quiet", font_style="italic"),
    )


def _strip(
    found: Spread, each: PlacedMeasure, left: float, right: float, foot: float
) -> list[Markup]:
    start, end = float(found.edges[0]), float(found.edges[-1])
    tallest = max(float(found.shares.max()), *(share for _, share in found.shared), 1e-9)

    def x(at: float) -> float:
        return left + (min(max(at, start), end) - start) / (end - start) * (right - left)

    hill, inside = [], []
    for (a, b), share in zip(pairwise(found.edges.tolist()), found.shares, strict=True):
        tall = _HILL * float(share) / tallest
        low, high = max(a, found.interval[0]), min(b, found.interval[1])
        if share > 0:
            hill.append((x(a), foot - tall, x(b) - x(a), tall))
        if share > 0 and high > low:
            inside.append((x(low), foot - tall, x(high) - x(low), tall))
    middle = x(found.middle)
    low, high = (x(at) for at in found.interval)
    said = _plain_number(found.middle, each.measure)
    return [
        boxes(hill, "pale"),
        boxes(inside, "weight2"),
        *(_column(x(at), share / tallest, foot) for at, share in found.shared),
        line(left, foot, right, foot, "line"),
        line(middle, foot - _HILL, middle, foot + 4, "rule"),
        label(said, middle, foot + 13, SIZES["small"], "quiet", text_anchor="middle"),
        line(low, foot, max(high, low + 0.5), foot, "outline", "strong"),
        moved(_diamond(), x(each.value or 0.0), foot),
    ]


def _plain_number(value: float, measure: Measure) -> str:
    """The value without its unit, as the words round it."""
    return value_words(measure, value).partition(" ")[0]


def _column(x: float, share: float, foot: float) -> Markup:
    """A value that many works share, on the scale of the hill."""
    return boxes([(x - 2.5, foot - _HILL * share, 5.0, _HILL * share)], "weight3")


def _diamond() -> Markup:
    return element("polygon", points="0,-5 5,0 0,5 -5,0", **paint("mark"))


def _key(placed: bool) -> list[Entry]:
    """What the signs mean; nothing where none occurs."""
    if not placed:
        return []
    return [
        (moved(_diamond(), 5, 0), 10, "this piece"),
        (
            line(0, 0, 22, 0, "outline", "strong"),
            22,
            "where it lies among these works, 19 times in 20",
        ),
        (line(3, -6, 3, 6, "rule"), 6, "the middle of these works"),
        (_column(3, 0.4, 5), 6, "a value that many share"),
    ]
