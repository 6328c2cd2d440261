"""Kinds of examples: their names, and what they show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["KINDS"]


@dataclass(frozen=True)
class Kind:
    """name: as a user writes it. title: a heading. shows: what can be studied there.

    strength: by what passages are ordered, in words.
    """

    name: str
    title: str
    shows: str
    strength: str


_EVENT = "how long it waits, how long it then lasts, and how far from what sounded before"
_LINE = "how far the line goes, and how straight"
KINDS: Mapping[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            "shift", "Clear shifts", "the texture moves to another register at one barline",
            "how far it moves, and how much of the way at once",
        ),
        Kind(
            "withheld-bass", "Bass withheld and brought in",
            "the bass keeps out of the low register for long, and then enters there", _EVENT,
        ),
        Kind(
            "withheld-top", "Top withheld and brought in",
            "the top keeps out of the high register for long, and then enters there", _EVENT,
        ),
        Kind(
            "return", "The same music, now with the bass or the top",
            "earlier music comes again, and the register that was withheld joins it", _EVENT,
        ),
        Kind(
            "cleared", "Places emptied and filled again",
            "a place inside the texture falls silent for long, and is filled again", _EVENT,
        ),
        Kind("climb", "Climbs", "an outer line climbs an octave or more", _LINE),
        Kind("descent", "Descents", "an outer line descends an octave or more", _LINE),
        Kind("wedge", "Wedges", "the outer lines move apart or together, bar by bar", _LINE),
        Kind(
            "isolated", "Moments at an extreme",
            "a short moment, far from everything round it", "how far it lies from the rest",
        ),
        Kind(
            "pedal-point", "Pedal points", "one note holds while the rest moves on",
            "how long it lasts, and how it ends",
        ),
        Kind(
            "gap", "Gaps between the voices", "an octave or more stays empty in the texture",
            "how long it lasts, and how wide the gap is",
        ),
        Kind(
            "dwell", "Long stays with air in them",
            "the music keeps one narrow register for long, and does not fill it up",
            "how long it stays, and how little its fullest octave is filled",
        ),
        Kind(
            "edge", "An instrument at its edge, the whole in the middle",
            "a part at the edge of its range (which can strain: ask the player or singer) "
            "while the whole sounds in the middle",
            "how long it stays there, and with how much of its time",
        ),
    )
}  # fmt: skip
