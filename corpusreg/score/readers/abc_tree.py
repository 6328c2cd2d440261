"""The library's tree of one tune, with every length and place in whole ticks."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import accumulate
from math import gcd, lcm
from typing import Any

from corpusreg.score.readers.abc_source import MARK, Marker
from corpusreg.system.errors import ReadError

__all__ = ["Tree", "content_of", "is_grace", "parts_of", "written_length"]

_MOST_TICKS = 2**40
_OURS = re.compile(re.escape(MARK) + r"(\d{1,9})", re.ASCII)


def parts_of(tree: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The parts of a tree, whatever groups they stand in."""
    for child in tree.get("children", ()):
        for kind, content in child.items():
            if kind == "Part":
                yield content
            else:
                yield from parts_of(content)


def written_length(duration: dict[str, Any]) -> tuple[int, int]:
    """A written length as a fraction of a whole note."""
    over, under = duration["base"]
    dots = duration.get("dots", 0)
    over, under = over * (2 ** (dots + 1) - 1), under * 2**dots
    over *= duration.get("tuplet_normal", 1)
    under *= duration.get("tuplet_actual", 1)
    common = gcd(over, under) or 1
    return over // common, under // common


def content_of(element: dict[str, Any]) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The element itself and the notes it sounds."""
    ((kind, content),) = element.items()
    if kind == "Chord":
        return content, content["notes"]
    return content, [content] if kind == "Note" else []


def is_grace(content: dict[str, Any], heads: list[dict[str, Any]]) -> bool:
    """Whether an element takes no time: its own flag, or that of a chord's first note."""
    return bool(content.get("is_grace") or (heads and heads[0].get("is_grace")))


@dataclass
class Tree:
    """Parts of a tune as the library gives them.

    whole: ticks in a whole note. start, length: ticks of each measure, laid side
    by side; a measure is as long as its longest part, `start` has one entry more.
    """

    parts: list[dict[str, Any]]
    markers: list[Marker]
    whole: int = field(init=False)
    start: list[int] = field(init=False)
    length: list[int] = field(init=False)

    def __post_init__(self) -> None:
        self.whole = self._resolution()
        self.length = [0] * max(len(part["measures"]) for part in self.parts)
        for _, bar, measure in self.each():
            for voice in measure.get("voices", ()):
                total = sum(ticks for _, ticks, _, _ in self.elements(voice))
                self.length[bar] = max(self.length[bar], total)
        self.start = list(accumulate(self.length, initial=0))
        if self.start[-1] > 2**62:
            raise ReadError("the tune is too long; look for a mistyped length")

    def each(self) -> Iterator[tuple[int, int, dict[str, Any]]]:
        """(part, bar, measure) of every measure."""
        for index, part in enumerate(self.parts):
            for bar, measure in enumerate(part["measures"]):
                yield index, bar, measure

    def to_ticks(self, fraction: tuple[int, int] | list[int]) -> int:
        """A fraction of a whole note in ticks."""
        return fraction[0] * self.whole // fraction[1]

    def elements(
        self, voice: dict[str, Any]
    ) -> Iterator[tuple[int, int, dict[str, Any], list[dict[str, Any]]]]:
        """(place in the measure, ticks, element, its notes) of a voice's elements."""
        at = 0
        for element in voice["elements"]:
            content, heads = content_of(element)
            grace = is_grace(content, heads)
            ticks = 0 if grace else self.to_ticks(written_length(content["duration"]))
            yield at, ticks, content, heads
            at += ticks

    def marks_of(self, part: dict[str, Any]) -> Iterator[tuple[tuple[int, int], Marker]]:
        """((bar, tick), marker) of the markers that came back in a part."""
        for bar, measure in enumerate(part["measures"]):
            for direction in measure.get("directions", ()):
                found = _OURS.fullmatch(direction.get("text", {}).get("text", ""))
                # A tune can hold text that only looks like one of our marks.
                if found and int(found[1]) < len(self.markers):
                    offset = self.to_ticks(direction.get("offset", (0, 1)))
                    yield (bar, self.start[bar] + offset), self.markers[int(found[1])]

    def marks(self) -> Iterator[tuple[int, int, int, Marker]]:
        """(part, bar, tick, marker) of every marker that came back."""
        for index, part in enumerate(self.parts):
            for (bar, tick), marker in self.marks_of(part):
                yield index, bar, tick, marker

    def _resolution(self) -> int:
        """Ticks per whole note such that every length and place is an integer."""
        found = {16}
        for _, _, measure in self.each():
            for voice in measure.get("voices", ()):
                found |= {
                    written_length(content_of(e)[0]["duration"])[1] for e in voice["elements"]
                }
            found |= {d["offset"][1] for d in measure.get("directions", ()) if "offset" in d}
            if time := measure.get("attributes", {}).get("time"):
                found.add(time["beat_type"])
        whole = lcm(*found)
        if whole > _MOST_TICKS:
            raise ReadError("the note values have no common unit; look for a mistyped length")
        return whole
