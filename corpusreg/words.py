"""From a comparison to plain sentences for musicians.

The words describe and offer; they never grade. Fractions are said in tenths,
or in fifths where the interval is too wide for tenths.
"""

from __future__ import annotations

from corpusreg.compare import Comparison, PlacedMeasure, PlacedStay
from corpusreg.definitions import Measure
from corpusreg.measures.shifts import Shift
from corpusreg.pitch import note_name
from corpusreg.played import PlayedBars
from corpusreg.reference import Cohort, Placement

__all__ = [
    "CAUTION",
    "bar_range",
    "cohort_words",
    "disagreements",
    "measure_words",
    "plural",
    "shift_words",
    "standing_out",
    "stay_words",
    "try_words",
    "value_words",
]

CAUTION = (
    "Very high and very low notes can strain a voice or a player: "
    "ask the player, the singer or the teacher."
)
_WIDE_INTERVAL = 20.0
_FIFTHS = ("lowest", "second", "middle", "fourth", "highest")


def plural(number: int, noun: str) -> str:
    """A count with its noun.

    >>> plural(1, "bar"), plural(3, "bar")
    ('1 bar', '3 bars')
    """
    return f"{number:,} {noun}" + ("" if number == 1 else "s")


def bar_range(bars: PlayedBars, first: int, last: int) -> str:
    """Printed bars of the played bars `first` to `last` (half-open), as people write them."""
    start, end = bars.labels[first], bars.labels[last - 1]
    return f"bar {start}" if last - first == 1 else f"bars {start} to {end}"


def cohort_words(cohort: Cohort) -> str:
    """How many works of which kind, by how many composers, from how many collections."""
    people = [plural(cohort.composers, "composer")] if cohort.composers else []
    if cohort.sources:
        people.append(plural(cohort.sources, "source") + " of anonymous music")
    return (
        f"{plural(cohort.works, 'work')} ({cohort.rung.title}) by {' and '.join(people)}, "
        f"from {plural(cohort.collections, 'collection')}"
    )


def value_words(measure: Measure, value: float | None) -> str:
    """A value with its unit, rounded for reading."""
    if value is None:
        return "-"
    if measure.unit == "share of bars":
        return f"{100 * value:.0f} % of bars"
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
    if p > 95:
        return f"{measure.more} than nearly all" + _unusual(low, high)
    if p < 5:
        return f"{measure.less} than nearly all" + _unusual(low, high)
    if high - low > _WIDE_INTERVAL:
        return _fifths(low, high)
    tenths = round(p / 10)
    if tenths == 5:
        return "in the middle of these works"
    if tenths > 5:
        return f"{measure.more} than about {tenths} in 10" + _unusual(low, high)
    return f"{measure.less} than about {10 - tenths} in 10" + _unusual(low, high)


def _tied(measure: Measure, value: float | None, tied: float) -> str:
    tenths = min(max(round(10 * tied), 1), 9)
    what = f"no {measure.title}" if value == measure.atom else f"the same {measure.title}"
    return f"{what}, like about {tenths} in 10"


def _unusual(low: float, high: float) -> str:
    return ", unusual here" if low > 90 or high < 10 else ""


def _fifths(low: float, high: float) -> str:
    first, last = (min(int(edge // 20), 4) for edge in (low, high - 1e-9))
    if first == last:
        return f"in the {_FIFTHS[first]} fifth of these works"
    if (first, last) == (0, 4):
        return "anywhere among these works: they are too few to tell"
    return f"between the {_FIFTHS[first]} and the {_FIFTHS[last]} fifth of these works"


def standing_out(comparison: Comparison) -> list[PlacedMeasure]:
    """Measures that stand out, furthest first; empty where nothing does.

    A measure stands out beyond the ranks 10 and 90, unless more than half of the
    cohort's own works have some measure as far out as this piece's furthest.
    """
    if comparison.odder is None or comparison.odder > 0.5:
        return []
    far = [
        each
        for each in comparison.measures
        if each.placement.percentile is not None
        and abs(each.placement.percentile - 50) >= 40
        and each.placement.tied < 0.2
    ]
    return sorted(far, key=lambda each: -abs((each.placement.percentile or 50) - 50))


def disagreements(comparison: Comparison) -> list[str]:
    """Measures that a neighbouring cohort places on the other side of ranks 25 or 75."""
    found = []
    for title, placements in comparison.others.items():
        for each in comparison.measures:
            here, there = each.placement.percentile, placements[each.measure.name].percentile
            if here is None or there is None or abs(here - there) < 15:
                continue
            if any((here - line) * (there - line) < 0 for line in (25, 75)):
                found.append(
                    f"{each.measure.title}: rank {here:.0f} of 100 among "
                    f"{comparison.cohort.rung.title}, {there:.0f} among {title}"
                )
    return found


def stay_words(stay: PlacedStay, bars: PlayedBars) -> str:
    """One stay: which bars, between which notes, how wide."""
    width = "narrow" if stay.narrow else "wide"
    return (
        f"{bar_range(bars, stay.stay.first, stay.stay.last)} ({plural(stay.stay.bars, 'bar')}): "
        f"{note_name(stay.stay.low)} to {note_name(stay.stay.high)}, {width}"
    )


def shift_words(shift: Shift, bars: PlayedBars) -> str:
    """One shift: where it arrives, which way, what moves and how far."""
    what = {"mass": "the whole sound", "top": "the top", "bottom": "the bottom"}[shift.by]
    way = {
        "up": "moves up",
        "down": "moves down",
        "opening": "opens outward",
        "closing": "closes inward",
    }[shift.direction]
    return (
        f"bar {bars.labels[shift.bar]}: the register {way}; {what} by {shift.size:.0f} semitones"
    )


def try_words(each: PlacedMeasure, bars: PlayedBars) -> str:
    """An offer for a measure that stands out: where to listen and one thing to try."""
    where = ", ".join(bar_range(bars, a, b) for a, b in each.passages)
    above = (each.placement.percentile or 0) > 50
    offer = _OFFERS.get(each.measure.name, ("", ""))[0 if above else 1]
    listen = f"Listen for it in {where}. " if where else ""
    return f"{listen}{offer}".strip()


# First what may be tried where a measure is high, then where it is low. Offers,
# not rules: each works in both directions, and leaving things as they are is one.
_OFFERS = {
    "span": (
        "Try hearing the outermost notes alone: does each arrive, or pass by?",
        "Try one phrase an octave away and hear whether the piece wants it.",
    ),
    "core_span": (
        "Try holding one passage to a single octave and hear what the width gains.",
        "Try moving one hand or voice an octave outward for a phrase.",
    ),
    "octaves_in_use": (
        "Try leaving one octave silent for a phrase, then coming back to it.",
        "Try giving one phrase an octave that the piece has not used yet.",
    ),
    "movement_beat": (
        "Try keeping one bar still and hear whether the motion is missed.",
        "Try one wider leap or a change of octave inside a bar.",
    ),
    "movement_bar": (
        "Try keeping two bars in one place and hear whether the next move gains.",
        "Try answering one bar an octave higher or lower.",
    ),
    "movement_phrase": (
        "Try one phrase that stays where the phrase before it was.",
        "Try beginning one phrase in another octave.",
    ),
    "travel": (
        "Try one bar that stays on its level.",
        "Try a bar that runs through two octaves.",
    ),
    "shift_rate": (
        "Try joining two places into one longer stay, so that the next shift tells.",
        "Try one clear shift at the beginning of a phrase.",
    ),
    "longest_dwell": (
        "Try breaking the stay once, or keep it and lighten it, and compare.",
        "Try staying twice as long in one register before leaving it.",
    ),
    "expected_dwell": (
        "Try breaking the stay once, or keep it and lighten it, and compare.",
        "Try staying twice as long in one register before leaving it.",
    ),
    "narrow_dwell": (
        "Try opening the outer voices for one phrase.",
        "Try drawing everything together for one phrase.",
    ),
    "hollow_share": (
        "Try filling the gap in one bar and hear what the empty space does.",
        "Try leaving an octave empty between the hands or voices for a phrase.",
    ),
}
