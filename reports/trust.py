"""How far places can be trusted, worked out from the reference in force.

    python reports/trust.py                   all but the halves of works; three minutes
    python reports/trust.py --scores FOLDER   measures halves of works from corpora too
    python reports/trust.py --tables          writes the guide's tables from trust.json again

FOLDER holds the open corpora by name. What was found is written to trust.json, its tables to
the guide (reports/guide/trust.md) and the README, and the reliability of measures to
corpusreg/data/reliability.csv, by which `comparison.findings` chooses what stands on a first
page. Every composer counts the same throughout.

simulation  composers of unequal size whose works are drawn from a known distribution: does the
            interval hold the true place? COMPOSERS composers, as few as a medium may have

within      two random halves of the composers place the same work: does their difference lie
            within 1.96 of its own standard error?
between     one collection is left out: does the interval made of the others hold its place,
            on the scale of the interval, in 9 of 10 cases, and how wide is it?
models      see norm_models.py
length      works placed among those of other composers: the Kolmogorov distance of their
            places from an even spread, for the short, the middling and the long ones
halves      two halves of a work, each placed as a piece of its own: does their difference lie
            within what the unevenness of both allows? reliability: correlation of their
            places, stepped up to the whole (Spearman 1910, Brown 1910)
movements   correlation of one movement's place with another's of the same work, beside its
            correlation with one of another work by the same composer
barring     by how many points places move with half and with double bars, on average
composers,  share of the variance of places that lies between composers, and between periods
periods     (of composers' means), from one-way analyses of variance
redundancy  the measure that tells most of the same, and its rank correlation
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
from norm_models import compare

import corpusreg
from corpusreg.comparison.findings import HEADLINE
from corpusreg.measures.definitions import BY_NAME, MEASURES
from corpusreg.norms.cohorts import fetch_cohort
from corpusreg.norms.reference import (
    APART_UNITS,
    FEWEST_COLLECTIONS,
    Among,
    Cohort,
    Rung,
    Size,
    logit_of,
    place,
)

FOLDER = Path(__file__).resolve().parent
RESULT = FOLDER / "trust.json"
GUIDE = FOLDER / "guide" / "trust.md"
README = FOLDER.parent / "README.md"
RELIABILITY = FOLDER.parent / "corpusreg" / "data" / "reliability.csv"
MEDIA = ("piano", "song", "choir", "string quartet", "orchestra")
ROUNDS = 120  # works placed for one table cell
SEED = 1
# What becomes of a value when bars are written twice as long.
COUNTED_IN_BARS = {"shift_rate": 2.0, "longest_dwell": 0.5, "expected_dwell": 0.5}
OF_HALVES = ("halves_of", "halves", "apart", "reliability")
HALVES_OF = 50  # works of a medium that are cut in two
COMPOSERS = (12, 20, 50)
TRUE_PLACES = (5, 10, 25, 50, 75, 90, 95)
DEALS = 400  # simulated references for one number of composers
Row = dict[str, Any]


def among(
    cohort: Cohort, name: str, value: float, size: Size, rows: np.ndarray | None = None
) -> Any | None:
    """The place on the logit scale with its variance; None where it cannot be placed.

    rows: the works that count, all if None.
    """
    kernel = cohort.near(size, name)
    if kernel is None:
        return None
    has = (kernel > 1e-3) & (True if rows is None else rows)
    near = Among.of(cohort.values[name][has], kernel[has], cohort.unit[has])
    return logit_of(near.shares(value), near.trust)


def part_of(cohort: Cohort, rows: np.ndarray) -> Cohort:
    """Some of a cohort's works."""
    return replace(
        cohort,
        unit=cohort.unit[rows],
        values={name: own[rows] for name, own in cohort.values.items()},
        bars=cohort.bars[rows],
        voices=cohort.voices[rows],
        collection=cohort.collection[rows],
        period=cohort.period[rows],
    )


def drawn(cohort: Cohort, name: str, draw: np.random.Generator, count: int) -> Iterator[int]:
    """Works that have a measure, a composer first and then a work of his."""
    has = np.flatnonzero(np.isfinite(cohort.values[name]))
    units = np.unique(cohort.unit[has])
    for unit in draw.choice(units, count):
        yield int(draw.choice(has[cohort.unit[has] == unit]))


def size_of(cohort: Cohort, row: int) -> Size:
    """The size of a work."""
    return Size(float(cohort.bars[row]), float(cohort.voices[row]))


def within(cohort: Cohort, name: str) -> Row:
    """The first table; see above."""
    draw = np.random.default_rng(SEED)
    units = np.unique(cohort.unit)
    held = []
    for _ in range(ROUNDS // 3):
        first = np.isin(cohort.unit, draw.permutation(units)[: len(units) // 2])
        one, other = part_of(cohort, first), part_of(cohort, ~first)
        # Few works of many splits: the works of one split fall or stand together.
        for row in drawn(cohort, name, draw, 3):
            value, size = float(cohort.values[name][row]), size_of(cohort, row)
            found = [among(each, name, value, size) for each in (one, other)]
            if all(found):
                a, b = found
                held.append(abs(a.middle - b.middle) <= 1.96 * (a.variance + b.variance) ** 0.5)
    return {"within": float(np.mean(held)) if held else None, "within_of": len(held)}


def between(cohort: Cohort, name: str) -> Row:
    """The second table, and how far the places by collection lie apart."""
    draw = np.random.default_rng(SEED)
    held, width, wide = [], [], []
    rows = list(drawn(cohort, name, draw, ROUNDS // 2))
    for row in rows:
        value, size = float(cohort.values[name][row]), size_of(cohort, row)
        placed = place(cohort, name, value, size)
        if placed.range and len(placed.collections) > 1:
            wide.append(placed.range[1] - placed.range[0])
        if len(placed.collections) <= FEWEST_COLLECTIONS:
            continue
        for left in placed.collections:
            inside = cohort.collection == left
            own = among(cohort, name, value, size, inside)
            found = place(part_of(cohort, ~inside), name, value, size).elsewhere
            if found and own:
                held.append(found[0] <= 100 / (1 + np.exp(-own.middle)) <= found[1])
                width.append(found[1] - found[0])
    return {
        "between": float(np.mean(held)) if held else None,
        "between_of": len(held),
        "between_width": float(np.median(width)) if width else None,
        "range_of_collections": float(np.median(wide)) if wide else None,
    } | collections(cohort, name)


def collections(cohort: Cohort, name: str) -> Row:
    """The lowest and highest mean place of one collection's works among the others'."""
    means = []
    for left in sorted({each for each in cohort.collection.tolist() if each is not None}):
        own = (cohort.collection == left) & np.isfinite(cohort.values[name])
        if len(np.unique(cohort.unit[own])) < APART_UNITS:
            continue
        rest = part_of(cohort, cohort.collection != left)
        draw = np.random.default_rng(SEED)
        places = [
            place(rest, name, float(cohort.values[name][row]), size_of(cohort, row)).percentile
            for unit in np.unique(cohort.unit[own])
            for row in draw.choice(np.flatnonzero(own & (cohort.unit == unit)), 1)
        ]
        placed = [each for each in places if each is not None]
        if len(placed) >= APART_UNITS:
            means.append(float(np.mean(placed)))
    if len(means) < 2:
        return {"mean_places": None, "collections": len(means)}
    return {"mean_places": [min(means), max(means)], "collections": len(means)}


def places(cohort: Cohort, name: str, rows: list[int]) -> np.ndarray:
    """Places of works among those of other composers, in [0, 1], spread at random over ties.

    NaN where there is none.
    """
    found, draw = [], np.random.default_rng(SEED)
    for row in rows:
        value = float(cohort.values[name][row])
        rest = part_of(cohort, cohort.unit != cohort.unit[row])
        placed = place(rest, name, value, size_of(cohort, row))
        at = np.nan if placed.percentile is None else placed.percentile / 100
        found.append(at + (draw.random() - 0.5) * placed.tied)
    return np.array(found)


def by_length(cohort: Cohort, name: str) -> Row:
    """The third table: distances for the three thirds."""
    draw = np.random.default_rng(SEED)
    rows = list(dict.fromkeys(drawn(cohort, name, draw, 2 * ROUNDS)))
    found = places(cohort, name, rows)
    bars = cohort.bars[rows]
    thirds = np.searchsorted(np.quantile(bars, (1 / 3, 2 / 3)), bars)
    distances = []
    for third in range(3):
        own = np.sort(found[(thirds == third) & np.isfinite(found)])
        steps = np.arange(1, len(own) + 1) / len(own)
        distances.append(float(max((steps - own).max(), (own - steps + 1 / len(own)).max())))
    return {"by_length": distances, "by_length_of": int(np.isfinite(found).sum())}


def ranked(cohort: Cohort, values: np.ndarray) -> np.ndarray:
    """Composer-weighted mid-ranks of values among the cohort's own of the same measure."""
    weight = 1 / np.bincount(np.unique(cohort.unit, return_inverse=True)[1])
    weight = weight[np.unique(cohort.unit, return_inverse=True)[1]] * np.isfinite(values)
    order = np.argsort(values)
    distinct, index = np.unique(values[order], return_inverse=True)
    mass = np.bincount(index, weight[order])
    middle = (np.cumsum(mass) - mass / 2) / mass.sum()
    return np.where(np.isfinite(values), np.interp(values, distinct, middle), np.nan)


def share_between(values: np.ndarray, group: np.ndarray) -> float | None:
    """Intraclass correlation of groups of two and more, one-way, not below 0."""
    has = np.isfinite(values)
    _, index = np.unique(group[has], return_inverse=True)
    count = np.bincount(index)
    keep = count[index] > 1
    if not keep.any():
        return None
    own, index = values[has][keep], np.unique(index[keep], return_inverse=True)[1]
    count = np.bincount(index)
    if len(count) < 3:
        return None
    means = np.bincount(index, own) / count
    inside = ((own - means[index]) ** 2).sum() / (len(own) - len(count))
    outside = (count * (means - own.mean()) ** 2).sum() / (len(count) - 1)
    usual = (len(own) - (count**2).sum() / len(own)) / (len(count) - 1)
    between_groups = max((outside - inside) / usual, 0.0)
    return float(between_groups / (between_groups + inside))


def pair_correlation(values: np.ndarray, inner: np.ndarray, outer: np.ndarray) -> Row:
    """Correlation of movements of one work, and of works by one composer (see above)."""
    one, other = [], []
    has = np.isfinite(values)
    draw = np.random.default_rng(SEED)
    for composer in np.unique(outer[has]):
        mine = np.flatnonzero(has & (outer == composer))
        for work in np.unique(inner[mine]):
            own = mine[inner[mine] == work]
            rest = mine[inner[mine] != work]
            if len(own) > 1 and len(rest):
                a, b = draw.choice(own, 2, replace=False)
                one.append((values[a], values[b]))
                other.append((values[a], values[draw.choice(rest)]))
    if len(one) < 20:
        return {"movements": None, "other_works": None, "movements_of": len(one)}
    both = [float(np.corrcoef(np.array(each).T)[0, 1]) for each in (one, other)]
    return {"movements": both[0], "other_works": both[1], "movements_of": len(one)}


def measures_of(session: Any, cohort: Cohort, medium: str) -> dict[str, Row]:
    """Barring, redundancy, composers, periods and movements, for every measure."""
    reference = session.reference
    named = ", ".join(f'm."{each.name}"' for each in MEASURES)
    facts = reference.fetch_columns(
        f"SELECT m.work, w.title, m.unit, {named} FROM matrix AS m "
        "JOIN works AS w USING (work) WHERE m.ensemble = $medium ORDER BY m.work",
        {"medium": medium},
    )
    other = reference.fetch_columns(
        "SELECT r.work, r.bars, r.name, r.value FROM measures_rebarred AS r JOIN matrix AS m "
        "USING (work) WHERE m.ensemble = $medium",
        {"medium": medium},
    )
    ranks = {each.name: ranked(cohort, cohort.values[each.name]) for each in MEASURES}
    row_of = {work: row for row, work in enumerate(facts["work"].tolist())}
    period = cohort.period.astype(str)
    found: dict[str, Row] = {}
    for name, own in ranks.items():
        has = np.isfinite(own)
        if has.sum() < 30:
            continue
        told = {}
        for rival, theirs in ranks.items():
            both = has & np.isfinite(theirs)
            if rival != name and both.sum() >= 30 and theirs[both].std() and own[both].std():
                told[rival] = float(np.corrcoef(own[both], theirs[both])[0, 1])
        nearest = max(told, key=lambda each: abs(told[each]), default="")
        units, index = np.unique(cohort.unit[has], return_inverse=True)
        mean = np.bincount(index, own[has]) / np.bincount(index)
        first = {int(u): period[has][index == k][0] for k, u in enumerate(units)}
        periods = np.array([first[int(u)] for u in units])
        known = periods != "None"
        found[name] = {
            "works": int(has.sum()),
            "composers": share_between(own, cohort.unit),
            "periods": share_between(mean[known], periods[known]),
            "nearest": nearest,
            "nearest_r": told.get(nearest),
            **pair_correlation(own, facts["title"].astype(str), cohort.unit),
        }
        for bars in ("half", "double"):
            chosen = (other["bars"] == bars) & (other["name"] == name)
            works, values = other["work"][chosen], other["value"][chosen].astype(float)
            pairs = [(row_of[w], v) for w, v in zip(works.tolist(), values, strict=True)
                     if w in row_of]  # fmt: skip
            if len(pairs) < 30:
                continue
            rows = np.array([row for row, _ in pairs])
            # Rates and stays are counted by the bars that are written then.
            scale = COUNTED_IN_BARS.get(name, 1.0) ** (1 if bars == "double" else -1)
            again = np.array([value * scale for _, value in pairs])
            longer = 2.0 if bars == "double" else 0.5
            moved = []
            draw = np.random.default_rng(SEED)
            for k in draw.permutation(len(rows))[: 2 * ROUNDS]:
                row = int(rows[k])
                before = place(cohort, name, float(cohort.values[name][row]),
                               size_of(cohort, row)).percentile  # fmt: skip
                size = Size(float(cohort.bars[row]) / longer, float(cohort.voices[row]))
                after = place(cohort, name, float(again[k]), size).percentile
                if before is not None and after is not None:
                    moved.append(abs(after - before))
            found[name][f"barring_{bars}"] = float(np.mean(moved)) if moved else None
    return found


def cut(played: Any, first: int, last: int) -> Any:
    """Some bars of a work as a work of its own; what sounds on ends with them."""
    bars, notes = played.bars, played.notes
    end = bars.start[last] if last < len(bars) else bars.start[-1] + bars.length[-1]
    own = notes.take((notes.bar >= first) & (notes.bar < last))
    own = replace(
        own,
        bar=own.bar - first,
        onset=own.onset - bars.start[first],
        duration=np.minimum(own.duration, end - own.onset),
    )
    kept = {each.name: getattr(bars, each.name)[first:last] for each in fields(bars)}
    kept["start"] = kept["start"] - bars.start[first]
    seconds = None if played.seconds is None else played.seconds[first:last]
    return replace(played, bars=replace(bars, **kept), notes=own, seconds=seconds)


def halves(session: Any, cohort: Cohort, medium: str, scores: Path) -> dict[str, Row]:
    """Both halves of works by different composers, measured and placed each on its own."""
    from corpusreg.measures.analysis import analyse
    from corpusreg.measures.unevenness import errors
    from corpusreg.score.played import perform
    from corpusreg.score.readers import read_file

    facts = session.reference.fetch_columns(
        "SELECT w.corpus, w.path, w.number, m.unit FROM matrix AS m "
        "JOIN works AS w USING (work) WHERE m.ensemble = $medium AND m.bars >= 32 "
        "ORDER BY hash(m.work)",
        {"medium": medium},
    )
    taken: dict[str, int] = {}
    pairs: list[list[tuple[Size, Any, Any]]] = []
    for row in range(len(facts["path"])):
        unit, path = str(facts["unit"][row]), Path(str(facts["path"][row]))
        file = scores / str(facts["corpus"][row]) / path
        if taken.get(unit, 0) > 1 or len(pairs) >= HALVES_OF or not file.exists():
            continue
        try:
            score = next(s for s in read_file(file).scores if s.number == facts["number"][row])
            whole = perform(score)
        except (corpusreg.CorpusregError, StopIteration):
            continue
        taken[unit] = taken.get(unit, 0) + 1
        middle, both = len(whole.bars) // 2, []
        for first, last in ((0, middle), (middle, len(whole.bars))):
            part = cut(whole, first, last)
            if len(part.notes):
                found = analyse(part)
                size = Size(len(part.bars), found.texture.voices)
                both.append((size, found.values, errors(found)))
        if len(both) == 2:
            pairs.append(both)
    return {name: _halves_of(cohort, name, pairs) for name in BY_NAME}


def _halves_of(cohort: Cohort, name: str, pairs: list[list[tuple[Size, Any, Any]]]) -> Row:
    held, both = [], []
    for pair in pairs:
        found = []
        for size, values, errors in pair:
            value = values[name].value
            own = None if value is None else among(cohort, name, value, size)
            if own is None:
                break
            error = errors.get(name, 0.0)
            ends = [among(cohort, name, value + side * error, size).middle for side in (-1, 1)]
            found.append((own.middle, (ends[1] - ends[0]) / 2))
        if len(found) == 2:
            both.append([1 / (1 + np.exp(-middle)) for middle, _ in found])
            reach = 1.96 * float(np.hypot(found[0][1], found[1][1]))
            held.append(abs(found[0][0] - found[1][0]) <= reach)
    if len(both) < 15:
        return {"halves_of": len(both), "halves": None, "reliability": None, "apart": None}
    table = np.array(both)
    r = float(np.corrcoef(table.T)[0, 1])
    return {
        "halves_of": len(both),
        "halves": float(np.mean(held)),
        "apart": float(100 * np.abs(table[:, 0] - table[:, 1]).mean()),
        "reliability": 2 * r / (1 + r),
    }


def simulation() -> list[Row]:
    """How often the interval holds the true place, by number of composers."""
    from scipy.stats import norm

    rung, found = Rung({"ensemble": "simulated"}, "simulated"), []
    for composers in COMPOSERS:
        draw = np.random.default_rng(SEED)
        held: dict[int, list[bool]] = {each: [] for each in TRUE_PLACES}
        for _ in range(DEALS):
            works = 1 + draw.geometric(1 / 8, composers)
            unit = np.repeat(np.arange(composers), works)
            values = draw.normal(0, 0.6, composers)[unit] + draw.normal(0, 0.8, len(unit))
            cohort = Cohort(
                rung=rung, unit=unit, values={"span": values}, bars=np.full(len(unit), 60.0),
                voices=np.ones(len(unit)), composers=composers, sources=0, collections=1,
            )  # fmt: skip
            for true in TRUE_PLACES:
                value = float(norm.ppf(true / 100))
                interval = place(cohort, "span", value, Size(60, 1)).interval
                if interval:
                    held[true].append(interval[0] <= true <= interval[1])
        shares = {str(true): float(np.mean(each)) for true, each in held.items() if each}
        found.append({"composers": composers, "held": shares})
    return found


def years(session: Any, medium: str) -> np.ndarray:
    """The year of each work of a medium, in the order of its cohort; NaN where unknown."""
    found = session.reference.fetch_columns(
        "SELECT coalesce(w.year, -1) AS year FROM matrix AS m JOIN works AS w USING (work) "
        "WHERE m.ensemble = $medium ORDER BY m.work",
        {"medium": medium},
    )["year"].astype(float)
    return np.where(found < 0, np.nan, found)


def tables(scores: Path | None) -> Row:
    """All that is found; the halves of works from the last time where no scores are given."""
    old = json.loads(RESULT.read_text(encoding="utf-8")) if RESULT.exists() else {}
    rows: dict[str, dict[str, Row]] = {}
    with corpusreg.Session() as session:
        for medium in MEDIA:
            cohort = fetch_cohort(session.reference, Rung({"ensemble": medium}, medium))
            rows[medium] = measures_of(session, cohort, medium)
            before = old.get("media", {}).get(medium, {})
            cut_in_two = {
                name: {key: row.get(key) for key in OF_HALVES} for name, row in before.items()
            }
            if scores:
                cut_in_two = halves(session, cohort, medium, scores)
            year = years(session, medium)
            for name, row in rows[medium].items():
                row |= within(cohort, name) | cut_in_two.get(name, {})
                if name in HEADLINE:
                    row |= between(cohort, name) | by_length(cohort, name)
                    row["models"] = compare(cohort, year, name)
            print(medium, file=sys.stderr, flush=True)
        made = session.reference_id
    return {"reference": made, "media": rows, "simulation": simulation()}


def main(arguments: list[str]) -> int:
    """Work out the tables."""
    scores = Path(arguments[1]) if len(arguments) == 2 and arguments[0] == "--scores" else None
    if arguments and not scores and arguments != ["--tables"]:
        print(__doc__)
        return 2
    if arguments != ["--tables"]:
        found = tables(scores)
        RESULT.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    from trust_tables import write

    write(json.loads(RESULT.read_text(encoding="utf-8")), GUIDE, README, RELIABILITY)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
