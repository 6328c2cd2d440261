"""Fingerprints by which the same music is found in several files.

The fingerprint is a hash of the whole texture as written: every note's onset and
pitch, counted from the first onset and the lowest pitch, with time divided by the
common measure of all onsets. It is the same in another format, another key,
other note values or another order of parts; another harmonisation of the same
tune has another fingerprint.
"""

from __future__ import annotations

import hashlib

import numpy as np

from corpusreg.notes import Score

__all__ = ["fingerprint"]

# Fewer notes may agree by chance.
_FEWEST_NOTES = 16


def fingerprint(score: Score) -> str | None:
    """Fingerprint as 32 hexadecimal digits, None where the score is too short for one.

    Grace notes and continued ties take no part: editions differ in them.
    """
    notes = score.notes[~(score.notes["grace"] | score.notes["tie_in"])]
    if len(notes) < _FEWEST_NOTES:
        return None
    onset = notes["onset"] - notes["onset"].min()
    onset //= max(int(np.gcd.reduce(onset)), 1)
    pitch = notes["pitch"].astype(np.int64) - int(notes["pitch"].min())
    heard = np.unique(np.stack((onset, pitch), axis=1), axis=0)
    return hashlib.blake2b(heard.astype("<i8").tobytes(), digest_size=16).hexdigest()
