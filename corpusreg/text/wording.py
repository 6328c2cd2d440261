"""The small pieces that sentences are made of: notes, intervals, counts, bars, players.

Note names carry ♭ and ♯ here, for screens and sheets; `score.pitch.note_name` writes the
plain letters of JSON and of tables that programs read.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from corpusreg.comparison.comparison import Place, PrintedBar, place_of
from corpusreg.comparison.findings import Company, PieceFacts
from corpusreg.score.pitch import Spelling, note_name
from corpusreg.score.played import PlayedBars, time_words
from corpusreg.system.phrases import joined
from corpusreg.system.plaintext import plain

__all__ = [
    "about_bars",
    "bar_range",
    "bar_words",
    "bars_joined",
    "company_title",
    "interval",
    "labels",
    "note",
    "notes",
    "number",
    "place_words",
    "places_joined",
    "player",
    "players",
    "register",
    "rounded",
]  # fmt: skip

_NUMBERS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    "eleven", "twelve",
)  # fmt: skip

_INTERVALS = (
    "", "semitone", "whole tone", "minor third", "major third", "fourth", "tritone",
    "fifth", "minor sixth", "major sixth", "minor seventh", "major seventh",
)  # fmt: skip

# What makes a name of a part one that people use.
_WHOLE = 5  # letters from which a name is no abbreviation, and needs no full stop
_WORD = re.compile(r"[^\W\d_]{3}|\.")

_COMPOUND = {13: "a minor ninth", 14: "a ninth", 15: "a minor tenth", 16: "a tenth",
             17: "an eleventh", 19: "a twelfth"}  # fmt: skip

LONGEST_TITLE = 32  # letters of a group of works inside a sentence


def number(value: int) -> str:
    """A small number as a word.

    >>> number(8), number(16)
    ('eight', '16')
    """
    return _NUMBERS[value] if 0 <= value < len(_NUMBERS) else f"{value:,}"


def note(pitch: int, spelling: Spelling) -> str:
    """A note with its signs, as a piece spells it.

    >>> from corpusreg.score.pitch import USUAL
    >>> note(58, USUAL), note(61, USUAL)
    ('B♭3', 'C♯4')
    """
    return note_name(pitch, spelling).replace("b", "♭").replace("#", "♯")


def notes(pitches: Sequence[int], spelling: Spelling) -> str:
    """Up to four notes by name, more by the outer ones.

    >>> from corpusreg.score.pitch import USUAL
    >>> notes((60, 64), USUAL), notes((60, 62, 64, 65, 67), USUAL)
    ('C4 and E4', 'notes from C4 to G4')
    """
    if len(pitches) > 4:
        low, high = (note(end(pitches), spelling) for end in (min, max))
        return f"notes from {low} to {high}"
    return joined([note(each, spelling) for each in pitches])


def register(low: int, high: int, spelling: Spelling) -> str:
    """Two notes as a range, one note as itself.

    >>> from corpusreg.score.pitch import USUAL
    >>> register(60, 72, USUAL), register(64, 64, USUAL)
    ('C4–C5', 'E4')
    """
    return "–".join(dict.fromkeys(note(pitch, spelling) for pitch in (low, high)))


def interval(semitones: float) -> str:
    """A distance as musicians call it, to the nearest semitone.

    >>> interval(7.2), interval(12), interval(16), interval(77)
    ('a fifth', 'an octave', 'a tenth', 'more than six octaves')
    """
    whole = round(semitones)
    if whole in _COMPOUND:
        return _COMPOUND[whole]
    octaves, rest = divmod(whole, 12)
    if octaves >= len(_NUMBERS) // 2:
        return f"{'more than ' if rest else ''}{number(octaves)} octaves"
    parts = [
        f"{number(octaves)} octaves" if octaves > 1 else "an octave" if octaves else "",
        f"a {_INTERVALS[rest]}" if rest else "",
    ]
    return " and ".join(filter(None, parts)) or "less than a semitone"


def about_bars(bars: float) -> str:
    """A length in bars: a whole number where it nearly is one.

    >>> about_bars(16.02), about_bars(8.4), about_bars(0.5), about_bars(1.0)
    ('16 bars', 'more than eight bars', 'less than a bar', 'one bar')
    """
    whole = int(bars + 0.1)
    if whole < 1:
        return "less than a bar"
    words = f"{number(whole)} bar" + ("" if whole == 1 else "s")
    return f"more than {words}" if bars - whole > 0.25 else words


def bar_words(bar: PrintedBar) -> str:
    """A bar as printed: 'bar 12', 'bar 12 (2nd time)', 'the upbeat'."""
    again = "" if bar.time == 1 else f" ({time_words(bar.time)})"
    return f"the upbeat{again}" if bar.upbeat else f"bar {bar.number}{again}"


def place_words(place: Place) -> str:
    """Bars as printed: 'bar 5', 'bars 5–9', 'bars 1–8 (with the repeat)', 'bars 39–40 and,
    after the repeat, bars 33–35'."""
    if not place.runs:
        return _run_words(place.start, place.end)
    low = min((start for start, _ in place.runs), key=lambda bar: bar.index)
    high = max((end for _, end in place.runs), key=lambda bar: bar.index)
    heard = {n for start, end in place.runs for n in range(start.index, end.index + 1)}
    if len(heard) == high.index - low.index + 1:
        return f"{_run_words(replace(low, time=1), replace(high, time=1))} (with the repeat)"
    (start, _), (_, end) = place.runs[0], place.runs[-1]
    if len(place.runs) == 2:
        before, after = (
            _run_words(replace(start, time=1), replace(end, time=1))
            for start, end in place.runs
        )
        return f"{before} and, after the repeat, {after}"
    return f"from {bar_words(start)} through the repeats to {bar_words(end)}"


def _run_words(start: PrintedBar, end: PrintedBar) -> str:
    """Bars that follow one another on the page."""
    if start == end:
        return bar_words(start)
    if start.upbeat and start.time == 1 and end.time == 1:
        return f"the upbeat and {'bar' if end.number == '1' else 'bars 1–'}" + (
            " 1" if end.number == "1" else end.number
        )
    if start.number == end.number:
        return f"bar {_numbered(start)}"
    if start.number.isdigit() and end.number.isdigit() and int(end.number) < int(start.number):
        again = "their numbers begin again in between"
        return f"bars {_numbered(start)} to {_numbered(end)} ({again})"
    if start.time == end.time:
        again = "" if start.time == 1 else f" ({time_words(start.time)})"
        return f"bars {start.number}–{end.number}{again}"
    return f"bars {_numbered(start)} to {_numbered(end)}"


def places_joined(places: Sequence[Place]) -> str:
    """Several places, bars of the page named together: 'bars 5–9, 14 and 18–20'."""
    runs = [(place.start, place.end) for place in places]
    plain_bars = all(
        not place.runs and bar.time == 1 and not bar.upbeat
        for place in places
        for bar in (place.start, place.end)
    )
    if not plain_bars or len(places) < 2:
        return joined([place_words(place) for place in places])
    numbers = (
        start.number if start == end else f"{start.number}–{end.number}" for start, end in runs
    )
    return f"bars {joined(list(numbers))}"


def bars_joined(places: Sequence[str]) -> str:
    """Places in words, single bars named together.

    >>> bars_joined(["bar 5", "bar 9"]), bars_joined(["bar 5", "bars 7–9"])
    ('bars 5 and 9', 'bar 5 and bars 7–9')
    """
    single = [each.removeprefix("bar ") for each in places if each.startswith("bar ")]
    if len(single) == len(places) > 1:
        return f"bars {joined(single)}"
    return joined(list(places))


def _numbered(bar: PrintedBar) -> str:
    return bar.number if bar.time == 1 else f"{bar.number} ({time_words(bar.time)})"


def player(piece: PieceFacts, part: str, given: bool = True) -> str:
    """A part as people call it: 'the cello', 'Violin I'; given: with an article."""
    instrument = dict(zip(piece.parts, piece.instruments, strict=False)).get(part)
    if instrument and piece.instruments.count(instrument) == 1:
        instrument = instrument.partition(" (")[0]  # as in 'voice (type not named)'
        return f"the {instrument}" if given else instrument
    if (
        part in piece.parts and re.search(r"\d", part) and not _WORD.search(part)
    ):  # 's1V2', as some files call a voice
        return f"part {piece.parts.index(part) + 1}"
    name = re.sub(r"[\[\]]", "", plain(part)).replace("Bb", "B♭").replace("Eb", "E♭")
    last = name.rpartition(" ")[2].strip(".")
    if last.isdigit() or (last and set(last) <= set("IVX")):
        return name
    if len(last) >= _WHOLE:
        name = name.rstrip(".")
    return f"the {name[:1].lower()}{name[1:]}" if given else name[:1].lower() + name[1:]


def players(piece: PieceFacts, parts: Sequence[str]) -> str:
    """Several parts as people call them."""
    return joined([player(piece, each) for each in parts])


def company_title(company: Company) -> str:
    """The works compared with, short enough for a sentence: 'songs', 'piano works'."""
    title = company.title
    return title if len(title) <= LONGEST_TITLE else title.partition(" for ")[0]


def bar_range(bars: PlayedBars, first: int, last: int) -> str:
    """Printed bars of the played bars `first` to `last` (half-open), as people write them."""
    return place_words(place_of(bars, first, last))


def rounded(value: float | None, digits: int = 1) -> float | None:
    """A figure as it stands in JSON."""
    return None if value is None else round(float(value), digits)


def labels(bars: PlayedBars, first: int, last: int) -> list[str]:
    """Printed numbers of the first and the last of the played bars first to last, half-open."""
    return [bars.labels[first], bars.labels[last - 1]]
