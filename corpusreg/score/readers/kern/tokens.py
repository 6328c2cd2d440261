"""Tokens of Humdrum **kern and **dynam: what one cell of the table says.

Source of the syntax: the **kern and **dynam representations of the Humdrum
reference manual (value from memory).

Conventions
-----------
duration  quarter notes, `Fraction`; a reciprocal n is 4/n quarters, n%m is
          4*m/n, 0 a breve (8), 00 a long (16), 000 a maxima (32); each dot adds
          half of what went before.
pitch     MIDI number, middle C = 60 = 'c'; 'cc' is an octave up, 'C' an octave
          down. The number is what is written in the file; a transposition, if
          any, is applied by the caller.
tie       '[' begins, '_' goes on, ']' ends, each for its own note of a chord.
hidden    'yy' hides a note from the page; such a note still sounds (editors hide
          the written-out notes of tremolos, 'colla parte' and shorthand), a
          hidden rest stays a rest.
grace     'q' and 'qq' (groupettes and appoggiaturas) take no time.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import lcm

__all__ = [
    "Event",
    "HairpinSign",
    "Note",
    "denominators",
    "parse_dynamics",
    "parse_token",
    "ticks_for",
]

_STEPS = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}
_DURATION = re.compile(r"(\d+)(?:%(\d+))?")
_LETTERS = re.compile(r"[A-Ga-g]+")
_LONG = {"0": 8, "00": 16, "000": 32}
_MAX_DIGITS = 6
_MAX_QUARTERS = 4096  # longer than any note on paper: a damaged number
_MAX_TICKS = 10**8  # finer than any tuplet on paper: a damaged number


@dataclass(frozen=True, slots=True)
class Note:
    """One note of a token; `duration` in quarters, 0 for a grace note."""

    duration: Fraction
    pitch: int
    grace: bool
    tie_in: bool
    tie_out: bool
    staccato: bool


@dataclass(frozen=True, slots=True)
class Event:
    """A **kern token.

    advance  quarters until the spine's next token; None where it is not known.
    notes    its notes; empty for a rest.
    grace    the token takes no time of its own.
    lost     plain reasons, one for each thing in the token that was not understood.
    """

    advance: Fraction | None
    notes: tuple[Note, ...]
    grace: bool
    lost: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class HairpinSign:
    """What a **dynam token does to hairpins: 'start', 'end' or 'end_late'.

    'end_late' (a doubled bracket) ends at the end of the note, not at its beginning.
    """

    what: str
    kind: str  # 'cresc' or 'dim'


def _duration(text: str) -> Fraction | None:
    """Quarters of a note or rest; None where there is no number or a damaged one."""
    match = _DURATION.search(text)
    if match is None:
        return None
    number, divisor = match.groups()
    if len(number) > _MAX_DIGITS or (divisor is not None and len(divisor) > _MAX_DIGITS):
        return None
    if not number.strip("0"):
        quarters = Fraction(_LONG.get(number, 0)) if divisor is None else Fraction(0)
    else:
        quarters = Fraction(4 * int(divisor or 1), int(number))
    dots = text.count(".")
    if dots > 8:
        return None
    quarters = quarters * 2 - quarters / 2**dots
    return quarters if 0 < quarters <= _MAX_QUARTERS else None


def _pitch(text: str) -> int | None:
    """MIDI number of the pitch letters; None where they are none or name two pitches.

    Another sign may stand between doubled letters ('8fyyf' is 8ff, hidden).
    """
    letters = "".join(_LETTERS.findall(text))
    if not letters or letters != letters[0] * len(letters):
        return None
    octave = 3 + len(letters) if letters[0].islower() else 4 - len(letters)
    alter = text.count("#") - text.count("-")
    return 12 * (octave + 1) + _STEPS[letters[0].lower()] + alter


def _note(text: str, duration: Fraction, grace: bool, staccato: bool) -> Note | str:
    """The note, or the reason why there is none."""
    pitch = _pitch(text)
    if pitch is None:
        return "note without a readable pitch"
    if not 0 <= pitch <= 127:
        return "note outside MIDI 0-127"
    going_on = "_" in text
    return Note(
        duration=duration,
        pitch=pitch,
        grace=grace,
        tie_in=going_on or "]" in text,
        tie_out=going_on or "[" in text,
        staccato=staccato,
    )


@lru_cache(maxsize=1 << 16)
def parse_token(token: str) -> Event:
    """Read one **kern data token (not the null token '.').

    Notes of a chord without a number of their own take the first one's; a dot is the whole
    chord's, whichever note has it (common practice, no source).

    >>> event = parse_token("8.cc#' 8.e[")
    >>> event.advance, [(note.pitch, note.staccato, note.tie_out) for note in event.notes]
    (Fraction(3, 4), [(73, True, False), (64, True, True)])
    """
    pieces = token.split()
    if not pieces:
        return Event(None, (), False, ("empty token",))
    grace, dotted = "q" in token, "'" in token or "`" in token
    first = None if grace else _duration(pieces[0])
    notes: list[Note] = []
    lost: list[str] = []
    for piece in pieces:
        if "r" in piece:
            continue
        duration = Fraction(0) if grace else (_duration(piece) or first)
        if duration is None:
            lost.append("note without a readable duration")
            continue
        note = _note(piece, duration, grace, dotted)
        if isinstance(note, Note):
            notes.append(note)
        else:
            lost.append(note)
    if first is None and not grace and not lost:
        lost.append("rest without a readable duration")
    return Event(Fraction(0) if grace else first, tuple(notes), grace, tuple(lost))


@lru_cache(maxsize=1 << 16)
def denominators(token: str) -> frozenset[int]:
    """Denominators of the durations in a token, in quarters."""
    event = parse_token(token)
    return frozenset(
        duration.denominator
        for duration in (event.advance or Fraction(1), *(note.duration for note in event.notes))
    )


def ticks_for(denominators: Iterable[int]) -> tuple[int, frozenset[int]]:
    """Ticks per quarter that make every duration whole, and denominators refused.

    Denominators that would make a tick finer than a hundred-millionth of a
    quarter are refused, rarest shape (largest) first: they are damaged numbers.

    >>> ticks_for([3, 4])
    (12, frozenset())
    """
    ticks = 1
    refused = set()
    for denominator in sorted(set(denominators)):
        finer = lcm(ticks, denominator)
        if finer > _MAX_TICKS:
            refused.add(denominator)
        else:
            ticks = finer
    return ticks, frozenset(refused)


_DYNAMIC = re.compile(
    r"(?P<mark>m[fp]|sf+z?p*|r?fz?p*(?:f*)|f+z?p*|p+)|(?P<pin>\[\[|\]\]|[<>\[\]()])|(?P<pass>[xXyYijk\s:;.`'|@]+)"
    r"|(?P<word>decresc|cresc|dim)"
)


def parse_dynamics(token: str) -> tuple[list[str | HairpinSign], int]:
    """Marks and hairpin signs of a **dynam token in order, and how many signs were
    not understood.

    '<' begins a crescendo and '[' ends it, '>' a diminuendo and ']' ends it; '('
    and ')' say that one goes on. 'yy' (not on the page) and editorial signs are
    passed over: the mark is still in force.

    >>> parse_dynamics("sf >")
    (['sf', HairpinSign(what='start', kind='dim')], 0)
    """
    found: list[str | HairpinSign] = []
    strange = 0
    place = understood = 0  # up to where the token is looked at, and read
    while place < len(token):
        match = _DYNAMIC.match(token, place)
        if match is None:
            strange += place == understood  # a run of strange signs counts once
            place += 1
            continue
        place = understood = match.end()
        sign = match.group()
        if match.lastgroup == "mark":
            found.append(sign)
        elif match.lastgroup == "word":
            found.append(HairpinSign("start", "cresc" if sign == "cresc" else "dim"))
        elif match.lastgroup == "pin" and sign not in "()":
            kind = "cresc" if sign[0] in "<[" else "dim"
            what = "start" if sign in "<>" else "end" if len(sign) == 1 else "end_late"
            found.append(HairpinSign(what, kind))
    return found, strange
