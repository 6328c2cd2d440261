"""Events of register in plain sentences, and which of them to tell first."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from corpusreg.comparison.comparison import Comparison
from corpusreg.measures.events import Event, Kind
from corpusreg.score.pitch import note_name
from corpusreg.score.played import PlayedBars
from corpusreg.text.bars import bar_range
from corpusreg.text.sentences import interval_words, plural, range_words

__all__ = ["event_words", "told_events"]


def told_events(c: Comparison, number: int) -> list[Event]:
    """The first events of the whole in their order, one for each printed bar.

    Shifts are told as such and are not among them.
    """
    best: dict[int, Event] = {}
    for each in c.events:
        if each.part is None and each.event.kind != "shift":
            best.setdefault(int(c.bars.written[each.event.bar]), each.event)
    return sorted(list(best.values())[:number], key=lambda event: event.bar)


def event_words(event: Event, bars: PlayedBars) -> str:
    """One event as a sentence without its full stop."""
    return _WORDS[event.kind](event, bars)


def _at(event: Event, bars: PlayedBars) -> str:
    return bar_range(bars, event.bar, event.bar + 1)


def _span(event: Event, bars: PlayedBars) -> str:
    return bar_range(bars, event.first, event.last)


def _notes(event: Event) -> str:
    if event.low == event.high:
        return note_name(event.low)
    if len(event.pitches) == 2:
        return f"{note_name(event.low)} and {note_name(event.high)}"
    return range_words(event.low, event.high)


def _withheld(event: Event, bars: PlayedBars) -> str:
    bass = event.kind == "withheld_bass"
    what, beyond = ("bass", "below") if bass else ("top", "above")
    edge = f"nothing {beyond} {note_name(event.edge)}" if event.edge is not None else "silence"
    passing = ", but for passing notes," if event.grazes else ""
    first = " for the first time" if event.since is None else ""
    return (
        f"The {what} is withheld: {edge}{passing} for {_length(event.silence)}, "
        f"then {_notes(event)}{first} in {_at(event, bars)}{_again(event, bars, what)}"
    )


def _again(event: Event, bars: PlayedBars, what: str) -> str:
    if event.again is None:
        return ""
    where = "under" if what == "bass" else "over"
    return f", {where} the music of bar {bars.labels[event.again]} again"


def _cleared(event: Event, bars: PlayedBars) -> str:
    return (
        f"The place round {_notes(event)} is silent for {_length(event.silence)} and is "
        f"filled again in {_at(event, bars)}"
    )


def _entry(event: Event, bars: PlayedBars) -> str:
    if event.since is None:
        return f"{_notes(event)} sounds for the first time in {_at(event, bars)}"
    silence = f"{_length(event.silence)} of silence"
    return f"{_notes(event)} enters in {_at(event, bars)} after {silence}"


def _line(event: Event, bars: PlayedBars) -> str:
    way = "climbs" if event.kind == "climb" else "descends"
    what = {"bass": "bass", "top": "top line"}.get(event.place, "line")
    ends = (event.pitches[0], event.pitches[-1])
    start, end = ends if event.kind == "climb" else ends[::-1]
    return (
        f"The {what} {way} {interval_words(event.distance)} in {_span(event, bars)}, from "
        f"{note_name(start)} to {note_name(end)}"
    )


def _wedge(event: Event, bars: PlayedBars) -> str:
    way = "opens out" if event.direction == "opening" else "closes in"
    return f"The texture {way} by {interval_words(event.distance)} in {_span(event, bars)}"


def _pedal(event: Event, bars: PlayedBars) -> str:
    where = {"bass": "in the bass", "top": "at the top"}.get(event.place, "inside the texture")
    said = f"A pedal point on {_notes(event)} {where} lasts for {_length(event.lasts)}"
    if event.ending in ("", "with the piece"):
        return f"{said} from {bar_range(bars, event.first, event.first + 1)}"
    return f"{said} and {event.ending} in {_at(event, bars)}"


def _shift(event: Event, bars: PlayedBars) -> str:
    ways = {"up": "rises", "down": "falls", "opening": "opens out", "closing": "closes in"}
    way = ways.get(event.direction, "moves")
    what = {"bottom": "the bottom", "top": "the top"}.get(event.by, "an edge")
    return (
        f"The texture {way} in {_at(event, bars)}: {what} moves by "
        f"{interval_words(event.distance)}"
    )


def _return(event: Event, bars: PlayedBars) -> str:
    way = "higher" if (event.interval or 0) > 0 else "lower"
    from_bar = "" if event.again is None else f" of bar {bars.labels[event.again]}"
    return (
        f"The music{from_bar} returns {interval_words(abs(event.interval or 12))} {way} in "
        f"{_at(event, bars)}"
    )


def _voice(event: Event, bars: PlayedBars) -> str:
    said = f"A voice enters on {_notes(event)} in {_at(event, bars)}"
    if event.theme and event.again is not None:
        return f"{said} and imitates bar {bars.labels[event.again]}"
    return said


def _point(event: Event, bars: PlayedBars) -> str:
    what = "highest" if event.kind == "high_point" else "lowest"
    by = {"step": ", reached by step", "leap": ", reached by leap"}.get(event.approach, "")
    return f"The {what} note is {note_name(event.low)} in {_at(event, bars)}{by}"


def _isolated(event: Event, bars: PlayedBars) -> str:
    return (
        f"{_notes(event)} in {_at(event, bars)} sounds alone, "
        f"{interval_words(event.distance)} from everything round it"
    )


def _octaves(event: Event, bars: PlayedBars) -> str:
    apart = interval_words(abs(event.interval or 12))
    return f"One line is doubled at {apart} in {_span(event, bars)}"


def _dialogue(event: Event, bars: PlayedBars) -> str:
    return f"Two registers answer each other in {_span(event, bars)}, {event.times} times"


def _gap(event: Event, bars: PlayedBars) -> str:
    return (
        f"A gap between the voices: nothing sounds between {note_name(event.low)} and "
        f"{note_name(event.high)} in {_span(event, bars)}"
    )


def _crossing(event: Event, bars: PlayedBars) -> str:
    return f"Two voices cross in {_span(event, bars)}"


def _closing(event: Event, bars: PlayedBars) -> str:
    way = "higher" if event.direction == "up" else "lower"
    return f"The close lies {interval_words(event.distance)} {way} than the opening"


_WORDS: Mapping[Kind, Callable[[Event, PlayedBars], str]] = {
    "withheld_bass": _withheld,
    "withheld_top": _withheld,
    "cleared": _cleared,
    "climb": _line,
    "descent": _line,
    "wedge": _wedge,
    "pedal_point": _pedal,
    "shift": _shift,
    "octave_return": _return,
    "voice_entry": _voice,
    "high_point": _point,
    "low_point": _point,
    "isolated": _isolated,
    "in_octaves": _octaves,
    "dialogue": _dialogue,
    "gap": _gap,
    "crossing": _crossing,
    "closing": _closing,
    "entry": _entry,
}


def _length(bars: float) -> str:
    return plural(round(bars), "bar") if bars >= 0.75 else "less than a bar"
