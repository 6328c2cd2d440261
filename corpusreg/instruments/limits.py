"""What hands, voices, keyboards and low intervals bear: published limits, as data.

Aim: say where a chord is wider than a hand, an interval lower than it is heard
clearly, a note beyond the keyboards of its year, or a tone in the zone where a voice
changes. Limits describe; the player, the singer or the teacher knows better.

Conventions: pitches are sounding MIDI numbers, intervals semitones.

Sources
-------
low intervals   two published charts of low-interval limits, named A (sweetwater.com, an
                octave lower there, seen) and B (a college chart, seen quoted); Lowell
                and Pullig test a chord without its root as if the root were below.
                Where the charts differ the lower limit is used.
hands           mean span 8.9 inches (men) and 7.9 (women) of 473 adult pianists; a tenth
                is in reach of 76 and 13 of 100, a ninth of nearly all and two thirds:
                Boyle, Boyle and Booker 2015 (seen).
keyboards       dated instruments in museums, each with its source in the table.
passaggio       after Miller 1986, 1993, 2000: value from memory; schools differ.
strings         open strings as they sound, each row of the table with its source.
levels          what learners are asked for, and how far some players go beyond the usual range;
                each row of the table with its source.
dynamics        registers that are soft or loud by nature: orchestration handbooks, each row
                with its source; most borders are from memory.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from corpusreg.score.pitch import parse_note

__all__ = [
    "NINTH", "TENTH", "Level", "Resisting", "compass_of_year", "furthest", "levels",
    "low_interval_limit", "open_strings", "passaggio", "resisting",
]  # fmt: skip

# The widest interval that nearly every adult hand can play, and one that most cannot.
NINTH = 14
TENTH = 16


@dataclass(frozen=True)
class Compass:
    """A dated keyboard: year, instrument, lowest and highest key, source."""

    year: int
    instrument: str
    low: int
    high: int
    source: str


@dataclass(frozen=True)
class Resisting:
    """Notes of an instrument, low to high, that resist a dynamic: 'loud' or 'soft'."""

    dynamic: str
    low: int
    high: int


@dataclass(frozen=True)
class Level:
    """Sounding notes that are asked of players at a level, low to high, and who says so.

    low: None where only the top is stated.
    """

    name: str
    low: int | None
    high: int
    source: str


def low_interval_limit(semitones: int) -> int | None:
    """The lowest pitch for the lower note of an interval, None from the octave on.

    >>> low_interval_limit(4)  # a major third: B flat 2
    46
    """
    return _low_intervals().get(semitones)


def compass_of_year(year: int) -> Compass | None:
    """The newest keyboard of the table that is not later than a year; None before 1720.

    >>> compass_of_year(1800).high  # C7, the additional keys of 1794
    96
    """
    there = [compass for compass in _compasses() if compass.year <= year]
    return there[-1] if there else None


def passaggio(voice: str) -> tuple[int, int] | None:
    """First and second change of a voice type, by the id of its instrument row.

    >>> passaggio("tenor"), passaggio("violin")
    ((62, 67), None)
    """
    return _passaggi().get(voice)


def open_strings(instrument: str) -> tuple[int, ...]:
    """Open strings of a bowed instrument, lowest first, by the id of its row; () for others.

    >>> open_strings("violin"), open_strings("flute")
    ((55, 62, 69, 76), ())
    """
    return _open_strings().get(instrument, ())


def resisting(instrument: str) -> tuple[Resisting, ...]:
    """Registers of an instrument that are soft or loud by nature, by the id of its row.

    >>> [(each.dynamic, each.low, each.high) for each in resisting("oboe")]
    [('soft', 58, 62)]
    """
    return _resisting().get(instrument, ())


def levels(instrument: str) -> tuple[Level, ...]:
    """Published levels of an instrument beside those of its row, by the id of the row.

    >>> [(each.name, each.high) for each in levels("tuba")]
    [('band grade 1', 48), ('band grade 2', 50)]
    """
    return tuple(each for each in _levels().get(instrument, ()) if each.name != _FURTHEST)


def furthest(instrument: str) -> Level | None:
    """How far some players or instruments go, None where no source says.

    >>> furthest("violin").high  # B7, for soloists
    107
    """
    known = _levels().get(instrument, ())
    return next((each for each in known if each.name == _FURTHEST), None)


_FURTHEST = "furthest"


@lru_cache
def _levels() -> dict[str, tuple[Level, ...]]:
    found: dict[str, tuple[Level, ...]] = {}
    for row in _rows("player_levels.csv"):
        low = parse_note(row["low"]) if row["low"] else None
        each = Level(row["level"], low, parse_note(row["high"]), row["source"])
        found[row["instrument"]] = (*found.get(row["instrument"], ()), each)
    return found


@lru_cache
def _low_intervals() -> dict[int, int]:
    return {
        int(row["semitones"]): min(parse_note(row["lowest_a"]), parse_note(row["lowest_b"]))
        for row in _rows("low_intervals.csv")
    }


@lru_cache
def _compasses() -> tuple[Compass, ...]:
    return tuple(
        Compass(
            int(row["year"]),
            row["instrument"],
            parse_note(row["low"]),
            parse_note(row["high"]),
            row["source"],
        )
        for row in _rows("keyboard_compass.csv")
    )


@lru_cache
def _passaggi() -> dict[str, tuple[int, int]]:
    return {
        row["voice"]: (parse_note(row["first"]), parse_note(row["second"]))
        for row in _rows("passaggio.csv")
    }


@lru_cache
def _open_strings() -> dict[str, tuple[int, ...]]:
    return {
        row["instrument"]: tuple(map(parse_note, row["strings"].split()))
        for row in _rows("open_strings.csv")
    }


@lru_cache
def _resisting() -> dict[str, tuple[Resisting, ...]]:
    found: dict[str, tuple[Resisting, ...]] = {}
    for row in _rows("dynamic_registers.csv"):
        ends = parse_note(row["low"]), parse_note(row["high"])
        each = Resisting(row["resists"], *ends)
        found[row["instrument"]] = (*found.get(row["instrument"], ()), each)
    return found


def _rows(name: str) -> list[dict[str, str]]:
    text = (resources.files("corpusreg") / "data" / name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))
