"""Pitch numbers, note names, octaves and bands.

Conventions
-----------
pitch   MIDI note number, int, middle C (C4) = 60, A4 = 69 = 440 Hz.
octave  scientific pitch notation (Young 1939): C4 to B4 is octave 4.
band    an octave C to B, numbered by its octave: -1 (MIDI 0-11) to 9.

spelling  the names of the twelve notes of the octave, C first. A piece carries its own
          (`Played.spelling`, decided once in `corpusreg.score.spelling`); USUAL names notes
          that belong to no piece, as in tables of ranges.

Names print with ASCII signs, `Bb3` and `C#5`, so that they survive any locale.
"""

from __future__ import annotations

import re

from corpusreg.system.errors import UsageError

__all__ = [
    "USUAL", "Spelling", "band_name", "band_of", "frequency", "note_name", "parse_note",
    "written_note",
]  # fmt: skip

Spelling = tuple[str, ...]
USUAL: Spelling = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_NOTE = re.compile(r"([A-Ga-g])([#♯b♭]*)(-?\d+)")


def written_note(pitch: int, spelling: Spelling = USUAL) -> tuple[str, int, int]:
    """Letter, alteration in semitones and octave of a pitch; a C flat is of the octave above.

    >>> written_note(58), written_note(59, ("C",) * 11 + ("Cb",))
    (('B', -1, 3), ('C', -1, 4))
    """
    name = spelling[int(pitch) % 12]
    alter = name.count("#") - name.count("b")
    return name[0], alter, (int(pitch) - alter) // 12 - 1


def note_name(pitch: int, spelling: Spelling = USUAL) -> str:
    """Name of a pitch in scientific pitch notation.

    >>> note_name(60), note_name(58), note_name(21)
    ('C4', 'Bb3', 'A0')
    """
    return f"{spelling[int(pitch) % 12]}{written_note(pitch, spelling)[2]}"


def parse_note(text: str) -> int:
    """MIDI number of a written note name; accidentals change the letter, not the octave.

    Raises UsageError when the text is no note name.

    >>> parse_note("C4"), parse_note("Cb4"), parse_note("B#3"), parse_note("A0")
    (60, 59, 60, 21)
    """
    match = _NOTE.fullmatch(text.strip())
    if match is None:
        raise UsageError(
            f"'{text}' is not a note name; write letter, accidental and octave, as in Bb3"
        )
    letter, signs, octave = match.groups()
    alter = sum(1 if sign in "#♯" else -1 for sign in signs)
    return 12 * (int(octave) + 1) + _STEPS[letter.upper()] + alter


def frequency(pitch: float) -> float:
    """Frequency in Hz in equal temperament, A4 = 440 Hz (ISO 16:1975).

    >>> round(frequency(60), 4)
    261.6256
    """
    return float(440.0 * 2.0 ** ((pitch - 69) / 12))


def band_of(pitch: int) -> int:
    """Octave band of a pitch: 4 for C4 to B4.

    >>> band_of(60), band_of(59)
    (4, 3)
    """
    return int(pitch) // 12 - 1


def band_name(band: int) -> str:
    """A band as its outer notes.

    >>> band_name(4)
    'C4-B4'
    """
    return f"C{band}-B{band}"
