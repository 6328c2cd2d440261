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
from corpusreg.norms.cohorts import Source
from corpusreg.text import sentences

__all__ = ["Habit", "habit", "study"]

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
    """The most unusual measure of a piece. more: whether it has much of it.

    title: of the measure, said: of the piece in words.

    kind, contrary: kinds of example that go with the habit and with its contrary. bound:
    the value from which on works share it; middle: the value that halves the cohort.
    """

    measure: str
    more: bool
    title: str
    said: str
    kind: str
    contrary: str
    bound: float
    middle: float


def habit(c: Comparison) -> Habit | None:
    """The most unusual habit of a piece, None where nothing stands out."""
    for each, _ in sentences.leading(c):
        placed = each.placement
        if placed.percentile is None or placed.median is None or placed.quartiles is None:
            continue
        if each.value is None:
            continue
        more = placed.percentile > 50
        low, high = placed.quartiles
        much, little = _SIDES.get(each.measure.name, _MOVING)
        return Habit(
            measure=each.measure.name,
            more=more,
            title=each.measure.title,
            said=sentences.measure_words(each.measure, each.value, placed),
            kind=much if more else little,
            contrary=little if more else much,
            bound=min(each.value, high) if more else max(each.value, low),
            middle=placed.median,
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
