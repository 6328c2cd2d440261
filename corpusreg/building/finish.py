"""The last step of a build: what depends on all works together.

Works outside the chosen licence tiers go, copies of the same music are marked,
the matrix that comparisons read is made, and every rung of the ladder gets its
table of quantiles before any piece is seen. What is known of a rung is taken from the
reference in force where the works of the rung, and what was measured in them, are the same.

Doubts: a note far outside its instrument is an error of the edition or of reading: one wrong
octave in one flute makes a symphony wider than any other. Such works stay in the
reference, are listed, and leave the norms of the measures that the note decides. A work
of one repeated note or of absurd length leaves all of them.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from corpusreg.instruments import load
from corpusreg.instruments.ensembles import kinds
from corpusreg.measures.definitions import MEASURES, VERSION
from corpusreg.norms.cohorts import fetch_cohort
from corpusreg.norms.profiles.stored import profile_rows
from corpusreg.norms.reference import (
    Cohort,
    Rung,
    ladder,
    unit_weights,
    unusualness_of_works,
    weighted_quantiles,
)
from corpusreg.score.duplicates import FEWEST_SHARED, SAME_SHARE, groups
from corpusreg.score.pitch import note_name
from corpusreg.store import Draft, Reference, sql
from corpusreg.store.tables import EXTRACTED
from corpusreg.text.profiles import centre_words

__all__ = ["finishing"]

# How far beyond a professional's range a note is taken for an error: soloists and
# instruments with an extension stay within it (common practice, no source). A piano has
# no note beyond its keys.
_STRAY = 7
_KEYS = ("piano", "fortepiano")
_LONGEST = 5000  # bars: the longest movements of the open corpora have some 1,700
# Measures that one single note decides.
_BY_EDGES = ("span",)


def doubtful(draft: Draft) -> list[tuple[str, str, str]]:
    """Rows of the table left_out: work, measure, reason."""
    table = load()
    found = draft.fetch_columns(sql.load("part_edges"))
    reasons: dict[tuple[str, str], str] = {}
    for work, name, key, low, high, bottom, top in zip(*found.values(), strict=True):
        if key not in table:  # from another version's table of instruments
            continue
        instrument = table[key]
        least, most = instrument.limits("professional")
        beyond = 0 if key in _KEYS else _STRAY
        for pitch, edge, stray in (
            (low, bottom, low < least - beyond),
            (high, top, high > most + beyond),
        ):
            if stray and pitch == edge:
                part = name or instrument.name
                reason = f"{note_name(int(pitch))} in {part}, far outside its range"
                for measure in _BY_EDGES:
                    reasons.setdefault((work, measure), reason)
    odd = draft.fetch_columns(sql.load("hardly_works"), {"longest": _LONGEST})
    for work, bars, flat in zip(*odd.values(), strict=True):
        reason = "one note repeated" if flat else f"{bars:,} bars"
        reasons |= {(work, measure.name): reason for measure in MEASURES}
    return [(*key, reason) for key, reason in sorted(reasons.items())]


# Raised when what is stored of a rung is worked out in another way from the same works.
_VERSION = "1"
_RUNG_TABLES = (
    "rungs",
    "rung_quantiles",
    "profile_rungs",
    "profile_scales",
    "profiles",
    "profile_centres",
    "profile_works",
)
_SHARES = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
# How odd the works of a rung are among each other: from so many works, kept at
# so many shares.
_ODD_WORKS = 100
_ODD_SHARES = tuple(round(step / 50, 2) for step in range(51))
# Works of which the matrix is made at once; a million need more memory than a build has.
_SLICE = 100_000
_TABLES = (*(table for table in EXTRACTED if table not in ("works", "failures")), "works")


def finishing(
    tiers: Sequence[str], before: Reference | None = None, below: Reference | None = None
) -> Callable[[Draft], None]:
    """The step that `publish` calls with the draft; tiers: those the user asked for.

    before: a reference from which rungs are taken that have not changed. below: the one that
    the draft is made on top of: what it holds already counts there and not in the draft, and
    the groups of works that it knows are taken as it has them.
    """

    def finish(draft: Draft) -> None:
        for table in _TABLES:
            draft.execute(sql.load("outside").format(table=table), {"tiers": list(tiers)})
        _mark_copies(draft)
        if below is not None:
            _mark_copies_of(draft, below)
        draft.insert("left_out", doubtful(draft))
        _make_matrix(draft)
        _store_rungs(draft, before, _known_rungs(below))

    return finish


def _mark_copies(draft: Draft) -> None:
    """Let works that are the same music count once."""
    limits = {"fewest": FEWEST_SHARED, "share": SAME_SHARE}
    found = draft.fetch_columns(sql.load("same_pairs"), limits)
    alike = groups(zip(found["one"].tolist(), found["other"].tolist(), strict=True))
    numbered = [(work, number) for number, works in enumerate(alike) for work in works]
    draft.execute(
        sql.load("copies"),
        {"works": [work for work, _ in numbered], "numbers": [n for _, n in numbered]},
    )


def _mark_copies_of(draft: Draft, below: Reference) -> None:
    """Let works count in another reference that has the same music."""
    marks = draft.fetch_columns("SELECT work, shingle FROM shingles ORDER BY ALL")
    printed = draft.fetch_columns(
        "SELECT work, fingerprint FROM works WHERE fingerprint IS NOT NULL ORDER BY work"
    )
    found = below.fetch_columns(
        sql.load("copies_below"),
        {
            "works": marks["work"].tolist(),
            "marks": marks["shingle"].tolist(),
            "printed": printed["work"].tolist(),
            "fingerprints": printed["fingerprint"].tolist(),
            "fewest": FEWEST_SHARED,
            "share": SAME_SHARE,
        },
    )
    draft.execute(
        sql.load("count_elsewhere"),
        {"works": found["own"].tolist(), "counted": found["counted"].tolist()},
    )


def _make_matrix(draft: Draft) -> None:
    """The table that comparisons read, slice after slice."""
    columns = ", ".join(
        f"max(m.value) FILTER (m.name = '{m.name}') AS \"{m.name}\"" for m in MEASURES
    )
    rows = sql.load("matrix").format(measures=columns)
    draft.execute(sql.load("unit_numbers"))
    slices = draft.fetch_columns(sql.load("matrix_slices"), {"size": _SLICE})
    # Without works the table is there too, and empty.
    pairs = list(zip(slices["first"].tolist(), slices["last"].tolist(), strict=True)) or [
        ("", "")
    ]
    for number, (first, last) in enumerate(pairs):
        what = "INSERT INTO matrix" if number else "CREATE TABLE matrix AS"
        draft.execute(f"{what}\n{rows}", {"first": first, "last": last})
    draft.execute(sql.load("matrix_comment"))
    draft.execute("DROP TABLE temp.unit_numbers")


def _store_rungs(draft: Draft, before: Reference | None, elsewhere: Mapping[str, str]) -> None:
    """What is known of each rung; elsewhere: rungs that need not be known here."""
    found = draft.fetch_columns(sql.load("rung_values"))
    rungs: dict[str, Rung] = {}
    for name in found["ensemble"]:
        kind = kinds()[str(name)]
        for rung in ladder(kind.kind, kind.works, kind.family, medium=kind.placed):
            rungs[rung.name] = rung
    known = _known_rungs(before)
    rows: dict[str, list[tuple[object, ...]]] = {table: [] for table in _RUNG_TABLES}
    changed: list[Rung] = []
    for name in sorted(rungs.keys() - elsewhere.keys()):
        cohort = fetch_cohort(draft, rungs[name])
        mark = _made_of(draft, cohort)
        if before is not None and known.get(name) == mark:
            for table in _RUNG_TABLES:
                same = sql.load("rung_rows").format(table=table)
                rows[table] += before.query(same, {"rung": name}).rows
            continue
        changed.append(rungs[name])
        rows["rungs"].append(_rung_row(cohort, mark))
        rows["rung_quantiles"] += _quantile_rows(cohort)
    for table, found_now in profile_rows(draft, changed, centre_words).items():
        rows[table] += found_now
    for table, each in rows.items():
        draft.insert(table, sorted(each, key=lambda row: str(row[0])))


def _known_rungs(before: Reference | None) -> dict[str, str]:
    """What each rung of the reference in force was made of."""
    if before is None:
        return {}
    found = before.fetch_columns(sql.load("rungs_made_of"))
    return dict(zip(map(str, found["rung"]), map(str, found["made_of"]), strict=True))


def _made_of(draft: Draft, cohort: Cohort) -> str:
    """Hash of all that the rows of a rung depend on, 32 hexadecimal digits."""
    where = cohort.rung.where
    conditions = " AND ".join(f'"{column}" = ${column}' for column in where)
    works = draft.fetch_columns(
        sql.load("rung_works").format(conditions=conditions), dict(where)
    )
    digest = hashlib.blake2b(digest_size=16)
    said = (_VERSION, VERSION, cohort.rung.name, cohort.rung.title)
    digest.update(repr((said, works["work"].tolist(), works["content"].tolist())).encode())
    # Units are numbered throughout the reference; within the rung their order is the same.
    units = np.unique(cohort.unit, return_inverse=True)[1]
    for column in (units, cohort.bars, cohort.voices, *cohort.values.values()):
        digest.update(np.ascontiguousarray(column).tobytes())
    return digest.hexdigest()


def _rung_row(cohort: Cohort, mark: str) -> tuple[object, ...]:
    rung = cohort.rung
    counts = (cohort.works, cohort.composers, cohort.sources, cohort.collections)
    return (rung.name, rung.title, rung.broad, *counts, cohort.effective, mark)


def _quantile_rows(cohort: Cohort) -> list[tuple[object, ...]]:
    rows: list[tuple[object, ...]] = []
    for name, values in cohort.values.items():
        has = np.isfinite(values)
        weights = unit_weights(cohort.unit, has.astype(float))
        rows += _quantiles(cohort.rung.name, name, values[has], weights[has], _SHARES)
    odd = unusualness_of_works(cohort, _ODD_WORKS)
    return rows + _quantiles(cohort.rung.name, "oddness", odd, np.ones(len(odd)), _ODD_SHARES)


def _quantiles(
    rung: str,
    measure: str,
    values: NDArray[np.float64],
    weights: NDArray[np.float64],
    shares: Sequence[float],
) -> list[tuple[object, ...]]:
    if not len(values):
        return []
    # Rounded, since sums may differ in their last bits from machine to machine.
    found = weighted_quantiles(values, weights, shares).round(9).tolist()
    return [(rung, measure, *pair) for pair in zip(shares, found, strict=True)]
