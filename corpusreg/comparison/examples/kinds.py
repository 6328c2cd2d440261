"""Kinds of examples: their names, what they show, and a passage in one sentence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from corpusreg.instruments import load
from corpusreg.score.pitch import note_name
from corpusreg.system.phrases import plural
from corpusreg.system.plaintext import plain
from corpusreg.text.sentences import (
    interval_words,
    range_words,
)

__all__ = ["KINDS", "Kind", "sentence"]


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


def sentence(kind: str, row: Mapping[str, Any]) -> str:
    """A passage in one sentence without its full stop; row: of `queries/store/examples.sql`."""
    bar = plain(str(row["start_bar"]))
    if kind == "shift":
        return _shift(row, bar)
    if kind == "dwell":
        last = plain(str(row["end_bar"]))
        where = range_words(int(row["low"]), int(row["high"]))
        return (
            f"Bars {bar} to {last} stay between {where.replace(' to ', ' and ')} for "
            f"{plural(round(row['bars']), 'bar')}, and its fullest octave is filled to "
            f"{100 * row['size']:.0f} % on average"
        )
    if kind == "edge":
        return _edge(row, bar)
    return _event(kind, row, bar)


def _edge(row: Mapping[str, Any], bar: str) -> str:
    low, high = int(row["low"]), int(row["high"])
    own = load()[row["instrument"]]
    end = "low" if low + high < sum(own.professional) else "high"
    return (
        f"The {own.name} is at the {end} edge of its range ({range_words(low, high)}) for "
        f"{plural(round(row['bars']), 'bar')} from bar {bar} on, in the middle of the whole"
    )


def _shift(row: Mapping[str, Any], bar: str) -> str:
    ways = {
        "up": "moves up", "down": "moves down", "opening": "opens out",
        "closing": "closes in",
    }  # fmt: skip
    what = {"mass": "The sound as a whole", "top": "The top", "bottom": "The bottom"}
    moved = what.get(row["moved"], "The texture")
    if row["direction"] in ("opening", "closing"):
        moved = "The texture"
    return f"{moved} {ways[row['direction']]} in bar {bar}, by {interval_words(row['size'])}"


def _event(kind: str, row: Mapping[str, Any], bar: str) -> str:
    low, high = int(row["low"]), int(row["high"])
    notes = range_words(low, high)
    if kind in ("withheld-bass", "withheld-top", "return"):
        bass = row["event_kind"] == "withheld_bass"
        what, beyond = ("bass", "below") if bass else ("top", "above")
        again = f", with the music of bar {plain(row['again_bar'])}" if row["again_bar"] else ""
        return (
            f"The {what} is withheld: nothing {beyond} {note_name(int(row['edge']))} for "
            f"{_length(row['silence'])}, then {notes} in bar {bar}{again}"
        )
    if kind == "cleared":
        return (
            f"The place round {notes} is silent for {_length(row['silence'])} and is filled "
            f"again in bar {bar}"
        )
    if kind in ("climb", "descent"):
        way = "climbs" if kind == "climb" else "descends"
        return f"A line {way} {interval_words(row['distance'])} and arrives in bar {bar}"
    if kind == "wedge":
        way = "opens out" if row["direction"] == "opening" else "closes in"
        return f"The texture {way} by {interval_words(row['distance'])} until bar {bar}"
    if kind == "isolated":
        return f"{notes} sounds for a moment in bar {bar}, far from everything round it"
    if kind == "pedal-point":
        return f"A pedal point on {notes} lasts for {_length(row['bars'])}"
    return (
        f"From bar {plain(str(row['start_bar']))} on nothing sounds between {note_name(low)} "
        f"and {note_name(high)} for {_length(row['bars'])}"
    )


def _length(bars: float) -> str:
    return plural(round(bars), "bar") if bars >= 0.75 else "less than a bar"
