"""Intervals, ranges, lengths, values and shifts in words."""

from __future__ import annotations

from corpusreg.comparison.comparison import Comparison
from corpusreg.measures.definitions import Measure
from corpusreg.measures.shifts import Shift
from corpusreg.norms.reference import Cohort
from corpusreg.score.pitch import USUAL, Spelling, note_name
from corpusreg.score.played import PlayedBars
from corpusreg.system.phrases import plural

__all__ = [
    "cohort_words", "interval_words", "length_words", "moved_how", "range_words",
    "shift_words", "value_words",
]  # fmt: skip

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
        return f"{edge} {'rise' if move > 0 else 'fall'}"
    outer = max(abs(shift.top), abs(shift.bottom))
    if outer < shift.mass / 2 and shift.direction in _FULLER:
        same = "with the same" if outer < _STIRS else "more than its"
        return f"the middle of the texture {_FULLER[shift.direction]}, {same} outer notes,"
    return f"the texture {_WAYS[shift.direction]}"


_FULLER = {"up": "rises", "down": "falls"}
_WAYS = {**_FULLER, "opening": "opens out", "closing": "closes in"}
