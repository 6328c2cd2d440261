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


_EVENT = "how long it waits, how much enters, and how far from what sounded before"
KINDS: Mapping[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            "shift", "Clear shifts", "the texture moves to another register at one barline",
            "how far it moves, and how much of the way at once",
        ),
        Kind("entry", "Cleared entries", "an empty register is entered", _EVENT),
        Kind(
            "held-back-bass", "Bass that is held back",
            "the low register waits for a long time, and then enters", _EVENT,
        ),
        Kind(
            "held-back-top", "Top that is held back",
            "the high register waits for a long time, and then enters", _EVENT,
        ),
        Kind(
            "return", "The same music, now with another register",
            "earlier music comes again, and a register that was silent joins it", _EVENT,
        ),
        Kind(
            "solo", "Moments at an extreme",
            "a short moment, alone at the low or high end", _EVENT,
        ),
        Kind(
            "lift", "Liftings", "a held or repeated sound stops while the rest goes on",
            "how long it sounded, how much of it, and how far from what goes on",
        ),
        Kind(
            "hollow", "Hollow textures", "a wide empty space inside the texture",
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
    if kind == "hollow":
        said = "there is an empty octave or more inside"
        if row["low"] is not None and row["high"] is not None:
            said = (
                f"nothing lasting sounds from {range_words(int(row['low']), int(row['high']))}"
            )
        return f"From bar {bar} on, {plural(round(row['bars']), 'bar')} are hollow: {said}"
    if kind == "edge":
        return _edge(row, bar)
    if kind == "lift":
        return (
            f"The sound {_register(row)}, held or repeated for {_length(row['bars'])}, "
            f"stops in bar {bar} while the rest goes on"
        )
    return _entry(kind, row, bar)


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
        "closing": "draws together",
    }  # fmt: skip
    what = {"mass": "The sound as a whole", "top": "The top", "bottom": "The bottom"}
    moved = what.get(row["moved"], "The texture")
    if row["direction"] in ("opening", "closing"):
        moved = "The texture"
    return f"{moved} {ways[row['direction']]} in bar {bar}, by {interval_words(row['size'])}"


def _entry(kind: str, row: Mapping[str, Any], bar: str) -> str:
    register = f"The register {_register(row)}"
    if kind == "solo":
        since = f"{_length(row['bars'])} after it last did"
        return f"{register} sounds for a moment in bar {bar}, {since}"
    held = "is held back" if kind.startswith("held") else "is empty"
    comes = "enters for the first time" if row["first_time"] else "returns"
    new = ", now with this register" if row["first_time"] else ""
    again = f": earlier music again{new}" if row["again"] else ""
    return f"{register} {held} for {_length(row['bars'])} and {comes} in bar {bar}{again}"


def _register(row: Mapping[str, Any]) -> str:
    low, high = row["low"], row["high"]
    if low is None:
        return "everywhere" if high is None else f"below {note_name(int(high) + 1)}"
    if high is None:
        return f"above {note_name(int(low))}"
    return (
        f"from {range_words(int(low), int(high))}"
        if low != high
        else f"on {note_name(int(low))}"
    )


def _length(bars: float) -> str:
    return plural(round(bars), "bar") if bars >= 0.75 else "less than a bar"
