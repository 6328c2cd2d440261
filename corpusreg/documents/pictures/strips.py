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

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.comparison import Comparison, PlacedMeasure
from corpusreg.documents.pictures.look import GAP, SIZES, paint
from corpusreg.documents.pictures.map_key import Entry, key
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
from corpusreg.system.plaintext import plain
from corpusreg.text.sentences import (
    cohort_words,
    place_words,
    value_words,
)

__all__ = ["WIDTH", "Spread", "bare_strip", "spread", "strips", "strips_key"]

WIDTH = 760.0
_ROW = 46.0
_HILL = 26.0
_BARE = 260.0  # width of a strip without words
_NAMES, _WORDS = 214.0, 150.0
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
    shares. interval: values at the ends of the interval of ranks.
    """

    at: Floats
    hill: Floats
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
    y = GAP + SIZES["small"]
    left, right = _NAMES, width - _WORDS - GAP
    drawn = [
        label("less", left, y, SIZES["small"], "quiet"),
        label("more", right, y, SIZES["small"], "quiet", text_anchor="end"),
        label("among these works", right + 2 * GAP, y, SIZES["small"], "quiet"),
    ]
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


def bare_strip(comparison: Comparison, name: str, *, prefix: str) -> Picture | None:
    """The strip of one measure without its words; None where the piece is not placed."""
    each = next(m for m in comparison.measures if m.measure.name == name)
    found = spread(comparison, each)
    if found is None or each.value is None:
        return None
    title = each.measure.title
    return document(
        _strip(found, each, GAP, _BARE - GAP, _HILL + 6),
        size=(_BARE, _HILL + 6 + 2 * GAP + 2),
        prefix=prefix,
        title=capital(title),
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
        label(capital(title), GAP, foot - 9, text),
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
