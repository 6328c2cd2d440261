"""Works of the same medium whose register has the same shape over time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from corpusreg.measures.space import PARTS
from corpusreg.norms.alike import alike
from corpusreg.norms.reference import Rung
from corpusreg.text.profiles import alike_words

SONGS = Rung({"ensemble": "song"}, "songs")
RISING = [0, 0, 1, 2, 3, 4, 6, 8, 9, 9]


class Made:
    """Four works by three composers: two rise like the piece, one is still, one falls."""

    def fetch_columns(
        self, text: str, params: Mapping[str, object] | Sequence[object] | None = None
    ) -> dict[str, NDArray[Any]]:
        assert "ensemble" in text
        steps = {
            "a1": (1, RISING),
            "a2": (1, [*RISING[:-1], 11]),
            "b1": (2, [0] * PARTS),
            "c1": (3, RISING[::-1]),
        }
        rows = [
            (
                work,
                unit,
                40 + step,
                60 + step,
                70 + step + (12 if work == "b1" and i == 9 else 0),
            )
            for work, (unit, curve) in steps.items()
            for i, step in enumerate(curve)
        ]
        names = ("work", "unit_number", "low", "middle", "high")
        found = {
            name: np.array(column)
            for name, column in zip(names, zip(*rows, strict=True), strict=True)
        }
        found["title"] = np.array([f"Song {row[0]}" for row in rows])
        found["composer"] = np.array([f"Composer {row[1]}" for row in rows])
        return found


def test_the_nearest_are_by_different_composers_whatever_their_height() -> None:
    own = np.array([[52 + step, 72 + step, 82 + step] for step in RISING], float)
    first, second, third = alike(Made(), SONGS, own)
    assert (first.work, second.work, third.work) == ("a1", "b1", "c1")
    assert first.distance == 0.0
    assert first.rises > 5
    assert "rises toward the end as the piece does" in alike_words(first)
    assert (second.part, second.line, second.apart > 0) == (9, "high", True)
    words = alike_words(third)
    assert third.rises == 0 and "as the piece does" not in words  # it sinks
    assert "at the beginning" in words or "at the end" in words


def test_a_piece_without_a_curve_has_no_neighbours() -> None:
    assert alike(Made(), SONGS, None) == ()
