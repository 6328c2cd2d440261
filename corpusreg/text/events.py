"""Events of register in plain sentences, and which of them to tell first."""

from __future__ import annotations

from corpusreg.comparison.comparison import Comparison
from corpusreg.measures.events import Event
from corpusreg.score.pitch import note_name
from corpusreg.score.played import PlayedBars
from corpusreg.system.phrases import capital, plural
from corpusreg.text.bars import bar_range
from corpusreg.text.sentences import (
    range_words,
)

__all__ = ["event_words", "told_events"]


def told_events(c: Comparison, number: int) -> list[Event]:
    """The strongest events of the whole, in order of time, one for each printed bar."""
    best: dict[int, Event] = {}
    whole = [each.event for each in c.events if each.part is None]
    for event in sorted(whole, key=lambda each: (-each.strength, each.first)):
        best.setdefault(int(c.bars.written[event.first]), event)
    return sorted(list(best.values())[:number], key=lambda each: each.first)


def event_words(event: Event, bars: PlayedBars) -> str:
    """One event as a sentence without its full stop."""
    where = f"in {bar_range(bars, event.first, event.first + 1)}"
    if event.kind == "lift":
        return (
            f"The {event.side} {_tones(event)}, held or repeated for {_length(event.bars)}, "
            f"stops {where} while the rest goes on"
        )
    if event.kind == "hollow":
        return _hollow(event, bars)
    register = f"The register {register_words(event)}"
    if event.kind == "solo":
        return (
            f"{register} sounds for a moment {where}, alone for "
            f"{_length(event.bars)} before and for some bars after"
        )
    return register + _entered(event, where) + _again(event, bars)


def register_words(event: Event) -> str:
    """The register of an event: 'below C3', 'above C5', 'from C4 to B4', or 'everywhere'."""
    if event.low is None:
        return "everywhere" if event.high is None else f"below {note_name(event.high + 1)}"
    if event.high is None:
        return f"above {note_name(event.low)}"
    return f"from {range_words(event.low, event.high)}"


def _entered(event: Event, where: str) -> str:
    held = "is held back" if event.kind == "held_back" else "is empty"
    comes = "enters for the first time" if event.never else "returns"
    but = ", but for notes at its border," if event.grazed else ""
    return f" {held}{but} for {_length(event.bars)} and {comes} {where} with {_what(event)}"


def _what(event: Event) -> str:
    if event.together >= 3 and not event.octaves:
        return "full chords"
    if event.octaves:
        return "octaves"
    if event.together == 2:
        return "two notes at a time"
    return "a single note" if event.pitches == 1 else "single notes"


def _again(event: Event, bars: PlayedBars) -> str:
    if event.again is None:
        return ""
    # The earlier passage may have had the register too, unless nothing had it before.
    new = f", now with the {event.side} register" if event.never else ""
    return f": the music of bar {bars.labels[event.again]} again{new}"


def _tones(event: Event) -> str:
    if event.low is None or event.high is None:
        return "sound"
    if event.low == event.high:
        return note_name(event.low)
    return f"figure {range_words(event.low, event.high)}"


def _hollow(event: Event, bars: PlayedBars) -> str:
    text = bar_range(bars, event.first, event.last)
    if event.low is None or event.high is None:
        return f"{capital(text)} have an empty octave or more inside"
    return (
        f"{capital(text)} are hollow: nothing lasting sounds "
        f"from {range_words(event.low, event.high)}"
    )


def _length(bars: float) -> str:
    return plural(round(bars), "bar") if bars >= 0.75 else "less than a bar"
