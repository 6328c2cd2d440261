"""What may be tried where a measure stands out, and a word of caution about extremes."""

from __future__ import annotations

from corpusreg.comparison.comparison import PlacedMeasure

__all__ = ["CAUTION", "try_words"]

CAUTION = (
    "Very high and very low notes can strain a voice or a player: "
    "ask the player, the singer or the teacher."
)


def try_words(each: PlacedMeasure) -> str:
    """An offer for a measure that stands out: one thing to try."""
    high = (each.placement.percentile or 0) > 50
    return _OFFERS.get(each.measure.name, ("", ""))[0 if high else 1]


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
    "entries": (
        "Try letting one register stay in use and hear which entry then tells most.",
        "Try keeping one octave empty for a phrase before a moment that matters.",
    ),
    "pedal_points": (
        "Try ending one pedal point a bar earlier, and hear what follows.",
        "Try holding one low note under changing chords, and let it move off late.",
    ),
}
