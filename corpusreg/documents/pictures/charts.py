"""Charts of a report: strips, octave use, levels of the players, works nearby.

Placement strips: for a measure the works compared with, and where the piece lies.

    strip(comparison, name, *, prefix, words="", period="") -> Picture | None

The grey hill is how the values of the works lie that count for a piece of this size,
weighted as the placement weighs them (`Cohort.near`, `unit_weights`): units the same, works
of about the piece's length most. The darker part of the hill is where the piece lies among
them with 95 % certainty, its interval of ranks put back into values; the tick is the
middle, the diamond the piece. A value that many works share exactly stands apart as a
column, as high as its share, since no hill can show it. The outermost hundredth of the
works on either side may lie beyond the strip. Boxes with data-told say how many works lie
where one points, and name one. The works of one period are drawn lower, on the same scale.

Octave use: how much of the piece sounds in each octave, against the works compared with.

    octave_chart(comparison, *, prefix, width=WIDTH) -> Picture

Pitch goes upward as on the register map: one row an octave, C to B, named by its notes,
with id '<prefix>-octave-<number>' ('low' for octave -1). The bar is the piece; the pale
box holds the middle half of the works, the tick their middle. The works are weighted as
the placement weighs them: units the same, works of about the piece's length most. Where
the cohort cannot be weighted so, or its octaves were not fetched, the piece stands alone.

Two levels: where the sound lies in the ensemble, and where in the instrument that plays it.

    level_grid(players, spelling, *, prefix, width=WIDTH) -> Picture, or None

Rows: low, middle and high third of the compass of the ensemble (of its instruments, not of
the piece); columns: thirds of the range of the instrument. A cell is the share of the
sound, darker where there is more. A large grid for all players together, then a small one
for each, all with the id '<prefix>-grid-<n>' (0 for all together).

The piece among works that use register alike: a scatter.

    nearest_works(profile, *, prefix) -> Picture | None

Across: how wide the works are; upward: how much they move from bar to bar (or the first
two families that there are, where one of these is missing). Both are scores of ranks within
the group, so that the middle is the middle work and the lines are quarters. Every small dot
is a work of the group, at most DOTS of them; data-dots names them, as x,y,name with a bar
between. The diamond is the piece; near works have numbers, those that do the contrary of its
habit have letters, by which a page lists them.
Two families show part of what makes works near: a near work may lie farther off on this
plane than a dot.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from corpusreg.comparison.choirs import FEWEST
from corpusreg.comparison.comparison import Comparison, PlacedMeasure
from corpusreg.comparison.players import Players
from corpusreg.documents.pictures.look import GAP, SIZES, WEIGHTS, paint
from corpusreg.documents.pictures.marks import Entry, key
from corpusreg.documents.pictures.svg import (
    Markup,
    Picture,
    boxes,
    document,
    element,
    label,
    line,
    lines,
    moved,
    points,
    shortened,
)
from corpusreg.measures.definitions import Measure
from corpusreg.norms.profiles.model import Neighbour, PlacedProfile
from corpusreg.norms.reference import BASIC, Size, unit_weights, weighted_quantile
from corpusreg.score.pitch import Spelling, band_name
from corpusreg.system.phrases import capital, plural
from corpusreg.system.plaintext import plain
from corpusreg.text.measures import value_words
from corpusreg.text.wording import register

__all__ = [
    "DOTS", "SLICES", "level_grid", "nearest_works", "octave_chart", "octave_uses", "spread",
    "strip",
]  # fmt: skip

_HILL, _LOW = 26.0, 12.0  # heights: of all works, of those of a period
_WIDTH = 260.0
SLICES = 16  # of a strip
_POINTS = 73
_ATOM = 0.2  # as in `words`: from here on a value is said to be shared
_NEGLIGIBLE = 1e-3
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Hill:
    """How the values of some works lie.

    tall: shape (k,), how densely they lie at k values of a strip, as the share that a slice
    of SLICES would hold if it were as dense throughout. shared: values with much weight of
    their own, which the hill leaves out, and their shares.
    """

    tall: Floats
    shared: tuple[tuple[float, float], ...]
    middle: float


@dataclass(frozen=True)
class Spread:
    """Values of a cohort as a picture needs them.

    at: shape (k,), values from one end of the strip to the other. whole: all works that count
    for the piece. interval: values at the ends of the interval of ranks. slices: the share of
    the works in each of SLICES equal parts of the strip, what lies beyond in the outermost;
    examples: the name of a work in each, '' where none is known. periods: the works of each
    period that places the piece.
    """

    at: Floats
    whole: Hill
    interval: tuple[float, float]
    slices: tuple[float, ...]
    examples: tuple[str, ...]
    periods: Mapping[str, Hill]


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
    has = np.flatnonzero(kernel > _NEGLIGIBLE)
    values, near, unit = cohort.values[each.measure.name][has], kernel[has], cohort.unit[has]
    weights = unit_weights(unit, near)
    low, high = (
        weighted_quantile(values, weights, share / 100) for share in placement.interval
    )
    start = min(weighted_quantile(values, weights, 0.01), each.value)
    end = max(weighted_quantile(values, weights, 0.99), each.value)
    at = np.linspace(start, end if end > start else start + 1, _POINTS)
    wide = (at[-1] - at[0]) / SLICES
    slices = np.clip((values - at[0]) // wide, 0, SLICES - 1).astype(int)
    names = [""] * SLICES
    if comparison.names is not None:
        # The works nearest in length come last, so that they are the ones named.
        for row in np.argsort(near, kind="stable").tolist():
            names[slices[row]] = str(comparison.names[has[row]])
    period = cohort.period[has] if len(cohort.period) else cohort.period
    return Spread(
        at=at,
        whole=_hill(values, weights, at),
        # Where no work lies beyond the piece, its own value is the end of what is known.
        interval=(min(low, each.value), max(high, each.value)),
        slices=tuple(np.bincount(slices, weights, SLICES).tolist()),
        examples=tuple(names),
        periods={
            name: _hill(values[own], unit_weights(unit[own], near[own]), at)
            for name in placement.periods
            for own in [period == name]
        },
    )


def _hill(values: Floats, weights: Floats, at: Floats) -> Hill:
    distinct, index = np.unique(values, return_inverse=True)
    mass = np.bincount(index, weights).astype(np.float64)
    atoms = mass >= _ATOM
    return Hill(
        _density(distinct[~atoms], mass[~atoms], at) * (at[-1] - at[0]) / SLICES,
        tuple(zip(distinct[atoms].tolist(), mass[atoms].tolist(), strict=True)),
        weighted_quantile(values, weights, 0.5),
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


def strip(
    comparison: Comparison, name: str, *, prefix: str, words: str = "", period: str = ""
) -> Picture | None:
    """The strip of one measure; None where the piece is not placed.

    prefix: begins every id. words: how it compares, for those who hear it read. period: draw
    the works of this one only, lower and on the same scale as all.
    """
    each = next(m for m in comparison.measures if m.measure.name == name)
    found = spread(comparison, each)
    if found is None or each.value is None or (period and period not in found.periods):
        return None
    title = capital(each.measure.title)
    if period:
        foot, tall = _LOW + 6, _LOW + 12
        title = f"{title}, {period} works"
        told = element(
            "rect", x=GAP, y=0.0, width=_WIDTH - 2 * GAP, height=tall, fill="none",
            pointer_events="all", data_told=f"{title}: {words}",
        )  # fmt: skip
        drawn = [*_hill_of(found, found.periods[period], foot, _LOW), told]
    else:
        foot, tall = _HILL + 6, _HILL + 6 + 2 * GAP + 2
        drawn = [*_strip(found, each.measure, foot), *_answers(found, each.measure, foot)]
    own = f"This piece: {value_words(each.value, each.measure.unit)}"
    piece = element("g", element("title", own), _diamond(), data_told=own)
    return document(
        [*drawn, moved(piece, _across(found, each.value), foot)],
        size=(_WIDTH, tall),
        prefix=prefix,
        title=title,
        description=words,
    )


def _across(found: Spread, at: float) -> float:
    start, end = float(found.at[0]), float(found.at[-1])
    return GAP + (min(max(at, start), end) - start) / (end - start) * (_WIDTH - 2 * GAP)


def _hill_of(found: Spread, hill: Hill, foot: float, height: float) -> list[Markup]:
    """A hill or its columns on their line, with the middle; the highest has the height."""
    tallest = _tallest(hill)
    middle = _across(found, hill.middle)
    return [
        _slope(found, hill, (float(found.at[0]), float(found.at[-1])), "pale", foot, height),
        *(
            _column(_across(found, at), share / tallest, foot, height)
            for at, share in hill.shared
        ),
        line(GAP, foot, _WIDTH - GAP, foot, "line"),
        line(middle, foot - height, middle, foot + 4, "rule"),
    ]


def _tallest(hill: Hill) -> float:
    return max(float(hill.tall.max()), *(share for _, share in hill.shared), 1e-9)


def _slope(
    found: Spread, hill: Hill, ends: tuple[float, float], role: str, foot: float, height: float
) -> Markup:
    """The hill from one value to another."""
    inside = found.at[(found.at > ends[0]) & (found.at < ends[1])]
    at = np.clip([ends[0], *inside, ends[1]], found.at[0], found.at[-1])
    tall = np.interp(at, found.at, hill.tall) * height / _tallest(hill)
    pairs = zip(at.tolist(), tall.tolist(), strict=True)
    top = [(_across(found, value), foot - above) for value, above in pairs]
    corners = [(top[0][0], foot), *top, (top[-1][0], foot)]
    return element("polygon", points=points(corners), **paint(role))


def _strip(found: Spread, measure: Measure, foot: float) -> list[Markup]:
    low, high = (_across(found, at) for at in found.interval)
    first, *rest = _hill_of(found, found.whole, foot, _HILL)
    return [
        first,
        _slope(found, found.whole, found.interval, "weight2", foot, _HILL),
        *rest,
        label(
            _plain_number(found.whole.middle, measure), _across(found, found.whole.middle),
            foot + 13, SIZES["small"], "quiet", text_anchor="middle",
        ),
        line(low, foot, max(high, low + 0.5), foot, "outline", "strong"),
    ]  # fmt: skip


def _answers(found: Spread, measure: Measure, foot: float) -> Iterator[Markup]:
    """Transparent boxes that say, when pointed at, how many works lie there, and name one."""
    wide = (_WIDTH - 2 * GAP) / SLICES
    ends = np.linspace(found.at[0], found.at[-1], SLICES + 1).tolist()
    for place, (share, example) in enumerate(zip(found.slices, found.examples, strict=True)):
        many = f"about {100 * share:.0f} of 100" if share >= 0.005 else "hardly any"
        low, high = (_plain_number(end, measure) for end in ends[place : place + 2])
        span = low if low == high else f"{low} to {high}"
        unit = "%" if measure.unit.startswith("share") else measure.unit
        told = f"{capital(measure.title)}, {span} {unit}: {many} works"
        told += f", such as {plain(example)}" if example else ""
        yield element(
            "rect",
            element("title", told),
            x=GAP + place * wide, y=foot - _HILL, width=wide, height=_HILL + 6,
            fill="none", pointer_events="all", data_told=told,
        )  # fmt: skip


def _plain_number(value: float, measure: Measure) -> str:
    """The value without its unit, as the words round it."""
    return value_words(value, measure.unit).partition(" ")[0]


def _column(x: float, share: float, foot: float, height: float) -> Markup:
    """A value that many works share, on the scale of the hill."""
    return boxes([(x - 2.5, foot - height * share, 5.0, height * share)], "weight3")


def _diamond() -> Markup:
    return element("polygon", points="0,-5 5,0 0,5 -5,0", **paint("mark"))


WIDTH = 620.0
_ROW = 27.0
_NAMES, _WORDS = 66.0, 190.0
_SEEN = 0.005  # a share that is printed as 1 % or more


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
    among = f" among {comparison.cohort.rung.title}" if compared else ""
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


_LARGE, _SMALL = 62.0, 26.0  # sides of a cell
_LEFT = 118.0
_THIRDS = ("low", "middle", "high")
# From these shares on a cell is drawn in the four tones; below the first it stays paper.
_TONES = (0.005, 0.1, 0.25, 0.5)


def level_grid(
    players: Players, spelling: Spelling, *, prefix: str, width: float = WIDTH
) -> Picture | None:
    """The grids of all players and of each, in a large ensemble of each instrument; None where
    no instrument is known."""
    two = players.two_level
    if two is None:
        return None
    small, text = SIZES["small"], SIZES["text"]
    top = GAP + text + 6
    side = 3 * _LARGE
    drawn = [
        label(
            "in its instrument", _LEFT + side / 2, GAP + text - 3, text, text_anchor="middle"
        ),
        label("in the ensemble", GAP, top + 10, text),
        label(register(*two.compass, spelling), GAP, top + 23, small, "quiet"),
        _levels_grid(two.grid, _LEFT, top, _LARGE, f"{prefix}-grid-0"),
        *_names(_LEFT, top),
    ]
    foot = top + side + small + 2 * GAP
    several, what = _grids(players)
    x, y, right = _LEFT + side + 3 * GAP, top, _LEFT + side
    if several:
        drawn.append(label(f"each {what}, in %", x, GAP + text - 3, small, "quiet"))
    for number, (named, grid) in enumerate(several, start=1):
        if x + 3 * _SMALL + 2 * GAP > width:
            x, y = _LEFT + side + 3 * GAP, y + 3 * _SMALL + text + 2 * GAP
        name = shortened(plain(named), 3 * _SMALL + GAP, small)
        drawn.append(label(name, x, y + small - 1, small))
        drawn.append(_levels_grid(grid, x, y + small + 4, _SMALL, f"{prefix}-grid-{number}"))
        right = max(right, x + 3 * _SMALL)
        foot = max(foot, y + 3 * _SMALL + small + 2 * GAP)
        x += 3 * _SMALL + 2 * GAP
    left_out = ", ".join(map(plain, two.unmatched))
    if left_out:
        drawn.append(
            label(
                f"Left out, instrument not known: {left_out}", GAP, foot + small, small, "quiet"
            )
        )
        foot += small + GAP
    return document(
        drawn,
        size=(max(width, right + GAP), foot),
        prefix=prefix,
        title="Place in the ensemble and in the instrument",
        description=_levels_description(two.grid),
    )


def _grids(players: Players) -> tuple[list[tuple[str, Floats]], str]:
    """Names and grids of the players, or of the instruments of a large ensemble, and which."""
    known = [(each, each.use) for each in players.parts if each.use]
    if len(players.parts) < FEWEST:
        alone = len(players.parts) == 1
        return [] if alone else [(each.name, lies.grid) for each, lies in known], "player"
    sums: dict[str, tuple[Floats, float]] = {}
    for each, lies in known:
        amount = float(each.weight.sum())
        grid, before = sums.get(lies.instrument.name, (np.zeros((3, 3)), 0.0))
        sums[lies.instrument.name] = grid + amount * lies.grid, before + amount
    return [(name, grid / amount) for name, (grid, amount) in sums.items()], "instrument"


def _levels_grid(shares: Floats, x: float, y: float, side: float, name: str) -> Markup:
    """Three rows, the high third above; percentages where cells have room for them."""
    drawn = []
    for row, thirds in enumerate(shares[::-1].tolist()):
        for column, share in enumerate(thirds):
            place = x + column * side, y + row * side
            drawn.append(_cell(share, *place, side))
    frame = {"x": x, "y": y, "width": 3 * side, "height": 3 * side}
    return element(
        "g", *drawn, element("rect", **frame, **paint("rule", width="thin")), id=name
    )


def _cell(share: float, x: float, y: float, side: float) -> Markup:
    tone = sum(share >= least for least in _TONES)
    box = {"x": x, "y": y, "width": side, "height": side}
    ground = WEIGHTS[tone - 1] if tone else "paper"
    size = SIZES["lead"] if side == _LARGE else SIZES["small"]
    ink = "onmark" if tone >= 3 else "ink"
    number = f"{100 * share:.0f}" if share >= _TONES[0] else ""
    said = f"{number} %" if number and side == _LARGE else number
    return element(
        "g",
        element("rect", **box, **paint(ground, "faint", width="thin")),
        label(said, x + side / 2, y + side / 2 + size / 3, size, ink, text_anchor="middle")
        if said
        else Markup(),
        class_="cell",
    )


def _names(x: float, y: float) -> Iterator[Markup]:
    """Names of the thirds beside and below the large grid."""
    size = SIZES["small"]
    for number, name in enumerate(_THIRDS):
        row = y + (2 - number + 0.5) * _LARGE + 3
        yield label(name, x - 6, row, size, text_anchor="end")
        column = x + (number + 0.5) * _LARGE
        yield label(name, column, y + 3 * _LARGE + size + 3, size, text_anchor="middle")


def _levels_description(grid: Floats) -> str:
    said = [
        f"{_THIRDS[row]} in the ensemble and {_THIRDS[column]} in the instrument "
        f"{100 * share:.0f} %"
        for row, line in enumerate(grid.tolist())
        for column, share in enumerate(line)
        if share >= _TONES[0]
    ]
    return f"Shares of the sound: {'; '.join(said)}."


DOTS = 400
_NAMED = 300.0  # pixels of a dot's name
_SIDE = 250.0
_NEAREST_LEFT, _TOP = 30.0, 14.0
_APART = 16.0  # of signs
_REACH = NormalDist().inv_cdf(0.99)  # the scores end there
_QUARTER = NormalDist().inv_cdf(0.75)
_PREFERRED = ("space", "between")
# What lies at the low and the high end of each family.
_ENDS: Mapping[str, tuple[str, str]] = {
    "space": ("narrow", "wide"),
    "between": ("settled from bar to bar", "mobile from bar to bar"),
    "within": ("calm within the bar", "mobile within the bar"),
    "stays": ("short stays", "long stays"),
    "narrow": ("little time in a narrow register", "much time in a narrow register"),
    "hollow": ("few gaps between the voices", "many gaps between the voices"),
    "entries": ("registers seldom entered", "registers often entered"),
    "pedals": ("few pedal points", "many pedal points"),
    "lean": ("reaching down", "reaching up"),
}


def nearest_works(profile: PlacedProfile, *, prefix: str) -> Picture | None:
    """The scatter; None with fewer than two families."""
    axes = [name for name in _PREFERRED if name in profile.families]
    axes += [name for name in profile.families if name not in axes]
    if len(axes) < 2:
        return None
    across, up = axes[:2]
    works = len(profile.around.get(across, ()))
    drawn = [
        _plane(across, up),
        _cloud(profile, across, up),
        *_signs(profile, across, up),
    ]
    below = _TOP + _SIDE + 2 * SIZES["small"] + GAP
    if works > DOTS:
        said = f"{DOTS} of {plural(works, 'work')} are drawn as dots"
        drawn.append(label(said, _NEAREST_LEFT, below + 4, SIZES["small"], "quiet"))
        below += SIZES["small"] + 4
    return document(
        drawn,
        size=(_NEAREST_LEFT + _SIDE + GAP, below + GAP),
        prefix=prefix,
        title="Works that use register alike",
        description=_nearest_description(profile),
    )


def _x(score: float) -> float:
    return _NEAREST_LEFT + _SIDE * (min(max(score / _REACH, -1.0), 1.0) + 1) / 2


def _y(score: float) -> float:
    return _TOP + _SIDE * (1 - min(max(score / _REACH, -1.0), 1.0)) / 2


def _plane(across: str, up: str) -> Markup:
    """The frame, the middle and the quarters, and what lies at the ends."""
    size, right, foot = SIZES["small"], _NEAREST_LEFT + _SIDE, _TOP + _SIDE
    quarters = [
        line
        for q in (-_QUARTER, _QUARTER)
        for line in ((_x(q), _TOP, _x(q), foot), (_NEAREST_LEFT, _y(q), right, _y(q)))
    ]
    middle = [(_x(0), _TOP, _x(0), foot), (_NEAREST_LEFT, _y(0), right, _y(0))]
    frame = {"x": _NEAREST_LEFT, "y": _TOP, "width": _SIDE, "height": _SIDE}
    turned = f"rotate(-90 {_NEAREST_LEFT - 8:.0f} {_TOP + _SIDE:.0f})"
    return element(
        "g",
        lines(quarters, "faint"),
        lines(middle, "line", stroke_dasharray="5 3"),
        element("rect", **frame, **paint("line", width="thin")),
        label(_ENDS[across][0], _NEAREST_LEFT, foot + size + 3, size),
        label(_ENDS[across][1], right, foot + size + 3, size, text_anchor="end"),
        label(_ENDS[up][0], _NEAREST_LEFT - 8, foot, size, transform=turned),
        label(
            _ENDS[up][1],
            _NEAREST_LEFT - 8 + _SIDE,
            foot,
            size,
            text_anchor="end",
            transform=turned,
        ),
    )


def _cloud(profile: PlacedProfile, across: str, up: str) -> Markup:
    """Dots, taken at even steps where there are too many."""
    if across not in profile.around or up not in profile.around:
        return Markup()
    x, y = (profile.around[family].tolist() for family in (across, up))
    steps = np.unique(np.linspace(0, len(x) - 1, min(DOTS, len(x))).astype(int)).tolist()
    dots = boxes([(_x(x[i]) - 1, _y(y[i]) - 1, 2.0, 2.0) for i in steps], "weight2")
    if not profile.names:
        return dots
    named = [
        f"{_x(x[i]):.0f},{_y(y[i]):.0f},"
        + shortened(plain(profile.names[i]), _NAMED, SIZES["small"]).replace("|", "/")
        for i in steps
    ]
    return element("g", dots, data_dots="|".join(named))


def _named(profile: PlacedProfile) -> list[tuple[str, str, Neighbour]]:
    """Works with their sign and kind."""
    near = [(str(n), "near", each) for n, each in enumerate(profile.nearest, start=1)]
    contrary = [
        (chr(ord("a") + n), "contrast", each) for n, each in enumerate(profile.contrasting)
    ]
    return near + contrary


def _signs(profile: PlacedProfile, across: str, up: str) -> Iterator[Markup]:
    """Numbers and letters in rings, and the diamond of the piece.

    A sign that would cover another stands beside its place, tied to it by a line.
    """
    own = _x(profile.families[across]), _y(profile.families[up])
    taken, signs = [own], []
    for sign, kind, each in _named(profile):
        place = _x(each.families[across]), _y(each.families[up])
        beside = next((spot for spot in _around(place) if _free(spot, taken)), place)
        taken.append(beside)
        if beside != place:
            yield lines([(*place, *beside)], "rule", "hair")
        signs.append(moved(_ring(sign, kind, each), *beside))
    yield from (*signs, moved(_nearest_diamond(), *own))


def _around(place: tuple[float, float]) -> Iterator[tuple[float, float]]:
    """A place, then places ever farther from it, inside the frame."""
    yield place
    for ring in range(1, 5):
        for eighth in range(8 * ring):
            angle = 2 * math.pi * eighth / (8 * ring)
            x = place[0] + ring * _APART * math.cos(angle)
            y = place[1] - ring * _APART * math.sin(angle)
            if (
                _NEAREST_LEFT + 8 <= x <= _NEAREST_LEFT + _SIDE - 8
                and _TOP + 8 <= y <= _TOP + _SIDE - 8
            ):
                yield x, y


def _free(spot: tuple[float, float], taken: Sequence[tuple[float, float]]) -> bool:
    return all(math.dist(spot, each) >= _APART - 0.5 for each in taken)


def _nearest_diamond() -> Markup:
    look = paint("mark", "halo", width="thin")
    drawn = element("polygon", points="0,-7 7,0 0,7 -7,0", **look)
    return element("g", element("title", "This piece"), drawn, data_told="This piece")


def _ring(sign: str, kind: str, work: Neighbour) -> Markup:
    """A number in a disc, a letter in a box; pointed at, it says which work it is."""
    look = paint("paper", "rule", width="thin")
    if kind == "near":
        shape = element("circle", r=7.0, **look)
    else:
        shape = element("rect", x=-6.5, y=-6.5, width=13.0, height=13.0, **look)
    told = ", ".join(filter(None, (plain(work.composer), plain(work.title))))
    name = label(sign, 0, 3.4, SIZES["small"], text_anchor="middle")
    return element("g", element("title", told), shape, name, data_told=f"{sign}: {told}")


def _nearest_description(profile: PlacedProfile) -> str:
    def names(works: Sequence[Neighbour]) -> str:
        return "; ".join(f"{plain(each.title)} ({plain(each.composer)})" for each in works)

    said = f"Nearest: {names(profile.nearest)}." if profile.nearest else "No near works."
    return said + (f" Contrary: {names(profile.contrasting)}." if profile.contrasting else "")
