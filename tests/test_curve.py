"""Curves of low, middle and high edges over ten parts of a piece."""

from __future__ import annotations

import numpy as np
import pytest

from corpusreg.measures.space import PARTS, curve, distances_between
from corpusreg.measures.texture import Texture


def woven(bars: list[list[int]]) -> Texture:
    """Bars of pitches that sound equally long."""
    weight = np.zeros((len(bars), 128))
    for row, pitches in enumerate(bars):
        weight[row, pitches] = 1.0
    return Texture(weight, np.arange(len(bars)), weight, weight.sum(axis=0), 3, 3.0, 3)


def test_edges_and_middle_of_each_tenth() -> None:
    """Twenty bars: a chord that rises by two semitones every second bar."""
    found = curve(woven([[40 + bar // 2 * 2, 60, 80] for bar in range(20)]))
    assert found is not None
    assert found.shape == (PARTS, 3)
    assert found[:, 0].tolist() == [40 + 2 * part for part in range(10)]
    assert set(found[:, 1].tolist()) == {60}
    assert set(found[:, 2].tolist()) == {80}


@pytest.mark.parametrize("bars", [[[60]] * 9, [[60]] * 10 + [[]] * 10])
def test_no_curve_of_a_piece_too_short_or_silent_for_a_tenth(bars: list[list[int]]) -> None:
    assert curve(woven(bars)) is None


def test_a_piece_is_nearest_itself_in_any_key_and_at_any_length() -> None:
    steps = [0, 2, 4, 6, 9, 9, 6, 4, 2, 0]
    one = curve(woven([[50 + step, 65 + step] for step in steps]))
    same = curve(woven([[57 + step, 72 + step] for step in np.repeat(steps, 3).tolist()]))
    flat = curve(woven([[50, 65]] * 10))
    assert one is not None and same is not None and flat is not None
    near, far = distances_between(one, np.stack((same, flat)))
    assert near == 0.0
    # Lower edge, middle and upper edge move together, 2.64 semitones from their mean.
    assert far == pytest.approx(np.abs(np.array(steps) - np.mean(steps)).mean())
