"""The register map: time in bars across, pitch upward, darker where more sounds.

    register_map(view, other=None, *, prefix, part=None, bars=None, width=WIDTH,
                 heading=True) -> Picture

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
of `Analysis.ranking`, `Analysis.shifts` and `Analysis.events` of what is drawn (the whole,
or the part), from 1; `mark_id` makes the ids.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from corpusreg.analysis import Analysis
from corpusreg.pictures.findings import bars as bar_boxes
from corpusreg.pictures.findings import events, mark_id, shifts, stays
from corpusreg.pictures.ground import LANE, ground, ruler, sections, weights
from corpusreg.pictures.look import GAP, SIZES
from corpusreg.pictures.map_key import key, map_key
from corpusreg.pictures.svg import Markup, Picture, document, element, label
from corpusreg.pictures.view import Axes, MapView, axes_of, heaviest, systems
from corpusreg.pitch import note_name
from corpusreg.words.sentences import plain, plural

__all__ = ["WIDTH", "mark_id", "pages", "register_map"]

WIDTH = 920.0
_LEFT, _RIGHT = 58.0, 12.0
_BAR = 20.0  # least width of a bar
_WIDEST_BAR = 56.0
_STEP = (3.4, 7.0)  # least and greatest height of a semitone
_MAP = 230.0  # height of a map where the steps allow it
_OF_PAGE = 4  # systems


@dataclass(frozen=True)
class _Version:
    """One piece on the picture. word: '', or what tells two versions apart."""

    view: MapView
    found: Analysis
    prefix: str
    word: str = ""


def pages(view: MapView, width: float = WIDTH) -> list[tuple[int, int]]:
    """Passages of bars for one picture each, of at most four systems."""
    return systems(0, len(view.whole.played.bars), _OF_PAGE * _most_bars(width))


def register_map(
    view: MapView,
    other: MapView | None = None,
    *,
    prefix: str,
    part: str | None = None,
    bars: tuple[int, int] | None = None,
    width: float = WIDTH,
    heading: bool = True,
) -> Picture:
    """The map of a piece, of one of its parts, or of two versions on the same axes.

    prefix: begins every id; letters, digits and hyphens. part: name of a part, None for
    the whole. bars: played bars, half-open, None for all. heading: whether the title
    stands above. Raises KeyError for a part that does not sound.
    """
    versions = [_Version(view, view.analysis(part), prefix)]
    if other is not None:
        versions = [
            _Version(view, view.analysis(part), prefix, "first"),
            _Version(other, other.analysis(part), f"{prefix}-b", "second"),
        ]
    every = [version.found for version in versions]
    first, last = bars or (0, max(len(each.played.bars) for each in every))
    title = _title(versions, part)
    drawn, y = [], GAP
    if heading:
        y += SIZES["title"]
        drawn.append(label(title, GAP, y, SIZES["title"]))
        y += GAP
    for a, b in systems(first, last, _most_bars(width)):
        for version in versions:
            b_own = min(b, len(version.found.played.bars))
            if a < b_own:
                axes = _axes(every, (a, b_own), (first, last), y, width)
                block, y = _system(version, axes, heaviest(every))
                drawn.append(block)
    signs, y = key(map_key(every), y + GAP, width)
    return document(
        [*drawn, signs],
        size=(width, y + GAP),
        prefix=prefix,
        title=title,
        description=" ".join(_description(version, part) for version in versions),
    )


def _most_bars(width: float) -> int:
    return max(int((width - _LEFT - _RIGHT) / _BAR), 1)


def _title(versions: Sequence[_Version], part: str | None) -> str:
    names = list(dict.fromkeys(plain(version.view.title) for version in versions))
    return " / ".join(names) + (f": {plain(part)}" if part else "")


def _description(version: _Version, part: str | None) -> str:
    found = version.found
    return (
        f"Register map of {f'the part {plain(part)}' if part else 'the whole'}: "
        f"{plural(len(found.played.bars), 'bar')} as played, "
        f"{note_name(found.lowest)} to {note_name(found.highest)}, "
        f"{plural(len(found.stays), 'stay')}, {plural(len(found.shifts), 'shift')}, "
        f"{plural(len(found.events), 'event')}."
    )


def _axes(
    every: Sequence[Analysis],
    bars: tuple[int, int],
    all_bars: tuple[int, int],
    y: float,
    width: float,
) -> Axes:
    """Axes of the system that begins at y; bars are as wide in every system."""
    low, high = axes_of(every)
    a, b = systems(*all_bars, _most_bars(width))[0]
    return Axes(
        first=bars[0],
        last=bars[1],
        left=_LEFT,
        top=y + LANE + GAP / 2,
        bar=min((width - _LEFT - _RIGHT) / (b - a), _WIDEST_BAR),
        low=low,
        high=high,
        step=min(max(_MAP / (high - low + 1), _STEP[0]), _STEP[1]),
    )


def _system(version: _Version, axes: Axes, top: float) -> tuple[Markup, float]:
    """One system of one version, and the y below it."""
    found, prefix = version.found, version.prefix
    numbers, below = ruler(found, axes)
    y = axes.foot + below
    told = list(shifts(found, axes, prefix))
    happened, rows = events(found, axes, prefix, y)
    drawn = [
        ground(axes),
        *weights(found, axes, top),
        sections(found, axes),
        *stays(found, axes, prefix),
        *told,
        numbers,
        *happened,
        *bar_boxes(found, axes, prefix),
    ]
    if told:
        drawn.append(label("shifts", GAP, axes.top - GAP, SIZES["small"], "quiet"))
    if rows:
        drawn.append(label("events", GAP, y + 0.7 * LANE, SIZES["small"], "quiet"))
    if version.word:
        drawn.append(label(version.word, GAP, axes.top + GAP, SIZES["small"]))
    return element("g", *drawn, class_="system"), y + rows * LANE + 1.5 * GAP
