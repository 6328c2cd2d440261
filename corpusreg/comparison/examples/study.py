"""What to study beside a compared piece: passages that share its habit, and others.

The habit is the measure that stands out most. Works of the cohort that lie on the same side
share it, works on the other side of the middle do otherwise; from each the passage is shown
that goes with its side: shifts where much moves, long stays where little does, and events
where the measure counts them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.examples.find import LEAST_STAY, Example, example, rows_of, spread
from corpusreg.comparison.findings import Finding, reading
from corpusreg.norms.cohorts import Source

__all__ = ["habit", "study"]

COUNT = 3
# A stay to be aimed at takes no more of the piece than this share.
_STAY = 0.5
# By measure: the kind that goes with much of it, and the one that goes with little.
_SIDES = {
    "longest_dwell": ("dwell", "shift"),
    "expected_dwell": ("dwell", "shift"),
    "narrow_dwell": ("dwell", "shift"),
    "hollow_share": ("gap", "dwell"),
    "entries": ("withheld-bass", "dwell"),
    "pedal_points": ("pedal-point", "dwell"),
}
_MOVING = ("shift", "dwell")
_COLUMNS = ("ensemble", "family", "texture", "period")


@dataclass(frozen=True)
class Habit:
    """The most unusual measure of a piece. more: whether it has much of it. finding: the
    measure as it was found.

    kind, contrary: kinds of example that go with the habit and with its contrary. bound:
    the value from which on works share it; middle: the value that halves the cohort.
    """

    measure: str
    more: bool
    finding: Finding
    kind: str
    contrary: str
    bound: float
    middle: float


def habit(c: Comparison) -> Habit | None:
    """The most unusual habit of a piece, None where nothing stands out."""
    placed = {each.measure.name: each.placement for each in c.measures}
    for each in reading(c).unusual:
        quartiles = placed[each.name].quartiles
        if each.rank is None or each.size is None or quartiles is None:
            continue
        more = each.rank.percentile > 50
        low, high = quartiles
        much, little = _SIDES.get(each.name, _MOVING)
        return Habit(
            measure=each.name,
            more=more,
            finding=each,
            kind=much if more else little,
            contrary=little if more else much,
            bound=min(each.size, high) if more else max(each.size, low),
            middle=each.rank.median,
        )
    return None


def study(
    source: Source, c: Comparison, public: Sequence[str] = ()
) -> tuple[list[Example], list[Example]]:
    """Passages that share the piece's most unusual habit, and passages that do otherwise.

    At most COUNT each, from the cohort that the piece was placed in, the piece itself left
    out; both empty where nothing stands out. Stays are no longer than the piece, and where
    it does otherwise than half of it, so that it can come near. public: as in `find`.
    """
    found = habit(c)
    if found is None:
        return [], []
    where = {k: v for k, v in c.cohort.rung.where.items() if k in _COLUMNS}
    side, other = ("least", "most") if found.more else ("most", "least")
    given: dict[str, Any] = where | {"measure": found.measure}
    bars = len(c.bars)
    half = max(int(_STAY * bars), LEAST_STAY)
    same = given | {side: found.bound, "most_bars": bars}
    otherwise = given | {other: found.middle, "most_bars": half}
    alike = rows_of(source, found.kind, COUNT + 1, **same)
    contrary = rows_of(source, found.contrary, COUNT + 1, **otherwise)
    taken: set[str] = set()
    answers = []
    for kind, rows in ((found.kind, alike), (found.contrary, contrary)):
        others = [row for row in rows if row["work"] not in taken and not _itself(row, c)]
        chosen = [example(kind, row, public) for row in spread(others, COUNT)]
        taken.update(each.work for each in chosen)
        answers.append(chosen)
    return answers[0], answers[1]


def _itself(row: Mapping[str, Any], c: Comparison) -> bool:
    """Whether a work is the compared piece: as long, as many notes, of the same compass."""
    whole = c.whole
    return (row["work_bars"], row["notes"], row["lowest"], row["highest"]) == (
        len(c.bars), len(whole.played.notes), whole.lowest, whole.highest,
    )  # fmt: skip
