"""The palette: contrast, lightness on a grey copy, and colour-vision deficiencies, as numbers.

Formulas: relative luminance and contrast ratio by WCAG 2.2 (definitions; 1.4.3 asks 4.5 of
text, 1.4.11 asks 3 of signs); CIE 1976 L*a*b* under D65 from sRGB by IEC 61966-2-1;
simulated deficiencies at full severity by the matrices of Machado, Oliveira and Fernandes
2009 (IEEE Transactions on Visualization and Computer Graphics 15:1291-1298), values from
memory, on linear RGB.
"""

from __future__ import annotations

import re
from itertools import combinations, pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from corpusreg.documents.pictures.look import COLOURS, DARK, ROLES, SIZES, WEIGHTS, css, paint

PALETTES = {"light": COLOURS, "dark": DARK}
Floats = NDArray[np.float64]
SEEN_BY = {
    "all": np.eye(3),
    "protanopes": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
         [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopes": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
         [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopes": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
         [0.004733, 0.691367, 0.303900]]
    ),
}  # fmt: skip
XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def linear(colour: str) -> Floats:
    parts = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    low, high = sorted(float(XYZ[1] @ linear(each)) for each in (one, other))
    return (high + 0.05) / (low + 0.05)


def lab(rgb: Floats) -> Floats:
    ratio = XYZ @ np.clip(rgb, 0, 1) / XYZ.sum(axis=1)
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def lightness(colour: str) -> float:
    return float(lab(linear(colour))[0])


def test_the_formulas_give_what_is_known_of_them() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    # The lightest grey that passes 4.5 on white, as accessibility guides quote it.
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)
    assert lightness("#777777") == pytest.approx(50, abs=0.5)
    assert lab(linear("#ff0000")) == pytest.approx([53.24, 80.09, 67.20], abs=0.1)
    for matrix in SEEN_BY.values():
        assert matrix.sum(axis=1) == pytest.approx(np.ones(3), abs=1e-5)


@pytest.mark.parametrize("palette", PALETTES.values(), ids=PALETTES)
def test_text_and_signs_stand_out_from_the_paper(palette: dict[str, str]) -> None:
    for text in ("ink", "quiet", "mark"):
        assert contrast(palette[text], palette["paper"]) >= 4.5, text
    # A number on a filled tag, and on the two strong tones of a grid.
    for ground in ("mark", "weight3", "weight4"):
        assert contrast(palette["paper"], palette[ground]) >= 4.5, ground
    for ground in ("weight1", "weight2", "pale"):
        assert contrast(palette["ink"], palette[ground]) >= 4.5, ground


@pytest.mark.parametrize("palette", PALETTES.values(), ids=PALETTES)
def test_tones_of_weight_are_steps_of_grey(palette: dict[str, str]) -> None:
    steps = [lightness(palette[name]) for name in ("paper", *WEIGHTS)]
    falls = [abs(a - b) for a, b in pairwise(steps)]
    assert min(falls) >= 14
    assert steps == sorted(steps, reverse=palette is COLOURS)


@pytest.mark.parametrize("palette", PALETTES.values(), ids=PALETTES)
@pytest.mark.parametrize("matrix", SEEN_BY.values(), ids=SEEN_BY)
def test_what_colour_tells_apart_stays_apart(palette: dict[str, str], matrix: Floats) -> None:
    """Distances in L*a*b*; some 2 can just be seen (common practice, no source)."""
    seen = {
        name: lab(matrix @ linear(palette[name]))
        for name in ("paper", "ink", "mark", "pale", *WEIGHTS)
    }
    # Both are pale grounds and never beside each other, nor is full weight beside ink.
    never_met = {("pale", "weight1"), ("ink", "weight4")}
    for one, other in combinations(seen, 2):
        if (one, other) not in never_met:
            assert np.linalg.norm(seen[one] - seen[other]) >= 10, (one, other)


def test_no_red_and_no_green() -> None:
    """Every colour that is one is bluish or orange: hue angles in L*a*b*."""
    for palette in PALETTES.values():
        for name, colour in palette.items():
            _, a, b = lab(linear(colour))
            hue = float(np.degrees(np.arctan2(b, a))) % 360
            if np.hypot(a, b) > 15:
                assert 270 <= hue <= 320 or 50 <= hue <= 85, (name, hue)


def test_every_role_has_its_colour_in_both_palettes() -> None:
    assert set(COLOURS) == set(DARK) == {colour for _, colour in ROLES.values()}
    sheet = css()
    for role, (kind, colour) in ROLES.items():
        assert f".picture .{role} {{ {kind}: var(--{colour}); }}" in sheet
    assert set(re.findall(r"var\(--(\w+)\)", sheet)) == set(COLOURS)
    for colour in (*COLOURS.values(), *DARK.values()):
        assert colour in sheet


def test_paint_says_role_and_colour() -> None:
    assert paint("paper", "rule", width=2.0) == {
        "class_": "paper rule",
        "fill": COLOURS["paper"],
        "stroke": COLOURS["ink"],
        "stroke_width": 2.0,
    }
    assert min(SIZES.values()) >= 10
