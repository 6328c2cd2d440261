"""A change and an option in plain words."""

from __future__ import annotations

from collections.abc import Sequence

from corpusreg.measures.events import Event
from corpusreg.measures.shifts import Shift
from corpusreg.measures.stays import Stay
from corpusreg.revision.search import Option, alike, events_at, first_played
from corpusreg.revision.units import LazyAnalysis, Music, strained
from corpusreg.system.phrases import capital, joined, plural
from corpusreg.text.findings import event_words, move_words
from corpusreg.text.wording import bar_range, note

__all__ = ["bars_words", "option_words", "strain_words", "way_words"]

_WAYS = {-2: "two octaves lower", -1: "an octave lower", 1: "an octave higher",
         2: "two octaves higher"}  # fmt: skip


def way_words(octaves: int) -> str:
    """How far and which way something moves."""
    return _WAYS.get(octaves, f"{abs(octaves)} octaves away")


def bars_words(labels: Sequence[str], first: int, last: int) -> str:
    """Written bars by their printed numbers: 'bar 5', 'bars 5–9', 'the upbeat and bars 1–4'."""
    if labels[first] == "0":
        rest = f" and {bars_words(labels, first + 1, last)}" if last - first > 1 else ""
        return f"the upbeat{rest}"
    if last - first == 1:
        return f"bar {labels[first]}"
    return f"bars {labels[first]}–{labels[last - 1]}"


def option_words(music: Music, option: Option, before: LazyAnalysis) -> list[str]:
    """What an option does, why one would try it, and what to mind, sentence by sentence."""
    move = option.move
    where = bars_words(music.score.bars.labels, move.first, move.last)
    words = [f"{capital(where)}: {move.what}."]
    effect = _effect(option, before)
    words += [f"{effect}.", _why(option)] if effect else [_why(option)]
    if move.change.silent[music.hands[0].rows].any() and option.goal.intention.bar:
        words.append("The notes above then carry the harmony: listen whether they can.")
    hands = [] if move.change.exchange else strained(music, move.change)
    if hands:
        words.append(strain_words(hands))
    if music.torn(move.change):
        words.append("It divides a slur: decide where the new one goes.")
    return words


def strain_words(hands: Sequence[str]) -> str:
    """That moved notes lie outside what is comfortable."""
    return f"Some notes then lie near the end of the range ({joined(hands)}): ask the player."


# Why one would try it: common practice, no source. Silence first by the kind of the change,
# then by what is wanted; octaves by what is wanted.
_SILENCE = {
    "without octave doublings": "A doubling adds weight and no new note.",
    "without the inner notes of chords": "The outer notes carry the line and the bass.",
    "figure thinned": "With fewer attacks the same harmony rings longer.",
    "an inner part rests": "A part that rests is heard when it comes back.",
}
_OCTAVES = {
    "clear": "A register that was empty is heard when it is filled.",
    "hold": "A bass that was withheld is heard when it arrives.",
    "lift": "A sound that stops leaves its place to others.",
    "move at": "A change of register is heard as a new beginning.",
    "move": "Each change of register is heard as a new beginning.",
    "narrower": "Lines that lie close together are heard as one body.",
    "respace": "Low down, wide intervals stay clear where close ones blur.",
    "give": "The same notes then have another colour: ask both players.",
    "as in": "It does here what the other passage does there.",
}


def _why(option: Option) -> str:
    """Why one would try it, in one sentence."""
    kind = option.goal.intention.kind
    if option.move.change.silent.any():
        return _SILENCE.get(option.move.key, "What has rested is heard when it enters.")
    return _OCTAVES[kind]


def _effect(option: Option, before: LazyAnalysis) -> str:
    """What comes of it; '' where the measures listed below say it."""
    wanted, now = option.goal, option.measured
    kind = wanted.intention.kind
    if kind == "move":
        return ""
    if kind == "lighter":
        return f"About {round(100 * option.gain)} % less sound; the lowest notes stay"
    if kind == "narrower":
        was = "" if option.before is None else f" instead of {-option.before:.0f}"
        return f"Nine tenths of the sound there fill {-option.gain:.0f} semitones{was}"
    if kind == "give":
        return (
            f"It is outside the comfortable range for {plural(round(-option.gain), 'beat')} "
            f"instead of {round(-(option.before or 0.0))}"
        )
    if kind == "respace":
        return (
            f"Low notes are too close to be clear in {plural(round(-option.gain), 'bar')} "
            f"instead of {round(-(option.before or 0.0))}"
        )
    at = first_played(now, wanted.first)
    if wanted.model:
        return _like(alike(wanted.model, now, at)[0][1], now)
    if kind == "move at":
        return _shift_there(now, before, at)
    event = max(events_at(now, at, wanted.intention), key=lambda event: event.strength)
    place = event.kind, event.low, event.high
    same = (
        e for e in events_at(before, at, wanted.intention) if place == (e.kind, e.low, e.high)
    )
    known = ", as now but more strongly" if any(same) else ""
    return f"{event_words(event, now.played.bars, now.played.spelling)}{known}"


def _shift_there(now: LazyAnalysis, before: LazyAnalysis, at: int) -> str:
    """The shift in a played bar, and the one that is there already."""
    shift, *known = (
        shift for heard in (now, before) for shift in heard.shifts if shift.bar == at
    )
    was = f"; now {move_words(known[0])}" if known else ""
    return f"{_moved(shift, now)}{was}"


def _moved(shift: Shift, heard: LazyAnalysis) -> str:
    return f"In bar {heard.played.bars.labels[shift.bar]} {move_words(shift)}"


def _like(found: Shift | Event | Stay, now: LazyAnalysis) -> str:
    bars = now.played.bars
    if isinstance(found, Shift):
        return _moved(found, now)
    if isinstance(found, Stay):
        where = bar_range(bars, found.first, found.last)
        low, high = (note(each, now.played.spelling) for each in (found.low, found.high))
        return f"{capital(where)} then stay between {low} and {high}"
    return event_words(found, bars, now.played.spelling)
