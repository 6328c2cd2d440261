"""The register map: time in bars across, pitch upward, darker where more sounds.

    register_map(view, other=None, *, prefix, bars=None, width=WIDTH, height=None,
                 heading=True, words=("first", "second"), keyed=True,
                 compact=None) -> Picture
    stills(view, other=None, *, prefix) -> list[Picture]

`view` is a `view.MapView`: of a comparison by `view.view_of`, or put together from
analyses. A system holds at most so many bars as stay legible; further systems follow
below, and `pages` cuts a long work into passages for one picture each. Two versions are
drawn one above the other on the same axes and the same scale of shading.

What a script finds (p is the prefix; for a second version it is followed by '-b'):

    #p-bar-3        a transparent box over played bar 3 (from 0): data-index, data-bar
                    (printed label), data-notes (names, low to high), data-stay (rank)
    #p-stay-1       the stay of rank 1: data-stay, data-first, data-last (played bars,
                    half-open); where it goes on in the next system it has no id there
    #p-shift-2      the second shift in order of time: data-shift, data-kind, data-bar,
                    data-index
    #p-event-4      the fourth event in order of time: data-event, data-kind, data-bar,
                    data-index

The groups have the classes stay, shift, event; the boxes the class bar. Numbers are those
of `Analysis.ranking`, `Analysis.shifts` and `Analysis.events`, from 1; `mark_id` makes the
ids.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from corpusreg.documents.pictures.findings import bars as bar_boxes
from corpusreg.documents.pictures.findings import events, shifts, stays
from corpusreg.documents.pictures.ground import LANE, ground, ruler, sections, weights
from corpusreg.documents.pictures.look import GAP, SIZES
from corpusreg.documents.pictures.map_key import key, map_key
from corpusreg.documents.pictures.svg import Markup, Picture, document, element, label, wrapped
from corpusreg.documents.pictures.view import Axes, MapView, axes_of, heaviest, systems
from corpusreg.measures.analysis import Analysis
from corpusreg.score.pitch import note_name
from corpusreg.system.phrases import plural
from corpusreg.system.plaintext import plain
from corpusreg.text.bars import bar_range

__all__ = ["pages", "register_map", "stills"]

WIDTH = 920.0
STILL = (1280.0, 720.0)  # of a still for a projector
_WIDE = 800.0  # a still is drawn as wide as this and enlarged, so that its type is large
_LEFT, _RIGHT = 58.0, 12.0
_BAR = 20.0  # least width of a bar
_WIDEST_BAR = 56.0
_STEP = (3.4, 7.0)  # least and greatest height of a semitone
_MAP = 230.0  # height of a map where the steps allow it
_LEAST_STEP = 1.5
_OF_PAGE = 4  # systems


@dataclass(frozen=True)
class _Version:
    """One piece on the picture. word: '', or what tells two versions apart."""

    view: MapView
    prefix: str
    word: str = ""

    @property
    def found(self) -> Analysis:
        """What is drawn."""
        return self.view.whole


def pages(
    view: MapView, other: MapView | None = None, width: float = WIDTH
) -> list[tuple[int, int]]:
    """Passages of bars for one picture each, of at most four systems in all."""
    every = [each.whole for each in (view, other) if each]
    total = max(len(each.played.bars) for each in every)
    return systems(0, total, _OF_PAGE // len(every) * _most_bars(width))


def register_map(
    view: MapView,
    other: MapView | None = None,
    *,
    prefix: str,
    bars: tuple[int, int] | None = None,
    width: float = WIDTH,
    height: float | None = None,
    heading: bool = True,
    words: tuple[str, str] = ("first", "second"),
    keyed: bool = True,
    compact: int | None = None,
) -> Picture:
    """The map of a piece, or of two versions on the same axes.

    prefix: begins every id; letters, digits and hyphens. bars: played bars, half-open, None
    for all. height: of the picture, to which the axes are stretched as far as they can be,
    None for what they need. heading: whether the title stands above. words: what stands
    beside two versions. keyed: whether the meanings of the signs stand below. compact: so
    many bars at most stand in a system, and shifts and events have no numbers; None for as
    many bars as are easily told apart, and numbers.
    """
    versions = _versions(view, other, prefix, words)
    passage = bars or (0, _length(versions))
    title = _title(versions, passage)
    sheet = _Sheet(versions, passage, width, title if heading else "", keyed, compact)
    drawn, needed = _fitted(sheet, height)
    return document(
        drawn,
        size=(width, needed),
        prefix=prefix,
        title=title,
        description=" ".join(_description(version) for version in versions),
    )


def stills(view: MapView, other: MapView | None = None, *, prefix: str) -> list[Picture]:
    """Pictures for a projector, of the shape 16:9, one system of each version on each.

    Ids begin with the prefix and the number of the still: 'p-1', 'p-2'.
    """
    found = []
    passages = systems(0, _length(_versions(view, other, prefix)), _most_bars(_WIDE))
    for number, passage in enumerate(passages, start=1):
        name = f"{prefix}-{number}"
        versions = _versions(view, other, name)
        width, title = _WIDE, _title(versions, passage)
        height = width * STILL[1] / STILL[0]
        drawn, needed = _fitted(_Sheet(versions, passage, width, title), height)
        if needed > height:  # more signs than there is room for: smaller type
            height, width = needed, needed * STILL[0] / STILL[1]
            drawn, height = _fitted(_Sheet(versions, passage, width, title), height)
        found.append(
            document(
                drawn,
                size=(width, height),
                shown=STILL,
                prefix=name,
                title=title,
                description=" ".join(_description(version) for version in versions),
            )
        )
    return found


def _versions(
    view: MapView,
    other: MapView | None,
    prefix: str,
    words: tuple[str, str] = ("first", "second"),
) -> list[_Version]:
    if other is None:
        return [_Version(view, prefix)]
    return [
        _Version(view, prefix, words[0]),
        _Version(other, f"{prefix}-b", words[1]),
    ]


def _length(versions: Sequence[_Version]) -> int:
    return max(len(version.found.played.bars) for version in versions)


@dataclass(frozen=True)
class _Sheet:
    """What is drawn on one picture, whatever the height of a semitone. title: or ''.
    keyed: whether there is a key. compact: as in `register_map`."""

    versions: Sequence[_Version]
    passage: tuple[int, int]
    width: float
    title: str
    keyed: bool = True
    compact: int | None = None

    @property
    def most(self) -> int:
        """Bars of a system."""
        return self.compact or _most_bars(self.width)

    @property
    def systems(self) -> list[tuple[_Version, int, int]]:
        """Systems from top to bottom, with their bars."""
        return [
            (version, a, min(b, len(version.found.played.bars)))
            for a, b in systems(*self.passage, self.most)
            for version in self.versions
            if a < len(version.found.played.bars)
        ]

    @property
    def bar(self) -> float:
        """Width of a bar, the same in all systems."""
        a, b = systems(*self.passage, self.most)[0]
        return min((self.width - _LEFT - _RIGHT) / (b - a), _WIDEST_BAR)


def _fitted(sheet: _Sheet, height: float | None) -> tuple[list[Markup], float]:
    """Everything on a picture, stretched to a height where it can be, and its height."""
    low, high = axes_of([version.found for version in sheet.versions])
    step = min(max(_MAP / (high - low + 1), _STEP[0]), _STEP[1])
    drawn, needed = _drawn(sheet, step)
    if height is None:
        return drawn, needed
    rows = (high - low + 1) * len(sheet.systems)
    drawn, needed = _drawn(sheet, max(step + (height - needed) / rows, _LEAST_STEP))
    return drawn, max(needed, height)


def _drawn(sheet: _Sheet, step: float) -> tuple[list[Markup], float]:
    """Everything on a picture, and the height it needs."""
    every = [version.found for version in sheet.versions]
    drawn, y, (low, high) = [], GAP, axes_of(every)
    if sheet.title:
        for row in wrapped(sheet.title, sheet.width - 2 * GAP, SIZES["title"]):
            y += SIZES["title"]
            drawn.append(label(row, GAP, y, SIZES["title"]))
        y += GAP
    for version, a, b in sheet.systems:
        axes = Axes(a, b, _LEFT, y, sheet.bar, low, high, step)
        block, y = _system(version, axes, heaviest(every), numbered=sheet.compact is None)
        drawn.append(block)
    if not sheet.keyed:
        return drawn, y + GAP
    signs, y = key(map_key(every), y + GAP, sheet.width)
    return [*drawn, signs], y + GAP


def _most_bars(width: float) -> int:
    return max(int((width - _LEFT - _RIGHT) / _BAR), 1)


def _title(versions: Sequence[_Version], passage: tuple[int, int]) -> str:
    """Titles, and the bars where they are not all."""
    names = list(dict.fromkeys(plain(version.view.title) for version in versions))
    title = " / ".join(names)
    longest = max((each.found.played.bars for each in versions), key=len)
    if passage == (0, len(longest)):
        return title
    return f"{title}, {bar_range(longest, *passage)}"


def _description(version: _Version) -> str:
    found = version.found
    return (
        "Register map: "
        f"{plural(len(found.played.bars), 'bar')} as played, "
        f"{note_name(found.lowest)} to {note_name(found.highest)}, "
        f"{plural(len(found.stays), 'stay')}, {plural(len(found.shifts), 'shift')}, "
        f"{plural(len(found.events), 'event')}."
    )


def _system(
    version: _Version, axes: Axes, top: float, *, numbered: bool
) -> tuple[Markup, float]:
    """One system of one version whose signs begin at `axes.top`, and the y below it."""
    found, prefix, y = version.found, version.prefix, axes.top
    told, above = shifts(found, axes, prefix, y, numbered=numbered)
    # Room for the number of a stay that reaches the top.
    axes = replace(axes, top=y + above * LANE + SIZES["small"])
    numbers, below = ruler(found, axes)
    end = axes.foot + below
    happened, rows = events(found, axes, prefix, end, numbered=numbered)
    drawn = [
        ground(axes),
        *weights(found, axes, top),
        sections(found, axes),
        *stays(found, axes, prefix),
        *told,
        numbers,
        *happened,
        bar_boxes(found, axes, prefix),
    ]
    names = [
        ("shifts", y + 0.7 * LANE, "quiet", above),
        ("events", end + 0.7 * LANE, "quiet", rows),
        (version.word, axes.top + GAP, "ink", version.word),
    ]
    drawn += [
        label(name, GAP, at, SIZES["small"], role)
        for name, at, role, is_there in names
        if is_there
    ]
    return element("g", *drawn, class_="system"), end + rows * LANE + 1.5 * GAP
