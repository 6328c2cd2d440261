"""A passage of another work in one sentence."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from corpusreg.comparison.examples import Example
from corpusreg.instruments import load
from corpusreg.system.phrases import plural
from corpusreg.system.plaintext import plain
from corpusreg.text.wording import interval, note, register

__all__ = ["passage_words"]


def passage_words(each: Example) -> str:
    """A passage in one sentence without its full stop."""
    kind, row = each.kind, each.facts
    bar = plain(str(row["start_bar"]))
    if kind == "shift":
        return _shift(row, bar)
    if kind == "dwell":
        last = plain(str(row["end_bar"]))
        low, high = note(int(row["low"])), note(int(row["high"]))
        return (
            f"Bars {bar}–{last} stay between {low} and {high} for "
            f"{plural(round(row['bars']), 'bar')}, a thin texture"
        )
    if kind == "edge":
        return _edge(row, bar)
    return _event(kind, row, bar)


def _edge(row: Mapping[str, Any], bar: str) -> str:
    low, high = int(row["low"]), int(row["high"])
    own = load()[row["instrument"]]
    end = "low" if low + high < sum(own.professional) else "high"
    return (
        f"The {own.name} is at the {end} edge of its range ({register(low, high)}) for "
        f"{plural(round(row['bars']), 'bar')} from bar {bar} on, in the middle of the texture"
    )


def _shift(row: Mapping[str, Any], bar: str) -> str:
    ways = {
        "up": "rises", "down": "falls", "opening": "opens out",
        "closing": "closes in",
    }  # fmt: skip
    what = {"mass": "The texture", "top": "The top", "bottom": "The bottom"}
    moved = what.get(row["moved"], "The texture")
    if row["direction"] in ("opening", "closing"):
        moved = "The texture"
    return f"{moved} {ways[row['direction']]} in bar {bar}, by {interval(row['size'])}"


def _event(kind: str, row: Mapping[str, Any], bar: str) -> str:
    low, high = int(row["low"]), int(row["high"])
    notes = register(low, high)
    if kind in ("withheld-bass", "withheld-top", "return"):
        bass = row["event_kind"] == "withheld_bass"
        what, beyond = ("bass", "below") if bass else ("top", "above")
        again = f", with the music of bar {plain(row['again_bar'])}" if row["again_bar"] else ""
        return (
            f"The {what} is withheld: nothing {beyond} {note(int(row['edge']))} for "
            f"{_length(row['silence'])}, then {notes} in bar {bar}{again}"
        )
    if kind == "cleared":
        return (
            f"The register at {notes} is cleared for {_length(row['silence'])} and filled "
            f"again in bar {bar}"
        )
    if kind in ("climb", "descent"):
        way = "climbs" if kind == "climb" else "descends"
        return f"A line {way} {interval(row['distance'])} and arrives in bar {bar}"
    if kind == "wedge":
        way = "opens out" if row["direction"] == "opening" else "closes in"
        return f"The texture {way} by {interval(row['distance'])} until bar {bar}"
    if kind == "isolated":
        return f"{notes} sounds for a moment in bar {bar}, far from everything round it"
    if kind == "pedal-point":
        return f"A pedal point on {notes} lasts for {_length(row['bars'])}"
    return (
        f"From bar {plain(str(row['start_bar']))} on nothing sounds between {note(low)} "
        f"and {note(high)} for {_length(row['bars'])}"
    )


def _length(bars: float) -> str:
    return plural(round(bars), "bar") if bars >= 0.75 else "less than a bar"
