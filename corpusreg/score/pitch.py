"""Pitch numbers, note names, octaves and bands.

Conventions
-----------
pitch   MIDI note number, int, middle C (C4) = 60, A4 = 69 = 440 Hz.
octave  scientific pitch notation (Young 1939): C4 to B4 is octave 4.
band    an octave C to B, numbered by its octave: -1 (MIDI 0-11) to 9.

spelling  the names of the twelve notes of the octave, C first. A piece carries its own
          (`Played.spelling`); USUAL names notes
          that belong to no piece, as in tables of ranges.

Names print with ASCII signs, `Bb3` and `C#5`, so that they survive any locale.

Spelling
--------
A piece has one name for each of the twelve notes, from its key: the signature that leaves the
fewest notes with an accidental. A note outside it has the name of the page where most of its
kind stand under a signature that has them, as in a middle section in another key. Any other is
a sharp or a flat by three things: which of the two lies nearer to the notes of the scale on the
line of fifths, weighted by how often they come, so that a minor key leans toward its raised
degrees; where it goes, since a raised note is led up by a semitone and a lowered one down; and
which of the two has the simpler name. Common practice, no source. Of the accidentals in 250
encoded works 10 of 100 stand otherwise on the page, most of them where a long work leaves its
key; with one spelling for all pieces 21 do (`tests/benchmarks/spelling.py`).

place     on the line of fifths: F -1, C 0, G 1, D 2, ..., F sharp 6; B flat -2.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from corpusreg.system.errors import UsageError

__all__ = [
    "USUAL", "Spelling", "band_name", "band_of", "frequency", "note_name", "parse_note",
    "signature", "spelled", "written_note",
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


_LETTERS = "FCGDAEB"
_LED = 2.0  # places by which a note leans where all of its kind are led the same way
_PLAIN = 1.5  # places by which it leans to the simpler name, for each sign that it saves
Ints = NDArray[np.int64]
Keys = Sequence[tuple[int, int]]  # signatures on the page: (bar, sharps or, below 0, flats)
# Of F sharp and G flat, alike in sound, the first.
_KEYS: tuple[int, ...] = (*range(7), *range(-6, 0))


def signature(pitches: Ints, keys: Keys = ()) -> int:
    """Sharps (or, below 0, flats) with which the fewest pitches need an accidental, -7 to 7.

    The first signature on the page decides between F sharp and G flat and the like.

    >>> signature(np.array([64, 66, 68, 69, 71, 73, 75])), signature(np.array([60]), [(0, 0)])
    (4, 0)
    """
    counts = np.bincount(pitches % 12, minlength=12)
    inside = {f: int(counts[[7 * p % 12 for p in range(f - 1, f + 6)]].sum()) for f in _KEYS}
    found = max(_KEYS, key=lambda f: (inside[f], -abs(f)))
    if not keys:
        return found
    near = found + 12 * round((keys[0][1] - found) / 12)
    return near if abs(near) <= 7 else found


def spelled(notes: NDArray[np.void], keys: Keys = ()) -> Spelling:
    """The names of the twelve notes in a piece; notes: dtype NOTE_DTYPE."""
    pitches = notes["pitch"].astype(np.int64)
    fifths = signature(pitches, keys)
    scale = range(fifths - 1, fifths + 6)
    counts = np.bincount(pitches % 12, minlength=12)
    weight = counts[[7 * place % 12 for place in scale]]
    middle = float(np.average(scale, weights=weight)) if weight.any() else fifths + 2.0
    places = {7 * place % 12: place for place in scale}
    on_page, led = _on_page(notes, keys), _led(notes)
    for sharp in range(fifths + 6, fifths + 11):
        pitch_class = 7 * sharp % 12
        signs = len(_name(sharp)) - len(_name(sharp - 12))
        leans = middle - (sharp - 6) + _LED * led[pitch_class] - _PLAIN * signs
        places[pitch_class] = on_page.get(pitch_class, sharp if leans > 0 else sharp - 12)
    return tuple(_name(places[pitch_class]) for pitch_class in range(12))


def _name(place: int) -> str:
    alter, index = divmod(place + 1, 7)
    return _LETTERS[index] + ("#" * alter if alter > 0 else "b" * -alter)


def _on_page(notes: NDArray[np.void], keys: Keys) -> dict[int, int]:
    """Places of the classes of which most notes stand under a signature that has them."""
    if not keys or not len(notes):
        return {}
    at = np.searchsorted([bar for bar, _ in keys], notes["bar"], side="right") - 1
    lowest = np.array([fifths for _, fifths in keys])[np.maximum(at, 0)] - 1
    pitch_class = notes["pitch"].astype(np.int64) % 12
    above = (7 * pitch_class - lowest) % 12
    found = {}
    for each in np.unique(pitch_class).tolist():
        mine = pitch_class == each
        inside = (lowest + above)[mine & (above < 7)]
        if 2 * len(inside) > mine.sum():
            values, counts = np.unique(inside, return_counts=True)
            found[each] = int(values[counts.argmax()])
    return found


def _led(notes: NDArray[np.void]) -> NDArray[np.float64]:
    """How far the notes of each class go up (1) or down (-1) by a semitone within their
    voice, shape (12,)."""
    part, staff, voice, onset, pitches = (
        notes[name].astype(np.int64) for name in ("part", "staff", "voice", "onset", "pitch")
    )
    line = np.unique((part << 32) + (staff << 16) + voice, return_inverse=True)[1]
    lasts = int(onset.max(initial=0)) + 1
    moments, at = np.unique(line * lasts + onset, return_inverse=True)
    goes_on = np.append(moments[1:] // lasts == moments[:-1] // lasts, False)[at]
    there = np.zeros((len(moments) + 1, 130), bool)  # a semitone to spare at both ends
    there[at, pitches + 1] = True
    up, down = (
        np.bincount(pitches[goes_on & there[at + 1, pitches + 1 + step]] % 12, minlength=12)
        for step in (1, -1)
    )
    return (up - down) / (up + down + 1.0)
