"""The piece among works that use register alike: a scatter.

    nearest_works(profile, *, prefix) -> Picture | None

Across: how wide the works are; upward: how much they move from bar to bar (or the first
two families that there are, where one of these is missing). Both are scores of ranks within
the group, so that the middle is the middle work and the lines are quarters. Every small dot
is a work of the group, at most DOTS of them; the diamond is the piece; near works have
numbers, those that do the contrary of its habit have letters, by which a page lists them.
Two families show part of what makes works near: a near work may lie farther off on this
plane than a dot.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from statistics import NormalDist

import numpy as np

from corpusreg.documents.pictures.look import GAP, SIZES, paint
from corpusreg.documents.pictures.svg import (
    Markup,
    Picture,
    boxes,
    document,
    element,
    label,
    lines,
    moved,
)
from corpusreg.norms.profiles.model import Neighbour, PlacedProfile
from corpusreg.system.phrases import plural
from corpusreg.system.plaintext import plain

__all__ = ["DOTS", "nearest_works"]

DOTS = 400
_SIDE = 250.0
_LEFT, _TOP = 30.0, 14.0
_APART = 16.0  # of signs
_REACH = NormalDist().inv_cdf(0.99)  # the scores end there
_QUARTER = NormalDist().inv_cdf(0.75)
_PREFERRED = ("space", "between")
# What lies at the low and the high end of each family.
_ENDS: Mapping[str, tuple[str, str]] = {
    "space": ("narrow", "wide"),
    "between": ("settled from bar to bar", "mobile from bar to bar"),
    "within": ("calm within the bar", "mobile within the bar"),
    "stays": ("short stays", "long stays"),
    "narrow": ("little time in a narrow register", "much time in a narrow register"),
    "hollow": ("few gaps between the voices", "many gaps between the voices"),
    "entries": ("registers seldom entered", "registers often entered"),
    "pedals": ("few pedal points", "many pedal points"),
    "lean": ("reaching down", "reaching up"),
}


def nearest_works(profile: PlacedProfile, *, prefix: str) -> Picture | None:
    """The scatter; None with fewer than two families."""
    axes = [name for name in _PREFERRED if name in profile.families]
    axes += [name for name in profile.families if name not in axes]
    if len(axes) < 2:
        return None
    across, up = axes[:2]
    works = len(profile.around.get(across, ()))
    drawn = [
        _plane(across, up),
        _cloud(profile, across, up),
        *_signs(profile, across, up),
    ]
    below = _TOP + _SIDE + 2 * SIZES["small"] + GAP
    if works > DOTS:
        said = f"{DOTS} of {plural(works, 'work')} are drawn as dots"
        drawn.append(label(said, _LEFT, below + 4, SIZES["small"], "quiet"))
        below += SIZES["small"] + 4
    return document(
        drawn,
        size=(_LEFT + _SIDE + GAP, below + GAP),
        prefix=prefix,
        title="Works that use register alike",
        description=_description(profile),
    )


def _x(score: float) -> float:
    return _LEFT + _SIDE * (min(max(score / _REACH, -1.0), 1.0) + 1) / 2


def _y(score: float) -> float:
    return _TOP + _SIDE * (1 - min(max(score / _REACH, -1.0), 1.0)) / 2


def _plane(across: str, up: str) -> Markup:
    """The frame, the middle and the quarters, and what lies at the ends."""
    size, right, foot = SIZES["small"], _LEFT + _SIDE, _TOP + _SIDE
    quarters = [
        line
        for q in (-_QUARTER, _QUARTER)
        for line in ((_x(q), _TOP, _x(q), foot), (_LEFT, _y(q), right, _y(q)))
    ]
    middle = [(_x(0), _TOP, _x(0), foot), (_LEFT, _y(0), right, _y(0))]
    frame = {"x": _LEFT, "y": _TOP, "width": _SIDE, "height": _SIDE}
    turned = f"rotate(-90 {_LEFT - 8:.0f} {_TOP + _SIDE:.0f})"
    return element(
        "g",
        lines(quarters, "faint"),
        lines(middle, "line", stroke_dasharray="5 3"),
        element("rect", **frame, **paint("line", width="thin")),
        label(_ENDS[across][0], _LEFT, foot + size + 3, size),
        label(_ENDS[across][1], right, foot + size + 3, size, text_anchor="end"),
        label(_ENDS[up][0], _LEFT - 8, foot, size, transform=turned),
        label(_ENDS[up][1], _LEFT - 8 + _SIDE, foot, size, text_anchor="end", transform=turned),
    )


def _cloud(profile: PlacedProfile, across: str, up: str) -> Markup:
    """Dots, taken at even steps where there are too many."""
    if across not in profile.around or up not in profile.around:
        return Markup()
    places = zip(profile.around[across].tolist(), profile.around[up].tolist(), strict=True)
    every = list(places)
    steps = np.unique(np.linspace(0, len(every) - 1, min(DOTS, len(every))).astype(int))
    return boxes(
        [(_x(every[i][0]) - 1, _y(every[i][1]) - 1, 2.0, 2.0) for i in steps.tolist()],
        "weight2",
    )


def _named(profile: PlacedProfile) -> list[tuple[str, str, Neighbour]]:
    """Works with their sign and kind."""
    near = [(str(n), "near", each) for n, each in enumerate(profile.nearest, start=1)]
    contrary = [
        (chr(ord("a") + n), "contrast", each) for n, each in enumerate(profile.contrasting)
    ]
    return near + contrary


def _signs(profile: PlacedProfile, across: str, up: str) -> Iterator[Markup]:
    """Numbers and letters in rings, and the diamond of the piece.

    A sign that would cover another stands beside its place, tied to it by a line.
    """
    own = _x(profile.families[across]), _y(profile.families[up])
    taken, signs = [own], []
    for sign, kind, each in _named(profile):
        place = _x(each.families[across]), _y(each.families[up])
        beside = next((spot for spot in _around(place) if _free(spot, taken)), place)
        taken.append(beside)
        if beside != place:
            yield lines([(*place, *beside)], "rule", "hair")
        signs.append(moved(_ring(sign, kind, each), *beside))
    yield from (*signs, moved(_diamond(), *own))


def _around(place: tuple[float, float]) -> Iterator[tuple[float, float]]:
    """A place, then places ever farther from it, inside the frame."""
    yield place
    for ring in range(1, 5):
        for eighth in range(8 * ring):
            angle = 2 * math.pi * eighth / (8 * ring)
            x = place[0] + ring * _APART * math.cos(angle)
            y = place[1] - ring * _APART * math.sin(angle)
            if _LEFT + 8 <= x <= _LEFT + _SIDE - 8 and _TOP + 8 <= y <= _TOP + _SIDE - 8:
                yield x, y


def _free(spot: tuple[float, float], taken: Sequence[tuple[float, float]]) -> bool:
    return all(math.dist(spot, each) >= _APART - 0.5 for each in taken)


def _diamond() -> Markup:
    return element("polygon", points="0,-7 7,0 0,7 -7,0", **paint("mark", "halo", width="thin"))


def _ring(sign: str, kind: str, work: Neighbour) -> Markup:
    """A number in a disc, a letter in a box; pointed at, it says which work it is."""
    look = paint("paper", "rule", width="thin")
    if kind == "near":
        shape = element("circle", r=7.0, **look)
    else:
        shape = element("rect", x=-6.5, y=-6.5, width=13.0, height=13.0, **look)
    told = ", ".join(filter(None, (plain(work.composer), plain(work.title))))
    name = label(sign, 0, 3.4, SIZES["small"], text_anchor="middle")
    return element("g", element("title", told), shape, name, data_told=f"{sign}: {told}")


def _description(profile: PlacedProfile) -> str:
    def names(works: Sequence[Neighbour]) -> str:
        return "; ".join(f"{plain(each.title)} ({plain(each.composer)})" for each in works)

    said = f"Nearest: {names(profile.nearest)}." if profile.nearest else "No near works."
    return said + (f" Contrary: {names(profile.contrasting)}." if profile.contrasting else "")
