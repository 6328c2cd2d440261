"""Profiles: groups of works that use register alike, and the works nearest a piece.

What a comparison needs, in numpy alone; `clustering` makes the groups.

Conventions
-----------
feature   a placed measure, or one of SHAPES: how the weight of a work lies about its own
          centre (its mean pitch), so that the height of the whole does not matter.
score     the normal score of a feature's composer-weighted mid-rank within a rung:
          0 in the middle, 1 above 84 % of it; at most LIMIT either way.
family    features that tell of the same side of register use (FAMILIES). Every family
          weighs the same in a distance, however many features it has.
distance  Euclidean, between weighted scores.
margin    (second - first) / second, of the distances to the nearest two centres: 0 on
          the border, 1 on a centre.
habit     the family in which a piece lies furthest from the middle, CLEAR or more. Works
          that do the contrary lie CLEAR or more on the other side; of these the nearest
          in all other families are told.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "FAMILIES", "SHAPES", "Floats", "Ints", "Neighbour", "PlacedProfile", "ProfileGroup",
    "Profiles", "Scale", "family_scores", "family_weights", "place_profile", "scale_of",
    "scores", "shape",
]  # fmt: skip

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LIMIT = NormalDist().inv_cdf(0.99)
NEAREST = 3
CONTRARY = 2
CLEAR = 0.4
_KNOTS = 49  # values a scale keeps at even ranks
_ATOM = 0.02  # a value that holds this share is kept besides
_NEAR, _FAR = 6, 18  # semitones from the centre

# Every measure and shape with its family, in the order of all arrays of features.
FAMILIES: Mapping[str, str] = {
    "span": "space",
    "core_span": "space",
    "octaves_in_use": "space",
    "movement_beat": "within",
    "movement_bar": "between",
    "movement_phrase": "between",
    "travel": "within",
    "shift_rate": "between",
    "longest_dwell": "stays",
    "expected_dwell": "stays",
    "narrow_dwell": "narrow",
    "hollow_share": "hollow",
    "entries": "entries",
    "pedal_points": "pedals",
    "outside": "space",
    "far": "space",
    "lean": "lean",
}
# Shares of the weight: more than half an octave from the centre, more than one and a
# half octaves from it, and above it less below it beyond half an octave.
SHAPES = ("outside", "far", "lean")


@dataclass(frozen=True)
class Scale:
    """From values to scores: both of shape (k,), values rising."""

    values: Floats
    scores: Floats


@dataclass(frozen=True)
class ProfileGroup:
    """One profile. words: made of its centre. centre: scores, shape (features,)."""

    number: int
    words: str
    works: int
    composers: int
    centre: Floats
    reach: float  # the distance from the centre within which 95 % of its works lie


@dataclass(frozen=True)
class Profiles:
    """What is stored of a rung.

    scales: by feature, in the order of all arrays. groups: empty where there are no
    clear clusters; `words` says what was found. ids, titles, composers, unit: of the
    works, shape (n,); positions: their scores, shape (n, features).
    """

    rung: str
    words: str
    scales: Mapping[str, Scale]
    groups: tuple[ProfileGroup, ...]
    ids: NDArray[np.object_]
    titles: NDArray[np.object_]
    composers: NDArray[np.object_]
    unit: NDArray[np.int64]
    positions: Floats


@dataclass(frozen=True)
class Neighbour:
    """A work near a piece. families: scores of the work by family."""

    work: str
    title: str
    composer: str
    distance: float
    families: Mapping[str, float]


@dataclass(frozen=True)
class PlacedProfile:
    """A piece among the profiles of a rung.

    group: None where the rung has no clear clusters. margin: see the module.
    beyond: farther from the centre than 95 % of the profile's own works.
    second: the next nearest group. families: scores of the piece by family.
    habit: '' where the piece has none. contrasting: works that do the contrary.
    around: scores of all works of the rung by family, shape (works,) each; names: what they
    are called.
    """

    rung: str
    rung_words: str
    group: ProfileGroup | None
    second: ProfileGroup | None
    margin: float
    beyond: bool
    nearest: tuple[Neighbour, ...]
    families: Mapping[str, float]
    habit: str = ""
    contrasting: tuple[Neighbour, ...] = ()
    around: Mapping[str, Floats] = field(default_factory=dict)
    names: tuple[str, ...] = ()


def shape(weights: Floats) -> dict[str, Floats]:
    """The SHAPES of works, shape (n,) each.

    weights: weight at each pitch, shape (n, pitches), some in every row.

    >>> shape(np.array([[1.0, *[0.0] * 23, 3.0]]))["lean"]
    array([-0.25])
    """
    share = weights / weights.sum(axis=1, keepdims=True)
    pitch = np.arange(share.shape[1])
    # Rounded, so that the last bit of a sum does not decide at a border.
    away = np.round(pitch - (share @ pitch)[:, None], 9)

    def part(where: NDArray[np.bool_]) -> Floats:
        return np.asarray(np.where(where, share, 0.0).sum(axis=1))

    return {
        "outside": part(np.abs(away) > _NEAR),
        "far": part(np.abs(away) > _FAR),
        "lean": part(away < -_NEAR) * -1 + part(away > _NEAR),
    }


def scale_of(values: Floats, weights: Floats) -> Scale | None:
    """The scale of a feature from works, shape (n,) both, weights > 0.

    None where one value holds nine tenths: such a feature tells works hardly apart.
    """
    distinct, index = np.unique(np.round(values, 9), return_inverse=True)
    mass = np.bincount(index, weights) / weights.sum()
    if mass.max() >= 0.9:
        return None
    middle = np.cumsum(mass) - mass / 2
    even = np.searchsorted(middle, np.linspace(middle[0], middle[-1], _KNOTS))
    kept = np.union1d(np.minimum(even, len(distinct) - 1), np.flatnonzero(mass >= _ATOM))
    normal = NormalDist()
    found = [normal.inv_cdf(min(max(float(share), 0.01), 0.99)) for share in middle[kept]]
    return Scale(distinct[kept], np.round(found, 6))


def scores(scales: Mapping[str, Scale], values: Mapping[str, Floats]) -> Floats:
    """Scores of works, shape (n, features), from their values, shape (n,) each."""
    columns = [np.interp(values[name], s.values, s.scores) for name, s in scales.items()]
    return np.stack(columns, axis=1) if columns else np.zeros((0, 0))


def family_weights(features: Sequence[str]) -> Floats:
    """Weight of each feature, shape (features,): families count the same, sum of squares 1."""
    families = [FAMILIES[name] for name in features]
    count = np.array([families.count(each) for each in families], float)
    return np.asarray(1 / np.sqrt(count * len(set(families))))


def family_scores(features: Sequence[str], position: Floats) -> dict[str, float]:
    """Mean score of each family at a position, shape (features,)."""
    found: dict[str, list[float]] = {}
    for name, score in zip(features, position.tolist(), strict=True):
        found.setdefault(FAMILIES[name], []).append(score)
    return {family: sum(each) / len(each) for family, each in found.items()}


def place_profile(profiles: Profiles, values: Mapping[str, float]) -> PlacedProfile:
    """The profile of a piece and the works nearest to it, by different units first.

    values: by feature, every one that the profiles use.
    """
    features = tuple(profiles.scales)
    columns = {name: np.array([values[name]]) for name in features}
    position = scores(profiles.scales, columns)[0]
    weights = family_weights(features)
    apart = [_distance(group.centre, position, weights) for group in profiles.groups]
    order = sorted(range(len(apart)), key=lambda index: (apart[index], index))
    first = profiles.groups[order[0]] if order else None
    families = family_scores(features, position)
    habit = _habit(families)
    return PlacedProfile(
        rung=profiles.rung,
        rung_words=profiles.words,
        group=first,
        second=profiles.groups[order[1]] if len(order) > 1 else None,
        margin=1 - apart[order[0]] / max(apart[order[1]], 1e-9) if len(order) > 1 else 0.0,
        beyond=first is not None and apart[order[0]] > first.reach,
        nearest=_nearest(profiles, position, weights, np.arange(len(profiles.ids)), NEAREST),
        families=families,
        habit=habit,
        contrasting=_contrasting(profiles, position, weights, habit) if habit else (),
        around=_around(profiles),
        names=tuple(
            f"{composer}, {title}"
            for composer, title in zip(profiles.composers, profiles.titles, strict=True)
        ),
    )


def _around(profiles: Profiles) -> dict[str, Floats]:
    """Mean score of each family for all works, shape (works,) each."""
    families = np.array([FAMILIES[name] for name in profiles.scales])
    return {
        family: np.asarray(profiles.positions[:, families == family].mean(axis=1))
        for family in dict.fromkeys(families.tolist())
    }


def _habit(families: Mapping[str, float]) -> str:
    """The family furthest from the middle, '' where none is clearly away from it.

    Which way the sound leans from its centre says least to the ear and is no habit.
    """
    told = {name: score for name, score in families.items() if name != "lean"}
    furthest = max(told, key=lambda name: abs(told[name]), default="")
    return furthest if furthest and abs(told[furthest]) >= CLEAR else ""


def _contrasting(
    profiles: Profiles, position: Floats, weights: Floats, habit: str
) -> tuple[Neighbour, ...]:
    own = np.array([FAMILIES[name] == habit for name in profiles.scales])
    side = float(np.sign(position[own].mean()))
    scored = profiles.positions[:, own].mean(axis=1) * -side
    rows = np.flatnonzero(scored >= CLEAR)
    return _nearest(profiles, position, np.where(own, 0.0, weights), rows, CONTRARY)


def _nearest(
    profiles: Profiles, position: Floats, weights: Floats, rows: Ints, most: int
) -> tuple[Neighbour, ...]:
    """The nearest of some works, by different units first."""
    if not len(rows):
        return ()
    apart = (profiles.positions[rows] - position) * weights
    away = np.round(np.sqrt((apart**2).sum(axis=1)), 9)
    order = np.lexsort((np.arange(len(away)), away))
    # The nearest of each unit, in order of distance; then, where units are too few, others.
    _, leading = np.unique(profiles.unit[rows][order], return_index=True)
    lead = order[np.sort(leading)]
    chosen = [*lead.tolist(), *(row for row in order.tolist() if row not in set(lead.tolist()))]
    return tuple(
        Neighbour(
            work=str(profiles.ids[rows[row]]),
            title=str(profiles.titles[rows[row]]),
            composer=str(profiles.composers[rows[row]]),
            distance=float(away[row]),
            families=family_scores(tuple(profiles.scales), profiles.positions[rows[row]]),
        )
        for row in chosen[:most]
    )


def _distance(one: Floats, other: Floats, weights: Floats) -> float:
    return float(np.sqrt((((one - other) * weights) ** 2).sum()))
