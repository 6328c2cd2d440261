"""Octave use: how much of the piece sounds in each octave, against the works compared with.

    octave_chart(comparison, *, prefix, width=WIDTH) -> Picture

Pitch goes upward as on the register map: one row an octave, C to B, named by its notes,
with id '<prefix>-octave-<number>' ('low' for octave -1). The bar is the piece; the pale
box holds the middle half of the works, the tick their middle. The works are weighted as
the placement weighs them: units the same, works of about the piece's length most. Where
the cohort cannot be weighted so, or its octaves were not fetched, the piece stands alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from corpusreg.comparison.comparison import Comparison
from corpusreg.documents.pictures.look import GAP, SIZES
from corpusreg.documents.pictures.map_key import Entry, key
from corpusreg.documents.pictures.svg import (
    Markup,
    Picture,
    boxes,
    document,
    element,
    label,
    line,
    lines,
)
from corpusreg.norms.reference import BASIC, Size, unit_weights, weighted_quantile
from corpusreg.score.pitch import band_name
from corpusreg.system.plaintext import plain
from corpusreg.text.sentences import (
    cohort_words,
)

__all__ = ["octave_chart", "octave_uses"]

WIDTH = 620.0
_ROW = 27.0
_NAMES, _WORDS = 66.0, 190.0
_SEEN = 0.005  # a share that is printed as 1 % or more
_NEGLIGIBLE = 1e-3


@dataclass(frozen=True)
class OctaveUse:
    """Shares of the sound (0 to 1) in one octave.

    quarters: lower quartile, middle and upper quartile of the works; None without works.
    """

    octave: int
    share: float
    quarters: tuple[float, float, float] | None


def octave_uses(comparison: Comparison) -> list[OctaveUse]:
    """The octaves from the lowest to the highest that the piece or the works use.

    The works use an octave where their upper quartile does.
    """
    shares = comparison.whole.band_shares
    quarters = _quarters(comparison)
    found = [
        OctaveUse(band - 1, float(share), quarters[band] if quarters else None)
        for band, share in enumerate(shares)
    ]
    used = [
        each.octave
        for each in found
        if each.share > 0 or (each.quarters and each.quarters[2] >= _SEEN)
    ]
    return [each for each in found if min(used) <= each.octave <= max(used)]


def _quarters(comparison: Comparison) -> list[tuple[float, float, float]] | None:
    """Quartiles of each octave's share among the works that count."""
    whole, cohort = comparison.whole, comparison.cohort
    size = Size(len(whole.played.bars), whole.texture.voices)
    kernel = cohort.near(size, BASIC)
    if comparison.octaves is None or kernel is None:
        return None
    has = kernel > _NEGLIGIBLE
    weights = unit_weights(cohort.unit[has], kernel[has])
    return [
        (
            weighted_quantile(column, weights, 0.25),
            weighted_quantile(column, weights, 0.5),
            weighted_quantile(column, weights, 0.75),
        )
        for column in comparison.octaves[has].T
    ]


def octave_chart(comparison: Comparison, *, prefix: str, width: float = WIDTH) -> Picture:
    """One row for each octave, the highest above. prefix: begins every id."""
    found = octave_uses(comparison)[::-1]
    most = max(max(each.share, *(each.quarters or (0.0,))) for each in found)
    scale = (width - _NAMES - _WORDS - GAP) / _rounded(most)
    y = GAP
    drawn: list[Markup] = [_grid(_rounded(most), scale, y, y + _ROW * len(found))]
    for each in found:
        drawn.append(_row(each, scale, y, width, prefix))
        y += _ROW
    compared = found[0].quarters is not None
    signs, y = key(_key(compared), y + 1.5 * GAP + SIZES["small"], width)
    among = f" among {cohort_words(comparison.cohort)}" if compared else ""
    return document(
        [*drawn, signs],
        size=(width, y + GAP),
        prefix=prefix,
        title=f"Octaves of {plain(comparison.piece.title)}{among}",
        description=_description(found),
    )


def _rounded(share: float) -> float:
    """A tenth at which the scale may end."""
    return min(math.ceil(10 * share - 1e-9), 10) / 10


def _grid(most: float, scale: float, top: float, foot: float) -> Markup:
    """Lines at round shares, named below."""
    step = 0.1 if most <= 0.5 else 0.2
    marks = [step * i for i in range(round(most / step + 1e-6) + 1) if step * i <= most + 1e-6]
    size = SIZES["small"]
    return element(
        "g",
        lines([(_NAMES + m * scale, top, _NAMES + m * scale, foot) for m in marks], "faint"),
        *(
            label(
                f"{100 * m:.0f} %",
                _NAMES + m * scale,
                foot + size + 1,
                size,
                "quiet",
                text_anchor="middle",
            )
            for m in marks
        ),
    )


def _row(each: OctaveUse, scale: float, y: float, width: float, prefix: str) -> Markup:
    small, text = SIZES["small"], SIZES["text"]
    foot = y + _ROW / 2
    drawn = [label(band_name(each.octave), _NAMES - 6, foot + 4, text, text_anchor="end")]
    if each.quarters:
        low, middle, high = (_NAMES + scale * share for share in each.quarters)
        drawn.append(boxes([(low, y + 3, max(high - low, 0.5), _ROW - 6)], "pale"))
    drawn.append(boxes([(_NAMES, foot - 4, scale * each.share, 8.0)], "weight3"))
    if each.quarters:
        drawn.append(line(middle, y + 3, middle, y + _ROW - 3, "rule"))
    drawn += [
        line(_NAMES, y, _NAMES, y + _ROW, "line"),
        label(_percent(each.share), width - _WORDS + GAP, foot + 4, text),
        label(_words(each), width - _WORDS + 48, foot + 4, small, "quiet"),
    ]
    return element(
        "g",
        *drawn,
        id=f"{prefix}-octave-{each.octave if each.octave >= 0 else 'low'}",
        class_="octave",
        data_octave=str(each.octave),
    )


def _percent(share: float) -> str:
    return "none" if share == 0 else "below 1 %" if share < _SEEN else f"{100 * share:.0f} %"


def _words(each: OctaveUse) -> str:
    if each.quarters is None or (each.share and each.share < _SEEN):
        return ""
    low, _, high = (round(100 * share) for share in each.quarters)
    if high == 0:
        return "hardly any work is here"
    return f"half of the works: {low} to {high} %"


def _description(found: Sequence[OctaveUse]) -> str:
    said = ", ".join(f"{band_name(each.octave)} {_percent(each.share)}" for each in found)
    return f"How much of the sound lies in each octave, from the top: {said}."


def _key(compared: bool) -> list[Entry]:
    entries: list[Entry] = [(boxes([(0, -4, 20, 8)], "weight3"), 20, "this piece")]
    if compared:
        entries += [
            (boxes([(0, -6, 20, 12)], "pale"), 20, "the middle half of the works"),
            (line(3, -6, 3, 6, "rule"), 6, "their middle"),
        ]
    return entries
