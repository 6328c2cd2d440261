"""The compact notation in which the demo pieces are written, and its parser.

One string holds one voice; bars are separated by `|`. Tokens in a bar:

F#4q.       a note: letter, accidental, octave (C4 = middle C), length; lengths are
            w h q e (semibreve to quaver), `.` dots; a length left out is the last one
D2+A2h      a chord
Rq, Z       a rest; a whole-bar rest
-           the voice is not there in this bar
~ ' ( )     after a note: tie to the next, staccato; slur opens before, closes after
!p !< !> != a dynamic mark; a hairpin opens up, opens down, ends
@bass @8va  a change of clef; an ottava line opens (`@loco` closes it)

Time is counted in eighth notes. All pitches are sounding ones.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

__all__ = [
    "CLEFS",
    "MARKS",
    "Bar",
    "Note",
    "Part",
    "Piece",
    "Pitch",
    "Sign",
    "Staff",
    "octaves",
    "parse_voice",
]

LENGTHS = {"w": 8, "h": 4, "q": 2, "e": 1}
CLEFS = {"treble": ("G", 2), "bass": ("F", 4), "alto": ("C", 3), "tenor": ("C", 4)}
# Key velocities of the dynamic marks: evenly spaced, common practice, no source.
MARKS = {"pp": 33, "p": 49, "mp": 64, "mf": 80, "f": 96, "ff": 112}

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_PITCH = re.compile(r"([A-G])([#b]?)(\d)")
_TOKEN = re.compile(r"(\(?)((?:[A-G][#b]?\d\+?)+|R)(?:([whqe])(\.?))?([~')]*)")


@dataclass(frozen=True)
class Pitch:
    """A spelled pitch; `alter` is -1, 0 or 1."""

    step: str
    alter: int
    octave: int

    @property
    def midi(self) -> int:
        """MIDI note number, middle C = 60."""
        return 12 * (self.octave + 1) + _STEPS[self.step] + self.alter


@dataclass(frozen=True)
class Note:
    """A note, chord or rest (no pitches). `start` counts eighths from the barline."""

    start: int
    letter: str  # w h q e
    dots: int
    pitches: tuple[Pitch, ...]
    tied: bool = False  # to the next note
    tied_back: bool = False
    staccato: bool = False
    slur_open: bool = False
    slur_close: bool = False
    whole_bar: bool = False
    eighths: int = 0


@dataclass(frozen=True)
class Sign:
    """A dynamic, hairpin, clef or ottava at `start` eighths from the barline."""

    start: int
    text: str  # '!p', '!<', '!=', '@bass', …


@dataclass
class Bar:
    """One bar of one voice; `length` in eighths, 0 where the voice is absent."""

    length: int = 0
    notes: list[Note] = field(default_factory=list)
    signs: list[Sign] = field(default_factory=list)


@dataclass(frozen=True)
class Staff:
    """A staff: its first clef and its voices in the notation above."""

    clef: str
    voices: tuple[str, ...]


@dataclass(frozen=True)
class Part:
    """A player. `program` is the General MIDI number as printed, 1-128.

    `written_up`: (diatonic steps, semitones) from sounding to written pitch.
    """

    name: str
    short: str
    sound: str
    program: int
    staves: tuple[Staff, ...]
    written_up: tuple[int, int] = (0, 0)


@dataclass(frozen=True)
class Piece:
    """A piece with one key, one metre and one tempo.

    tempo: words, beat in eighths, beats a minute. upbeat: length of the first bar
    in eighths, 0 for none. repeat: first and last bar (from 1) of a repeated
    passage whose endings are given as (first bar, last bar, number).
    """

    file: str
    title: str
    student: str
    fifths: int
    mode: str
    metre: tuple[int, int]
    tempo: tuple[str, int, int]
    parts: tuple[Part, ...]
    upbeat: int = 0
    repeat_from: int = 0
    endings: tuple[tuple[int, int, int], ...] = ()

    @property
    def bar_length(self) -> int:
        """Length of a full bar in eighths."""
        return 8 * self.metre[0] // self.metre[1]

    @property
    def beat(self) -> int:
        """The felt beat in eighths: dotted in compound metre."""
        return 3 if self.metre in ((6, 8), (9, 8), (12, 8)) else 8 // self.metre[1]


def octaves(text: str, by: int) -> str:
    """The same music, octaves higher (or lower); clefs and marks stay."""
    return _PITCH.sub(lambda m: f"{m[1]}{m[2]}{int(m[3]) + by}", text)


def _pitches(text: str) -> tuple[Pitch, ...]:
    alters = {"#": 1, "b": -1, "": 0}
    return tuple(
        Pitch(step, alters[sign], int(octave)) for step, sign, octave in _PITCH.findall(text)
    )


def parse_voice(text: str, full: int, upbeat: int = 0) -> list[Bar]:
    """Bars of one voice; `full` and `upbeat` in eighths.

    Raises ValueError for a token it does not know and for a bar of the wrong
    length. The last bar may be short by the upbeat.
    """
    bars: list[Bar] = []
    letter, dot, open_tie = "q", "", False
    chunks = text.split("|")
    for number, chunk in enumerate(chunks):
        bar = Bar()
        for token in chunk.split():
            if token[0] in "!@":
                bar.signs.append(Sign(bar.length, token))
            elif token == "Z":
                bar.notes.append(Note(0, "w", 0, (), whole_bar=True, eighths=full))
                bar.length = full
            elif token != "-":
                match = _TOKEN.fullmatch(token)
                if match is None:
                    raise ValueError(f"bar {number + 1}: '{token}' is not in the notation")
                if match[3]:
                    letter, dot = match[3], match[4]
                eighths = LENGTHS[letter] * (3 if dot else 2) // 2
                if dot and letter == "e":
                    raise ValueError(f"bar {number + 1}: '{token}' is finer than an eighth")
                bar.notes.append(
                    Note(
                        bar.length,
                        letter,
                        len(dot),
                        _pitches(match[2]),
                        tied="~" in match[5],
                        tied_back=open_tie,
                        staccato="'" in match[5],
                        slur_open=bool(match[1]),
                        slur_close=")" in match[5],
                        eighths=eighths,
                    )
                )
                open_tie = "~" in match[5]
                bar.length += eighths
        allowed = {0, full}
        if number == 0 and upbeat:
            allowed = {upbeat}
        elif number == len(chunks) - 1 and upbeat:
            allowed = {full - upbeat}
        if bar.length not in allowed:
            raise ValueError(f"bar {number + 1} of '{text[:30]}' lasts {bar.length} eighths")
        bars.append(bar)
    return bars
