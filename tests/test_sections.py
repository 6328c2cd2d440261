"""Sections: from marks on the page and from music that returns, in whatever octave."""

from __future__ import annotations

import itertools
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from conftest import PIECES

from corpusreg.measures.analysis import analyse
from corpusreg.measures.sections import FormSection, sections
from corpusreg.score.played import perform
from corpusreg.score.readers import read_file


@lru_cache
def of(name: str) -> tuple[FormSection, ...]:
    played = perform(read_file(PIECES / name).scores[0])
    return sections(played, analyse(played).texture)


def test_music_that_returns_lower_is_the_same_section_again() -> None:
    """Bars 25-28 of Stairs have the music of bars 5-8, two octaves lower."""
    b, again = (each for each in of("stairs.musicxml") if each.letter == "B")
    assert (b.first, b.last, b.time) == (4, 8, 1)
    assert (again.first, again.last, again.time) == (24, 28, 2)
    assert b.middle - again.middle == 24


def test_sections_cover_the_piece_in_order() -> None:
    for path in sorted(PIECES.iterdir()):
        found = of(path.name)
        assert len(found) != 1
        for one, following in itertools.pairwise(found):
            assert one.first < one.last <= following.first
        for each in found:
            assert each.low <= each.middle <= each.high


def tune(form: str, lines: dict[str, list[int]]) -> str:
    bars = "|".join(
        " ".join(f"{'CDEFGAB'[step]}2" for step in lines[letter][k : k + 4])
        for letter in form
        for k in range(0, 16, 4)
    )
    return f"X:1\nT:Form\nM:4/4\nL:1/8\nK:C\n{bars}|\n"


@pytest.mark.parametrize("form", ["ABA", "ABCA", "AABA"])
@pytest.mark.parametrize("seed", range(3))
def test_a_tune_of_different_lines_has_its_form(form: str, seed: int, tmp_path: Path) -> None:
    draw = np.random.default_rng(seed)
    lines = {letter: draw.integers(0, 7, 16).tolist() for letter in sorted(set(form))}
    path = tmp_path / "form.abc"
    path.write_text(tune(form, lines), encoding="utf-8")
    played = perform(read_file(path).scores[0])
    heard = {
        each.first: (each.letter, each.time)
        for each in sections(played, analyse(played).texture)
    }
    letter, time = heard[4 * (len(form) - 1)]
    assert time >= 2  # the last line has been heard before
    assert letter == heard[4 * form.index(form[-1])][0]
