"""Profiles and near works in plain words, made from their scores.

Families and scores: see `profiles.model`. What is within MIDDLE of the middle of its rung
is not named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from corpusreg.measures.space import PARTS
from corpusreg.norms.alike import Alike
from corpusreg.norms.profiles.model import CLEAR, Floats, PlacedProfile, family_scores
from corpusreg.system.phrases import capital

__all__ = [
    "alike_lines", "alike_words", "centre_words", "firmness_words", "neighbour_words",
    "profile_lines",
]  # fmt: skip

MIDDLE = CLEAR
_ALIKE, _APART = 0.4, 0.7  # scores that differ by so much are as good as the same; differ
_CLEARLY, _RATHER = 0.3, 0.1  # margins
_LAST = ("lean",)  # says least to the ear, and is named when there is little else

# High and low: as a property, as shared with the piece, as more or less than the piece.
_PROPERTY: Mapping[str, tuple[str, str]] = {
    "space": ("wide", "narrow"),
    "lean": ("reaching up from its centre", "reaching down from its centre"),
    "within": ("mobile within the bar", "calm within the bar"),
    "between": ("mobile from bar to bar", "settled from bar to bar"),
    "stays": ("long stays", "short stays"),
    "narrow": ("much time in a narrow register", "little time in a narrow register"),
    "hollow": ("often a gap between the voices", "seldom a gap between the voices"),
    "entries": ("silent registers often brought in", "silent registers seldom brought in"),
    "pedals": ("many pedal points", "few pedal points"),
}

_SHARED: Mapping[str, tuple[str, str]] = {
    "space": ("as wide", "as narrow"),
    "lean": ("reaching up as far from its centre", "reaching down as far from its centre"),
    "within": ("as mobile within the bar", "as calm within the bar"),
    "between": ("as mobile from bar to bar", "as settled from bar to bar"),
    "stays": ("stays as long", "stays as short"),
    "narrow": ("as much time in a narrow register", "as little time in a narrow register"),
    "hollow": ("gaps between the voices as often", "gaps between the voices as seldom"),
    "entries": (
        "silent registers brought in as often",
        "silent registers brought in as seldom",
    ),
    "pedals": ("as many pedal points", "as few pedal points"),
}

_COMPARED: Mapping[str, tuple[str, str]] = {
    "space": ("wider", "narrower"),
    "lean": ("reaching further up from its centre", "reaching further down from its centre"),
    "within": ("more mobile within the bar", "calmer within the bar"),
    "between": ("more mobile from bar to bar", "more settled from bar to bar"),
    "stays": ("longer stays", "shorter stays"),
    "narrow": ("more time in a narrow register", "less time in a narrow register"),
    "hollow": ("more gaps between the voices", "fewer gaps between the voices"),
    "entries": (
        "silent registers more often brought in",
        "silent registers less often brought in",
    ),
    "pedals": ("more pedal points", "fewer pedal points"),
}


def centre_words(features: Sequence[str], centres: Sequence[Floats]) -> list[str]:
    """Each centre in words: what is furthest from the middle, three things at most.

    More are named where two centres would read the same.
    """
    families = [family_scores(features, centre) for centre in centres]
    for most in range(3, len(_PROPERTY) + 1):
        said = [_named(each, most) for each in families]
        if len(set(said)) == len(said):
            break
    return said


def profile_lines(placed: PlacedProfile | str) -> list[str]:
    """What is told of a piece: its profile, then the works nearest to it."""
    if isinstance(placed, str):
        return [f"Not looked for: {placed}."]
    said = profile_words(placed)
    return [
        f"{capital(said)}.",
        *(
            f"{each.title} ({each.composer}): {neighbour_words(placed.families, each.families)}"
            for each in placed.nearest
        ),
    ]


def profile_words(placed: PlacedProfile) -> str:
    """Which profile a piece is in and how firmly, or that there is none."""
    if placed.group is None:
        return placed.rung_words
    kind = f"profile {placed.group.number} ({placed.group.words})"
    return f"nearest to {kind}, {firmness_words(placed)}"


def firmness_words(placed: PlacedProfile) -> str:
    """How firmly a piece is in its profile: '' where there are none."""
    if placed.group is None or placed.second is None:
        return ""
    if placed.margin >= _CLEARLY:
        said = "clearly so"
    elif placed.margin >= _RATHER:
        said = f"nearer to it than to the next ({placed.second.words})"
    else:
        said = f"on the border with the next ({placed.second.words})"
    return said + (", though further out than nearly all its works" if placed.beyond else "")


def neighbour_words(piece: Mapping[str, float], work: Mapping[str, float]) -> str:
    """What a work shares with a piece, then where it differs; two things each at most.

    >>> neighbour_words({"space": 1.2, "stays": -0.2}, {"space": 1.1, "stays": 0.9})
    'as wide; longer stays'
    """
    shared = [
        (family in _LAST, -abs(score), _SHARED[family][0 if score > 0 else 1])
        for family, score in piece.items()
        if abs(score) >= MIDDLE and abs(work[family] - score) <= _ALIKE
    ]
    apart = [
        (
            family in _LAST,
            -abs(work[family] - score),
            _COMPARED[family][0 if work[family] > score else 1],
        )
        for family, score in piece.items()
        if abs(work[family] - score) >= _APART
    ]
    first = ", ".join(said for *_, said in sorted(shared)[:2]) or "alike on the whole"
    rest = ", ".join(said for *_, said in sorted(apart)[:2])
    return f"{first}; {rest}" if rest else first


def _named(families: Mapping[str, float], most: int) -> str:
    told = sorted(
        (family in _LAST, -round(abs(score), 6), family)
        for family, score in families.items()
        if abs(score) >= MIDDLE
    )[:most]
    said = [_PROPERTY[family][0 if families[family] > 0 else 1] for *_, family in told]
    return ", ".join(said) or "in the middle in everything"


_CLEAR = 5  # semitones from which a curve is said to rise, sink, open out or close in
_NAMES = {"low": "lower edge", "middle": "middle", "high": "upper edge"}
_OCTAVE = 12

_TENTHS = ("", "a tenth", *(f"{each} tenths" for each in (
    "two", "three", "four", "five", "six", "seven", "eight", "nine")))  # fmt: skip


def alike_lines(found: Sequence[Alike]) -> list[str]:
    """One line a work: who wrote it, what it shares, where it differs most."""
    return [f"{each.title} ({each.composer}): {alike_words(each)}" for each in found]


def alike_words(each: Alike) -> str:
    """What a work shares with the piece and where it differs most."""
    return (
        f"within {each.distance:.1f} semitones of the piece on average{_shared(each)}; "
        f"furthest from it {_place(each.part)}, where the {_NAMES[each.line]} of this work "
        f"lies {_interval(abs(each.apart))} {'higher' if each.apart > 0 else 'lower'}"
    )


def _shared(each: Alike) -> str:
    said = []
    if abs(each.widens) >= _CLEAR:
        said.append("opens out" if each.widens > 0 else "closes in")
    if abs(each.rises) >= _CLEAR:
        said.append("rises" if each.rises > 0 else "sinks")
    return f", and {' and '.join(said)} toward the end as the piece does" if said else ""


def _place(part: int) -> str:
    if part == 0:
        return "at the beginning"
    if part == PARTS - 1:
        return "at the end"
    return f"{_TENTHS[part]} of the way in" if 2 * part != PARTS else "halfway"


def _interval(semitones: float) -> str:
    whole = round(semitones)
    octaves, rest = divmod(whole, _OCTAVE)
    if rest == 0 and octaves:
        return "an octave" if octaves == 1 else f"{octaves} octaves"
    return f"{whole} semitones" if whole != 1 else "a semitone"
