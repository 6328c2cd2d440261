"""From a comparison to plain sentences for musicians.

The words describe and offer; they never grade. Fractions are said in tenths, or
in fifths where the interval is too wide for tenths. What the piece does with
register is told in families: space, moves within and between bars, stays, hollow
bars; of each family only what lies furthest out is told at length.
"""

from __future__ import annotations

from corpusreg.comparison.comparison import Comparison
from corpusreg.measures.definitions import Measure
from corpusreg.measures.shifts import Shift
from corpusreg.norms.reference import Cohort, Placement
from corpusreg.score.pitch import USUAL, Spelling, note_name
from corpusreg.score.played import PlayedBars
from corpusreg.system.phrases import plural

__all__ = [
    "cohort_words",
    "interval_words",
    "length_words",
    "measure_words",
    "moved_how",
    "place_words",
    "range_words",
    "shift_words",
    "value_words",
]

_WIDE_INTERVAL = 20.0
# Where an interval of percentile points lies, in fifths: first fifth, last fifth.
# The two sides are said with the measure's own words.
_FIFTHS = {
    (0, 1): "than at least 3 in 5",
    (0, 2): "anywhere from the middle of these works down",
    (0, 3): "anywhere but in the highest fifth of these works",
    (1, 1): "than at least 3 in 5",
    (1, 2): "in the middle of these works or somewhat below",
    (1, 3): "somewhere in the middle three fifths of these works",
    (1, 4): "anywhere but in the lowest fifth of these works",
    (2, 3): "in the middle of these works or somewhat above",
    (2, 4): "anywhere from the middle of these works up",
    (3, 3): "than at least 3 in 5",
    (3, 4): "than at least 3 in 5",
    (0, 4): "anywhere among these works: they are few, or differ much",
}
_SHORT_FIFTHS = {
    (0, 1): "below 3 in 5",
    (0, 2): "middle or below",
    (0, 3): "not at the top",
    (1, 1): "below 3 in 5",
    (1, 2): "middle or below",
    (1, 3): "near the middle",
    (1, 4): "not at the bottom",
    (2, 3): "middle or above",
    (2, 4): "middle or above",
    (3, 3): "above 3 in 5",
    (3, 4): "above 3 in 5",
    (0, 4): "cannot be told",
}
_INTERVALS = (
    "", "a semitone", "a whole tone", "a minor third", "a major third", "a fourth", "a tritone",
    "a fifth", "a minor sixth", "a major sixth", "a minor seventh", "a major seventh",
)  # fmt: skip
_OCTAVES = ("", "an octave", "two octaves", "three octaves", "four octaves", "five octaves")
_STIRS = 3  # semitones below which an edge counts as staying


def interval_words(semitones: float) -> str:
    """A distance as musicians call it, to the nearest semitone.

    >>> interval_words(7.2), interval_words(12), interval_words(16)
    ('a fifth', 'an octave', 'an octave and a major third')
    """
    octaves, rest = divmod(round(semitones), 12)
    if octaves >= len(_OCTAVES):
        return f"{octaves} octaves"
    return (
        " and ".join(filter(None, (_OCTAVES[octaves], _INTERVALS[rest])))
        or "less than a semitone"
    )


def range_words(low: int, high: int, spelling: Spelling = USUAL) -> str:
    """Two notes as a range, one note as itself.

    >>> range_words(60, 72), range_words(64, 64)
    ('C4 to C5', 'E4')
    """
    return " to ".join(dict.fromkeys(note_name(pitch, spelling) for pitch in (low, high)))


def length_words(comparison: Comparison) -> str:
    """How many bars there are, and how many are heard where that differs."""
    written, heard = comparison.written_bars, len(comparison.bars)
    upbeat = written > 1 and comparison.bars.printed[0] == "0"
    text = plural(written - 1, "bar") + " and an upbeat" if upbeat else plural(written, "bar")
    return text + (f", {heard} as played" if heard != written else "")


def cohort_words(cohort: Cohort) -> str:
    """How many works of which kind, by how many composers, from how many collections."""
    people = [plural(cohort.composers, "composer")] if cohort.composers else []
    if cohort.sources:
        people.append(plural(cohort.sources, "source") + " of anonymous music")
    by = f" by {' and '.join(people)}" if people else ""
    return (
        f"{plural(cohort.works, 'work')} ({cohort.rung.title}){by}, "
        f"from {plural(cohort.collections, 'collection')}"
    )


def value_words(measure: Measure, value: float | None) -> str:
    """A value with its unit, rounded for reading."""
    if value is None:
        return "-"
    if measure.unit.startswith("share of "):
        return f"{100 * value:.0f} % of {measure.unit.removeprefix('share of ')}"
    digits = 0 if value == int(value) or value >= 100 else 1
    unit = measure.unit
    if value == 1 and unit.endswith("s"):
        unit = unit[:-1]
    return f"{value:.{digits}f} {unit}"


def measure_words(measure: Measure, value: float | None, placement: Placement) -> str:
    """Where a value lies in its cohort, in plain words."""
    p = placement.percentile
    if p is None or placement.interval is None:
        return placement.reason
    low, high = placement.interval
    if placement.tied >= 0.2:
        return _tied(measure, value, placement.tied)
    side = measure.more if p > 50 else measure.less
    if p > 95 or p < 5:
        return f"{side} than nearly all" + _unusual(low, high)
    if high - low > _WIDE_INTERVAL:
        said = _FIFTHS.get(_fifths(low, high), "in the middle of these works")
        return f"{side} {said}" if said.startswith("than") else said
    tenths = _tenths(p / 100)
    if tenths == 5:
        return "in the middle of these works"
    return f"{side} than about {max(tenths, 10 - tenths)} in 10" + _unusual(low, high)


def place_words(measure: Measure, value: float | None, placement: Placement) -> str:
    """`measure_words` in at most 18 letters, for a table; empty where nothing is placed."""
    p = placement.percentile
    if p is None or placement.interval is None:
        return ""
    low, high = placement.interval
    if placement.tied >= 0.2:
        what = "none, " if value == measure.atom == 0 else ""
        return f"{what}like {_tenths(placement.tied)} in 10"
    if 5 <= p <= 95 and high - low > _WIDE_INTERVAL:
        return _SHORT_FIFTHS.get(_fifths(low, high), "in the middle")
    return _rank(p)


def _tied(measure: Measure, value: float | None, tied: float) -> str:
    what = f"no {measure.title}" if value == measure.atom else f"the same {measure.title}"
    return f"{what}, like about {_tenths(tied)} in 10"


def _tenths(share: float) -> int:
    return min(max(round(10 * share), 1), 9)


def _unusual(low: float, high: float) -> str:
    return ", unusual here" if low > 90 or high < 10 else ""


def _fifths(low: float, high: float) -> tuple[int, int]:
    first, last = (min(int(edge // 20), 4) for edge in (low, high - 1e-9))
    return first, last


def _rank(percentile: float) -> str:
    if percentile > 95 or percentile < 5:
        return f"{'above' if percentile > 50 else 'below'} nearly all"
    tenths = _tenths(percentile / 100)
    if tenths == 5:
        return "in the middle"
    return f"{'above' if tenths > 5 else 'below'} {max(tenths, 10 - tenths)} in 10"


def shift_words(shift: Shift, bars: PlayedBars) -> str:
    """One shift: where it arrives, which way, what moves and how far."""
    return f"bar {bars.labels[shift.bar]}: {moved_how(shift)}"


def moved_how(shift: Shift) -> str:
    """Which way a shift goes, what moves and how far."""
    return f"{_way(shift)} by about {interval_words(shift.size)}"


def _way(shift: Shift) -> str:
    """Which way a shift goes; in words of weight where neither edge has moved."""
    if shift.by == "part":
        return f"one part moves {shift.direction}"
    if shift.by != "mass":
        edge = "the highest notes" if shift.by == "top" else "the lowest notes"
        move = shift.top if shift.by == "top" else shift.bottom
        return f"{edge} move {'up' if move > 0 else 'down'}"
    outer = max(abs(shift.top), abs(shift.bottom))
    if outer < _STIRS and shift.direction in ("up", "down"):
        return f"the outer notes stay; the weight between them moves {shift.direction}"
    if outer < shift.mass / 2:
        return f"the weight moves {_TOWARDS[shift.direction]}, more than the outer notes do,"
    return {
        "up": "the whole moves up",
        "down": "the whole moves down",
        "opening": "the sound opens outward",
        "closing": "the sound draws together",
    }[shift.direction]


_TOWARDS = {"up": "up", "down": "down", "opening": "outward", "closing": "inward"}
