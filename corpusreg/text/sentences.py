"""From a comparison to plain sentences for musicians.

The words describe and offer; they never grade. Fractions are said in tenths, or
in fifths where the interval is too wide for tenths. What the piece does with
register is told in families: space, moves within and between bars, stays, hollow
bars; of each family only what lies furthest out is told at length.
"""

from __future__ import annotations

from corpusreg.comparison.comparison import Comparison, PlacedMeasure, PlacedStay
from corpusreg.measures.definitions import Measure
from corpusreg.measures.shifts import Shift
from corpusreg.norms.reference import Cohort, Placement
from corpusreg.score.pitch import note_name
from corpusreg.score.played import PlayedBars
from corpusreg.system.phrases import joined, plural
from corpusreg.system.plaintext import plain
from corpusreg.text.bars import (
    bar_range,
    first_times,
)

__all__ = [
    "clearest_shifts",
    "cohort_words",
    "compass",
    "disagreements",
    "far_apart",
    "forces",
    "interval_words",
    "leading",
    "length_words",
    "measure_words",
    "nothing_words",
    "place_words",
    "range_words",
    "shift_words",
    "standing_out",
    "stay_words",
    "told_stays",
    "value_words",
    "where",
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
_FAMILIES = {
    "span": "space",
    "core_span": "space",
    "octaves_in_use": "space",
    "movement_beat": "within",
    "travel": "within",
    "movement_bar": "between",
    "movement_phrase": "between",
    "shift_rate": "between",
    "longest_dwell": "stays",
    "expected_dwell": "stays",
    "narrow_dwell": "narrow",
    "hollow_share": "hollow",
    "entries": "events",
    "pedal_points": "pedals",
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


def range_words(low: int, high: int) -> str:
    """Two notes as a range, one note as itself.

    >>> range_words(60, 72), range_words(64, 64)
    ('C4 to C5', 'E4')
    """
    return note_name(low) if low == high else f"{note_name(low)} to {note_name(high)}"


def compass(comparison: Comparison) -> str:
    """The lowest and the highest note of the piece."""
    return range_words(comparison.whole.lowest, comparison.whole.highest)


def forces(comparison: Comparison) -> str:
    """What the piece is for: two named parts by their names, otherwise the ensemble."""
    parts = [plain(part) for part in comparison.piece.parts]
    if len(parts) == 2 and all(parts) and len(set(parts)) == 2:
        return joined([part[0].lower() + part[1:] for part in parts])
    return comparison.piece.ensemble


def length_words(comparison: Comparison) -> str:
    """How many bars there are, and how many are heard where that differs."""
    written, heard = comparison.written_bars, len(comparison.bars)
    upbeat = written > 1 and comparison.bars.labels[0] == "0"
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


def standing_out(comparison: Comparison) -> list[PlacedMeasure]:
    """Measures that stand out, furthest first; empty where nothing does.

    A measure stands out beyond the ranks 10 and 90, with its whole interval beyond
    25 or 75, unless more than half of the cohort's own works have some measure as
    far out as this piece's furthest.
    """
    if comparison.odder is None or comparison.odder > 0.5:
        return []
    far = [
        each
        for each in comparison.measures
        if each.placement.percentile is not None
        and abs(each.placement.percentile - 50) >= 40
        and each.placement.tied < 0.2
        and _surely_out(each.placement)
    ]
    return sorted(far, key=lambda each: -round(abs((each.placement.percentile or 50) - 50)))


def _surely_out(placement: Placement) -> bool:
    low, high = placement.interval or (0.0, 100.0)
    return low > 75 or high < 25


def leading(comparison: Comparison) -> list[tuple[PlacedMeasure, list[PlacedMeasure]]]:
    """What stands out, one measure of each family, with the others that say the same."""
    groups: dict[tuple[str, bool], list[PlacedMeasure]] = {}
    for each in standing_out(comparison):
        key = (_FAMILIES[each.measure.name], _is_high(each))
        groups.setdefault(key, []).append(each)
    return [(group[0], group[1:]) for group in groups.values()]


def nothing_words(comparison: Comparison, *, besides: bool) -> str:
    """What is said where no measure stands out; besides: something else is told first."""
    none = "Of the measures below none stands out" if besides else "Nothing stands out"
    odder = comparison.odder
    if odder is None and any(each.placement.interval for each in comparison.measures):
        return "What stands out cannot be told: too few works are known for that."
    if odder is None:
        return "Nothing can be told: the piece is not placed (see the reasons below)."
    if odder > 0.5:
        return (
            f"{none}: of these works about {min(round(10 * odder), 9)} in 10 "
            "have some measure as far out as this piece's furthest."
        )
    return f"{none}."


def far_apart(comparison: Comparison) -> bool:
    """Whether the piece reaches unusually far, so that extremes deserve a word."""
    return any(
        each.measure.name in ("span", "core_span") and _is_high(each)
        for each in standing_out(comparison)
    )


def _is_high(each: PlacedMeasure) -> bool:
    return (each.placement.percentile or 0) > 50


def disagreements(comparison: Comparison) -> list[str]:
    """Where a neighbouring cohort would place the piece elsewhere, one sentence a cohort.

    Elsewhere: on the other side of rank 25 or 75, and 15 ranks away or more.
    """
    found = []
    for title, placements in comparison.others.items():
        differ = []
        for each in comparison.measures:
            here, there = each.placement.percentile, placements[each.measure.name].percentile
            if here is None or there is None or abs(here - there) < 15:
                continue
            if any((here - line) * (there - line) < 0 for line in (25, 75)):
                differ.append(f"{each.measure.title} {_rank(there)} (here {_rank(here)})")
        if differ:
            found.append(f"Among {title} it would lie elsewhere: {', '.join(differ)}.")
    return found


def _rank(percentile: float) -> str:
    if percentile > 95 or percentile < 5:
        return f"{'above' if percentile > 50 else 'below'} nearly all"
    tenths = _tenths(percentile / 100)
    if tenths == 5:
        return "in the middle"
    return f"{'above' if tenths > 5 else 'below'} {max(tenths, 10 - tenths)} in 10"


def where(each: PlacedMeasure, comparison: Comparison) -> tuple[tuple[int, int], ...]:
    """Played bars to listen to for a measure; few moves show in the longest stay."""
    if _is_high(each) or each.measure.name not in _SEEN_IN_STAYS:
        return each.passages
    longest = max(comparison.whole.stays, key=lambda stay: (stay.bars, -stay.first))
    return ((longest.first, longest.last),)


_SEEN_IN_STAYS = ("movement_bar", "movement_phrase", "shift_rate")


def stay_words(stay: PlacedStay, bars: PlayedBars) -> str:
    """One stay: which bars, between which notes, how wide."""
    width = "narrow" if stay.narrow else "wide"
    long = stay.stay.bars
    count = f" ({plural(long, 'bar')})" if long > 1 else ""
    return (
        f"{bar_range(bars, stay.stay.first, stay.stay.last)}{count}: "
        f"{range_words(stay.stay.low, stay.stay.high)}, {width}"
    )


def told_stays(comparison: Comparison, number: int) -> list[PlacedStay]:
    """Main stays of the whole by rank, each passage of printed bars once."""
    main = (s for s in comparison.stays if s.part is None and s.main)
    whole = {(s.stay.first, s.stay.last): s for s in main}
    return [whole[run] for run in first_times(comparison.bars, list(whole))[:number]]


def clearest_shifts(comparison: Comparison, number: int) -> list[Shift]:
    """The largest shifts by mass, each printed bar once, in order of time."""
    wide = sorted(comparison.shifts, key=lambda shift: (-shift.mass, shift.bar))
    at = {(shift.bar, shift.bar + 1): shift for shift in wide}
    told = [at[run] for run in first_times(comparison.bars, list(at))[:number]]
    return sorted(told, key=lambda shift: shift.bar)


def shift_words(shift: Shift, bars: PlayedBars) -> str:
    """One shift: where it arrives, which way, what moves and how far."""
    far = f"by about {interval_words(shift.size)}"
    return f"bar {bars.labels[shift.bar]}: {_way(shift)} {far}"


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
