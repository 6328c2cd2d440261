"""Profiles in the store: made at the end of a build, read for a comparison.

Profiles are looked for in every rung of one ensemble where there are MINIMUM_WORKS works by
MINIMUM_UNITS composers or more that have all features.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from corpusreg.measures.definitions import BY_NAME, MEASURES
from corpusreg.norms.cohorts import RowSource
from corpusreg.norms.profiles.clustering import Clustering, cluster, without_length
from corpusreg.norms.profiles.model import (
    FAMILIES,
    Floats,
    Ints,
    PlacedProfile,
    ProfileGroup,
    Profiles,
    Scale,
    family_weights,
    place_profile,
    scale_of,
    scores,
    shape,
)
from corpusreg.norms.reference import MINIMUM_UNITS, MINIMUM_WORKS, Rung, unit_weights
from corpusreg.store import sql

__all__ = ["fetch_profiles", "listed_profiles", "profile_rows", "profiled"]

# A feature is used where works that have it hold so much of the weight.
_COVERED = 0.75
_TYPICAL = 3
_PITCHES = 128
_SLICE = 50_000  # works whose shapes are taken at once: memory beside that of their weights

Rows = dict[str, list[tuple[object, ...]]]
CentreWords = Callable[[Sequence[str], Sequence[Floats]], list[str]]


@dataclass(frozen=True)
class _Points:
    """Works that have all features, as points. works: ids, in the order of all arrays."""

    works: tuple[str, ...]
    unit: Ints
    bars: Floats
    scales: Mapping[str, Scale]
    positions: Floats

    @property
    def weighted(self) -> Floats:
        """Positions in which distances are measured."""
        return np.asarray(self.positions * family_weights(tuple(self.scales)))


def profile_rows(source: RowSource, rungs: Iterable[Rung], words: CentreWords) -> Rows:
    """Rows of all tables of profiles, by table; a source with pitch_weights and matrix.

    words: what the centres of a rung are called, in order, from the names of the features
    and their scores.
    """
    tables = ("profile_rungs", "profile_scales", "profiles", "profile_centres", "profile_works")
    rows: Rows = {table: [] for table in tables}
    for rung in sorted(rungs, key=lambda each: each.name):
        if rung.broad or not rung.medium:
            continue
        points = _points(source, rung)
        if len(points.works) < MINIMUM_WORKS or len(np.unique(points.unit)) < MINIMUM_UNITS:
            continue
        left = without_length(points.weighted, points.bars, points.unit)
        both = [cluster(each, points.unit) for each in (points.weighted, left)]
        for table, found in _rows_of(rung, points, *both, words=words).items():
            rows[table] += found
    return rows


def fetch_profiles(
    source: RowSource, rungs: Sequence[Rung], leave_out: Sequence[str] = ()
) -> Profiles | str:
    """The profiles of the first of some rungs that has any, or in words why there are none.

    leave_out: works that are no neighbours, such as the piece's own copies.
    """
    words = ""
    for rung in rungs:
        params = {"rung": rung.name}
        found = source.fetch_columns(sql.load("profile_rung"), params)["words"]
        if not len(found):
            continue
        words = str(found[0])
        scales = _scales(source, rung)
        if scales:
            break
    else:
        return words or (
            f"too few works like it in the reference (wanted: {MINIMUM_WORKS} works by "
            f"{MINIMUM_UNITS} composers)"
        )
    works = source.fetch_columns(
        sql.load("profile_works"), params | {"leave_out": list(leave_out)}
    )
    positions = [list(each) for each in works["position"]]
    return Profiles(
        rung=rung.name,
        words=words,
        scales=scales,
        groups=_groups(source, rung, tuple(scales)),
        ids=works["work"],
        titles=works["title"],
        composers=works["composer"],
        unit=works["unit_number"],
        positions=np.array(positions, float).reshape(-1, len(scales)),
    )


def profiled(
    source: RowSource,
    rungs: Sequence[Rung],
    leave_out: Sequence[str],
    values: Mapping[str, float | None],
    weights: Floats,
) -> PlacedProfile | str:
    """The profile of a piece and the works nearest to it, or in words why there is none.

    values: of the measures that can be placed. weights: at each pitch, shape (pitches,).
    """
    profiles = fetch_profiles(source, rungs, leave_out)
    if isinstance(profiles, str):
        return profiles
    shapes = {name: float(each[0]) for name, each in shape(weights[None, :]).items()}
    given = {name: v for name, v in {**values, **shapes}.items() if v is not None}
    lacking = [BY_NAME[name].title for name in profiles.scales if name not in given]
    if lacking:
        return f"no value that can be placed for {', '.join(lacking)}"
    return place_profile(profiles, given)


def listed_profiles(source: RowSource) -> list[dict[str, Any]]:
    """Every rung that was looked at, as plain data, with its profiles and typical works."""
    rungs = _records(source, "profile_lists", {})
    for rung in rungs:
        params = {"rung": rung["rung"]}
        typical = _records(source, "profile_typical", params)
        rung["profiles"] = [
            {
                "profile": each["profile"],
                "words": each["words"],
                "size": each["size"],
                "composers": each["composers"],
                "typical": [
                    {name: work[name] for name in ("work", "title", "composer")}
                    for work in typical
                    if work["profile"] == each["profile"]
                ],
            }
            for each in _records(source, "profile_groups", params)
        ]
    return rungs


def _records(
    source: RowSource, name: str, params: Mapping[str, object]
) -> list[dict[str, Any]]:
    found = source.fetch_columns(sql.load(name), params)
    rows = zip(*(column.tolist() for column in found.values()), strict=True)
    return [
        {
            key: None if isinstance(value, float) and value != value else value
            for key, value in zip(found, row, strict=True)
        }
        for row in rows
    ]


def _points(source: RowSource, rung: Rung) -> _Points:
    conditions = " AND ".join(f'm."{column}" = ${column}' for column in rung.where)
    measures = ", ".join(f'm."{measure.name}"' for measure in MEASURES)
    found = source.fetch_columns(
        sql.load("profile_values").format(measures=measures, conditions=conditions),
        dict(rung.where),
    )
    pitches = source.fetch_columns(
        sql.load("profile_pitches").format(conditions=conditions), dict(rung.where)
    )
    weights = np.zeros((len(found["work"]), _PITCHES))
    weights[pitches["place"], pitches["pitch"]] = pitches["share"]
    has_pitch = weights.sum(axis=1) > 0
    weights[~has_pitch] = 1.0
    columns = {m.name: found[m.name].astype(float) for m in MEASURES} | _shapes(weights)
    unit = found["unit_number"].astype(np.int64)
    every = unit_weights(unit, np.ones(len(unit)))
    used = [n for n in FAMILIES if every[np.isfinite(columns[n])].sum() >= _COVERED]
    whole = has_pitch & np.all([np.isfinite(columns[name]) for name in used], axis=0)
    equal = unit_weights(unit[whole], np.ones(int(whole.sum())))
    tried = {name: scale_of(columns[name][whole], equal) for name in used} if any(whole) else {}
    scales = {name: scale for name, scale in tried.items() if scale is not None}
    return _Points(
        works=tuple(found["work"][whole]),
        unit=unit[whole],
        bars=found["bars"].astype(float)[whole],
        scales=scales,
        positions=scores(scales, {name: columns[name][whole] for name in scales}),
    )


def _shapes(weights: Floats) -> dict[str, Floats]:
    """`shape` of any number of works, slice after slice."""
    slices = [shape(weights[at : at + _SLICE]) for at in range(0, max(len(weights), 1), _SLICE)]
    return {name: np.concatenate([each[name] for each in slices]) for name in slices[0]}


def _rows_of(
    rung: Rung, points: _Points, found: Clustering, left: Clustering, *, words: CentreWords
) -> Rows:
    features = tuple(points.scales)
    rows: Rows = {"profile_rungs": [_rung_row(rung, points, found, left)]}
    rows["profile_scales"] = [
        (rung.name, feature, value, score)
        for feature, scale in points.scales.items()
        for value, score in zip(scale.values.tolist(), scale.scores.tolist(), strict=True)
    ]
    rows["profiles"], rows["profile_centres"] = [], []
    group, apart = np.zeros(len(points.works), int), np.zeros(len(points.works))
    if found.clear:
        away = np.sqrt(((points.weighted[:, None, :] - found.centres) ** 2).sum(axis=2))
        group, apart = away.argmin(axis=1), away.min(axis=1)
        centres = np.round(found.centres / family_weights(features), 6)
        called = words(features, list(centres))
        for number, centre in enumerate(centres):
            rows["profiles"].append(
                _profile_row(rung, points, number, called[number], group, apart)
            )
            rows["profile_centres"] += [
                (rung.name, number + 1, feature, value)
                for feature, value in zip(features, centre.tolist(), strict=True)
            ]
    rows["profile_works"] = [
        (
            rung.name,
            work,
            int(group[row]) + 1 if found.clear else None,
            round(float(apart[row]), 6) if found.clear else None,
            np.round(points.positions[row], 6).tolist(),
        )
        for row, work in enumerate(points.works)
    ]
    return rows


def _rung_row(
    rung: Rung, points: _Points, found: Clustering, left: Clustering
) -> tuple[object, ...]:
    counts = (rung.name, len(points.works), len(np.unique(points.unit)))
    figures = (found.silhouette, found.silhouette_null, found.stability, found.stability_null)
    rounded = [None if each is None else round(each, 4) for each in figures]
    words = _rung_words(rung.title, found, left)
    return (*counts, found.count, found.clear, *rounded, left.clear, words)


def _rung_words(title: str, found: Clustering, left: Clustering) -> str:
    if not found.clear:
        said = f"no clear clusters: {title} differ by degrees, not in kinds"
        if left.clear:
            said += f"; with length taken out there would be {left.count}"
        return said
    if left.clear:
        return f"{found.count} profiles of {title}, which are not a matter of length alone"
    return (
        f"{found.count} profiles of {title}, largely a matter of length: with length taken "
        "out no clear clusters remain"
    )


def _profile_row(
    rung: Rung, points: _Points, number: int, words: str, group: Ints, apart: Floats
) -> tuple[object, ...]:
    own = np.flatnonzero(group == number)
    nearest = own[np.lexsort((own, np.round(apart[own], 6)))]
    _, leading = np.unique(points.unit[nearest], return_index=True)
    typical = [points.works[row] for row in nearest[np.sort(leading)][:_TYPICAL]]
    reach = round(float(np.quantile(apart[own], 0.95)), 6) if len(own) else 0.0
    units = len(np.unique(points.unit[own]))
    return (rung.name, number + 1, len(own), units, reach, words, typical)


def _scales(source: RowSource, rung: Rung) -> dict[str, Scale]:
    found = source.fetch_columns(sql.load("profile_scales"), {"rung": rung.name})
    return {
        name: Scale(found["value"][own], found["score"][own])
        for name in FAMILIES
        if (own := found["feature"] == name).any()
    }


def _groups(source: RowSource, rung: Rung, features: Sequence[str]) -> tuple[ProfileGroup, ...]:
    params = {"rung": rung.name}
    found = source.fetch_columns(sql.load("profile_groups"), params)
    centres = source.fetch_columns(sql.load("profile_centres"), params)
    values = {
        (int(profile), str(feature)): float(value)
        for profile, feature, value in zip(*centres.values(), strict=True)
    }
    return tuple(
        ProfileGroup(
            number=int(number),
            words=str(words),
            works=int(size),
            composers=int(composers),
            centre=np.array([values[int(number), name] for name in features]),
            reach=float(reach),
        )
        for number, size, composers, reach, words in zip(*found.values(), strict=True)
    )
