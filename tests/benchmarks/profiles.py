"""Are there clusters of register use, and would they be found? Against sets without clusters.

    python tests/benchmarks/profiles.py [SETS]

reads the reference in force and prints, for each group of works:

works        silhouette and stability at the number of clusters that stands out most,
             beside the 95 % quantile of the nulls, as they are and with length taken out;
false alarm  in how many of SETS (default 20) sets drawn from one Gaussian with the works' own
             covariance and distributions clusters are called clear (at most one in
             twenty is meant), and how stable two groups are there all the same;
found        in how many of SETS sets clusters planted among the works are found: of two
             kinds, half of the works are moved by so many standard deviations in every
             second family.

The digest goes to tests/benchmarks/results/profiles.json.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from corpusreg.norms.profiles.clustering import (
    Clustering,
    _Lump,
    _sample,
    cluster,
    without_length,
)
from corpusreg.norms.profiles.model import FAMILIES, Profiles, family_weights
from corpusreg.norms.profiles.stored import fetch_profiles
from corpusreg.norms.reference import Rung
from corpusreg.store import Reference, open_reference

RESULTS = Path(__file__).parent / "results" / "profiles.json"
MOVES = (1.0, 2.0, 3.0)
Floats = NDArray[np.float64]


def main(sets: int) -> None:
    """Print and store the figures of every group of works."""
    digest: dict[str, object] = {"sets": sets}
    with open_reference() as reference:
        digest["works"] = reference.works
        for rung, profiles in rungs(reference):
            digest[rung] = figures(reference, profiles, sets)
    RESULTS.write_text(json.dumps(digest, indent=1) + "\n", encoding="utf-8")


def rungs(reference: Reference) -> Iterator[tuple[str, Profiles]]:
    """Groups of works that were looked at; those with the same works once."""
    seen = set()
    for name in reference.fetch_columns("SELECT rung FROM profile_rungs ORDER BY 1")["rung"]:
        column, _, value = str(name).partition("=")
        found = fetch_profiles(reference, [Rung({column: value}, value)])
        if isinstance(found, str):
            raise SystemExit(found)
        if tuple(found.ids) not in seen:
            seen.add(tuple(found.ids))
            yield str(name), found


def figures(reference: Reference, profiles: Profiles, sets: int) -> dict[str, object]:
    """All figures of one group of works."""
    features = tuple(profiles.scales)
    points = profiles.positions * family_weights(features)
    unit = profiles.unit.astype(np.int64)
    length = dict(
        zip(*reference.fetch_columns("SELECT work, bars FROM matrix").values(), strict=True)
    )
    bars = np.array([length[work] for work in profiles.ids], float)
    print(f"\n{profiles.rung}: {len(points)} works, {len(np.unique(unit))} composers")
    found: dict[str, object] = {"works": len(points)}
    for title, part in (
        ("as they are", points),
        ("without length", without_length(points, bars, unit)),
    ):
        found[title] = told(title, cluster(part, unit, thorough=True))
    alarms = [cluster(*lump) for lump in lumps(points, unit, sets)]
    steady = sum(each.stability >= 0.8 for each in alarms)
    found["false alarms"] = sum(each.clear for each in alarms)
    print(
        f"  false alarms: {found['false alarms']} of {sets}; {steady} of them have a "
        "stability of .80 or more"
    )
    found["found"] = {}
    for move in MOVES:
        count = sum(
            planted(*lump, features, move, number).clear
            for number, lump in enumerate(lumps(points, unit, sets))
        )
        found["found"] |= {str(move): count}  # type: ignore[operator]
        print(f"  two kinds {move:g} apart: found in {count} of {sets}")
    return found


def lumps(
    points: Floats, unit: NDArray[np.int64], number: int, seed: int = 1000
) -> list[tuple[Floats, NDArray[np.int64]]]:
    """Sets without clusters, otherwise like a sample of some works, with the units of it."""
    rows = _sample(unit, np.random.default_rng(seed))
    lump = _Lump(points[rows], unit[rows])
    return [(each, lump.unit) for each in lump.nulls(np.random.default_rng(seed + 1), number)]


def told(title: str, found: Clustering) -> dict[str, object]:
    """One line, and the same as data."""
    print(
        f"  {title}: {found.count} groups, silhouette {found.silhouette:.3f} (null "
        f"{found.silhouette_null:.3f}), surprise {found.surprise:.2f} (null "
        f"{found.surprise_null:.2f}), stability {found.stability:.3f} (null "
        f"{found.stability_null:.3f}): {'clear' if found.clear else 'no clear clusters'}"
    )
    return {
        "groups": found.count,
        "silhouette": [round(found.silhouette, 4), round(found.silhouette_null, 4)],
        "surprise": [round(found.surprise, 3), round(found.surprise_null, 3)],
        "stability": [round(found.stability, 4), round(found.stability_null or 0, 4)],
        "clear": found.clear,
    }


def planted(
    points: Floats, unit: NDArray[np.int64], features: tuple[str, ...], move: float, seed: int
) -> Clustering:
    """Clusters after half of the works have been moved."""
    families = list(dict.fromkeys(FAMILIES[name] for name in features))
    moved = np.array([families.index(FAMILIES[name]) % 2 == 0 for name in features])
    half = np.random.default_rng(seed).random(len(points)) < 0.5
    step = move * points.std(axis=0) * moved
    return cluster(points + half[:, None] * step, unit)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
