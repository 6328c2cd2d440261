"""How far the measures of a piece hang on single passages, worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from by_hand import BAR, bars_of, notes_of

from corpusreg.measures.analysis import analyse
from corpusreg.measures.unevenness import BLOCKS, errors
from corpusreg.score.notes import Part
from corpusreg.score.played import Played


def played(pitches: list[int]) -> Played:
    """One note a bar."""
    notes = notes_of([(pitch, BAR * bar, BAR) for bar, pitch in enumerate(pitches)])
    bars = bars_of([BAR] * len(pitches))
    return Played(4, (Part("p"),), bars, notes, False, False, False, ())


def test_what_is_the_same_everywhere_has_no_error() -> None:
    found = errors(analyse(played([60, 64] * 8)))
    assert found["movement_bar"] == pytest.approx(0)
    assert found["span"] == 0


def test_a_span_that_hangs_on_one_block_is_uncertain() -> None:
    """Without the block of the high note the span is 4 and not 24: seven of eight have 24."""
    found = errors(analyse(played([60, 64] * 7 + [84, 64])))
    left = np.array([24.0] * 7 + [4.0])
    error = np.sqrt(7 / 8 * ((left - left.mean()) ** 2).sum())
    assert found["span"] == pytest.approx(error * 2.365 / 1.96)


def test_movement_of_one_half_alone_is_uncertain() -> None:
    still = errors(analyse(played([60, 64] * 16)))["movement_bar"]
    uneven = errors(analyse(played([60] * 16 + [60, 64] * 8)))["movement_bar"]
    assert uneven > 0.5 > still


def test_too_few_bars_tell_nothing_of_unevenness() -> None:
    assert "movement_bar" not in errors(analyse(played([60, 64, 60, 64])))
    assert BLOCKS == 8
