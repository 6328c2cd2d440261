"""How a piece spells its notes: one name for each of the twelve, from its key.

The key is the signature that leaves the fewest notes with an accidental. A note outside it is
a sharp or a flat by three things: which of the two lies nearer to the notes of the scale on the
line of fifths, weighted by how often they come, so that a minor key leans toward its raised
degrees; where it goes, since a raised note is led up by a semitone and a lowered one down; and
which of the two has the simpler name. Common practice, no source. Of the accidentals in 250
encoded works 10 of 100 stand otherwise on the page, most of them where a long work leaves its
key; with one spelling for all pieces 21 do (`tests/benchmarks/spelling.py`).

place     on the line of fifths: F -1, C 0, G 1, D 2, ..., F sharp 6; B flat -2.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from corpusreg.score.pitch import Spelling

__all__ = ["signature", "spelled"]

_LETTERS = "FCGDAEB"
_LED = 2.0  # places by which a note leans where all of its kind are led the same way
_PLAIN = 1.5  # places by which it leans to the simpler name, for each sign that it saves
Ints = NDArray[np.int64]
# Of F sharp and G flat, alike in sound, the first.
_KEYS: tuple[int, ...] = (*range(7), *range(-6, 0))


def signature(pitches: Ints, written: int | None = None) -> int:
    """Sharps (or, below 0, flats) with which the fewest pitches need an accidental, -7 to 7.

    written: the signature on the page; it decides between F sharp and G flat and the like.

    >>> signature(np.array([64, 66, 68, 69, 71, 73, 75])), signature(np.array([60]), 0)
    (4, 0)
    """
    counts = np.bincount(pitches % 12, minlength=12)
    inside = {f: int(counts[[7 * p % 12 for p in range(f - 1, f + 6)]].sum()) for f in _KEYS}
    found = max(_KEYS, key=lambda f: (inside[f], -abs(f)))
    if written is None:
        return found
    near = found + 12 * round((written - found) / 12)
    return near if abs(near) <= 7 else found


def spelled(notes: NDArray[np.void], written: int | None = None) -> Spelling:
    """The names of the twelve notes in a piece; notes: dtype NOTE_DTYPE."""
    pitches = notes["pitch"].astype(np.int64)
    fifths = signature(pitches, written)
    scale = range(fifths - 1, fifths + 6)
    counts = np.bincount(pitches % 12, minlength=12)
    weight = counts[[7 * place % 12 for place in scale]]
    middle = float(np.average(scale, weights=weight)) if weight.any() else fifths + 2.0
    places = {7 * place % 12: place for place in scale}
    led = _led(notes)
    for sharp in range(fifths + 6, fifths + 11):
        pitch_class = 7 * sharp % 12
        signs = len(_name(sharp)) - len(_name(sharp - 12))
        leans = middle - (sharp - 6) + _LED * led[pitch_class] - _PLAIN * signs
        places[pitch_class] = sharp if leans > 0 else sharp - 12
    return tuple(_name(places[pitch_class]) for pitch_class in range(12))


def _name(place: int) -> str:
    alter, index = divmod(place + 1, 7)
    return _LETTERS[index] + ("#" * alter if alter > 0 else "b" * -alter)


def _led(notes: NDArray[np.void]) -> NDArray[np.float64]:
    """How far the notes of each class go up (1) or down (-1) by a semitone within their
    voice, shape (12,)."""
    lines = np.stack([notes[name].astype(np.int64) for name in ("part", "staff", "voice")])
    times = np.concatenate((lines, notes["onset"].astype(np.int64)[None]))
    moments, at = np.unique(times, axis=1, return_inverse=True)
    goes_on = np.append((moments[:3, 1:] == moments[:3, :-1]).all(axis=0), False)
    pitches = notes["pitch"].astype(np.int64)
    sounding = at.ravel() * 128 + pitches
    up, down = (
        np.bincount(
            pitches[np.isin(sounding + 128 + step, sounding) & goes_on[at.ravel()]] % 12,
            minlength=12,
        )
        for step in (1, -1)
    )
    return (up - down) / (up + down + 1.0)
