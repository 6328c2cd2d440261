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

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from corpusreg.documents.pictures.look import GAP, SIZES, STROKES, paint
from corpusreg.documents.pictures.marks import (
    event_sign,
    key,
    kind_of_shift,
    map_key,
    shift_sign,
)
from corpusreg.documents.pictures.svg import (
    Markup,
    Picture,
    boxes,
    document,
    element,
    label,
    lines,
    moved,
    number,
    text_width,
    wrapped,
)
from corpusreg.documents.pictures.view import (
    NARROW,
    Axes,
    MapView,
    axes_of,
    cells,
    edge_rows,
    heaviest,
    systems,
)
from corpusreg.measures.analysis import Analysis
from corpusreg.measures.events import Event
from corpusreg.measures.shifts import Shift
from corpusreg.measures.stays import Stay
from corpusreg.score.pitch import note_name
from corpusreg.score.played import time_words
from corpusreg.system.phrases import plural
from corpusreg.system.plaintext import plain
from corpusreg.text.wording import bar_range, register

__all__ = ["edges_map", "pages", "register_map", "stills"]

LANE = 15.0  # height of a row of signs
_STAVES = (43, 47, 50, 53, 57, 64, 67, 71, 74, 77)  # lines of bass and treble staff


def ground(axes: Axes) -> Markup:
    """Barlines, the lines of both staves, and broken lines with names at the Cs."""
    right, half = axes.left + axes.width, axes.step / 2
    bars = [(axes.x(bar), axes.top, axes.x(bar), axes.foot) for bar in axes.edges]
    rows = range(axes.low, axes.high + 1)
    level = {pitch: axes.y(pitch) + half for pitch in rows}
    staves = [(axes.left, level[p], right, level[p]) for p in _STAVES if p in level]
    octaves = [pitch for pitch in rows if pitch % 12 == 0]
    ledger = [(axes.left, level[p], right, level[p]) for p in octaves]
    size = SIZES["small"]
    names = (
        label(note_name(p), axes.left - GAP / 2, level[p] + size / 3, size, text_anchor="end")
        for p in octaves
    )
    return element(
        "g",
        lines(bars, "faint"),
        lines(staves, "line", "hair"),
        lines(ledger, "line", stroke_dasharray="5 3"),
        *names,
        class_="ground",
    )


def weights(found: Analysis, axes: Axes, top: float) -> Iterator[Markup]:
    """What sounds, one path for each level of weight; `top` is drawn darkest."""
    for level, several in sorted(cells(found, axes, top).items()):
        yield boxes(several, f"weight{level}")


def sections(found: Analysis, axes: Axes) -> Markup:
    """A double barline where a section begins."""
    begins = np.flatnonzero(found.played.bars.section[axes.first : axes.last]) + axes.first
    double = [
        (x, axes.top, x, axes.foot)
        for bar in begins.tolist()
        if bar > 0
        for x in (axes.x(bar) - 1.6, axes.x(bar) + 1.6)
    ]
    return lines(double, "rule", "hair")


def ruler(found: Analysis, axes: Axes) -> tuple[Markup, float]:
    """Printed bar numbers below the map, brackets over what is heard again; and its height."""
    bars, size = found.played.bars, SIZES["small"]
    y, free = axes.foot + size + 2, 0.0
    drawn: list[Markup] = []
    for bar in range(axes.first, axes.last):
        printed = bars.printed[bar]
        jump = bar == axes.first or int(bars.written[bar]) != int(bars.written[bar - 1]) + 1
        fifth = printed.isdigit() and int(printed) % 5 == 0
        x = axes.x(bar) + 2
        if (jump or fifth) and (x >= free or bar == axes.first):
            drawn.append(label(printed, x, y, size))
            free = x + 1.2 * text_width(printed, size) + 4
    height = size + GAP
    again = list(_again(found, axes, axes.foot + height + 2))
    return element("g", *drawn, *again), height + (LANE if again else 0)


def _again(found: Analysis, axes: Axes, y: float) -> Iterator[Markup]:
    """Brackets with '2nd time' where bars are heard again."""
    bars = found.played.bars
    times = bars.time[axes.first : axes.last]
    for a, b in pairwise([0, *(np.flatnonzero(np.diff(times)) + 1).tolist(), len(times)]):
        if times[a] > 1:
            words = time_words(int(times[a]))
            x, end = axes.x(axes.first + a) + 2, axes.x(axes.first + b) - 2
            bracket = f"M{number(x)} {number(y + 10)}V{number(y)}H{number(end)}"
            yield element("path", d=bracket, **paint("rule", width="thin"))
            if end - x > text_width(words, SIZES["small"]) + 6:
                yield label(words, x + 3, y + 10, SIZES["small"])


_STRONG = 3  # stays by rank whose outline is strong
# Shifts, and events of one kind, where bars are too narrow for all of them.
_MOST, _OF_KIND = 16, 2
_OVERVIEW = 8  # and stays by rank


def mark_id(prefix: str, kind: str, count: int) -> str:
    """Id of a mark. kind: 'stay', 'shift' or 'event' (count from 1) or 'bar' (from 0)."""
    return f"{prefix}-{kind}-{count}"


def stays(found: Analysis, axes: Axes, prefix: str) -> Iterator[Markup]:
    """Outlined bands, the first ranks stronger, with their rank in a corner.

    Only the main stays are boxed and numbered; the others are a thin line.
    """
    for rank, index in reversed(list(enumerate(found.ranking, start=1))):
        stay = found.stays[index]
        told = rank <= found.main
        if stay.last <= axes.first or stay.first >= axes.last:
            continue
        if axes.bar < NARROW and rank > _OVERVIEW:
            continue
        numbered = told and (axes.bar >= NARROW or rank <= _STRONG)
        width = ("strong" if rank <= _STRONG else "thin") if told else "hair"
        x, y, _, _ = axes.box(stay.first, stay.last, stay.low, stay.high)
        outline = _outline(stay, axes, STROKES[width] / 2)
        yield element(
            "g",
            element("path", d=outline, **paint("halo", width=STROKES[width] + 1.2)),
            element("path", d=outline, **paint("outline", width=width)),
            _tag(str(rank), x, y, strong=rank <= _STRONG) if numbered else Markup(),
            id=mark_id(prefix, "stay", rank) if stay.first >= axes.first else None,
            class_="stay",
            data_stay=str(rank),
            data_first=str(stay.first),
            data_last=str(stay.last),
        )


def _outline(stay: Stay, axes: Axes, inset: float) -> str:
    """The border of a stay, open where it goes on in another system."""
    x, y, width, height = axes.box(stay.first, stay.last, stay.low, stay.high)
    before, after = stay.first < axes.first, stay.last > axes.last
    left = x if before else x + 1 + inset
    right = x + width if after else x + width - 1 - inset
    top, foot = y - inset, y + height + inset
    if before and after:
        return "".join(f"M{number(left)} {number(y)}H{number(right)}" for y in (top, foot))
    if after:
        return f"M{number(right)} {number(foot)}H{number(left)}V{number(top)}H{number(right)}"
    end = "" if before else "z"
    return f"M{number(left)} {number(top)}H{number(right)}V{number(foot)}H{number(left)}{end}"


def _tag(text: str, x: float, y: float, *, strong: bool) -> Markup:
    """A number in a small box on the upper left corner of a stay."""
    size = SIZES["small"]
    wide = text_width(text, size) + 5
    ground, ink = ("mark", "onmark") if strong else ("paper", "mark")
    box = {"x": x + 1, "y": y - size - 1, "width": wide, "height": size + 2}
    return element(
        "g",
        element("rect", **box, **paint(ground, "outline", width="thin")),
        label(text, x + 1 + wide / 2, y - 1.6, size, ink, text_anchor="middle"),
    )


def shifts(
    found: Analysis, axes: Axes, prefix: str, y: float, *, numbered: bool = True
) -> tuple[list[Markup], int]:
    """Signs at the barline where the new register begins, in rows from y down."""
    told = [
        (axes.x(shift.bar), count, shift)
        for count, shift in _clearest(enumerate(found.shifts, start=1), axes)
        if axes.first <= shift.bar < axes.last
    ]
    rows = _rows([(x, str(count) if numbered else "") for x, count, _ in told])
    drawn = [
        element(
            "g",
            moved(shift_sign(kind_of_shift(shift), shift.direction), x, y + (row + 0.5) * LANE),
            *_count(count, x + 5.5, y + (row + 0.5) * LANE, numbered=numbered),
            id=mark_id(prefix, "shift", count),
            class_="shift",
            data_shift=str(count),
            data_kind=kind_of_shift(shift),
            data_index=str(shift.bar),
            data_bar=found.played.bars.labels[shift.bar],
        )
        for (x, count, shift), row in zip(told, rows, strict=True)
    ]
    return drawn, max(rows, default=-1) + 1


def events(
    found: Analysis, axes: Axes, prefix: str, y: float, *, numbered: bool = True
) -> tuple[list[Markup], int]:
    """Signs at the beat where something happens, in rows from y down."""
    told = [
        (axes.x(event.bar + _place(found, event)) + 5, count, event)
        for count, event in _strongest(enumerate(found.events, start=1), axes)
        # Shifts have signs of their own.
        if event.kind != "shift" and axes.first <= event.bar < axes.last
    ]
    rows = _rows([(x, str(count) if numbered else "") for x, count, _ in told])
    drawn = [
        element(
            "g",
            moved(event_sign(event.kind), x, y + (row + 0.5) * LANE),
            *_count(count, x + 6, y + (row + 0.5) * LANE, numbered=numbered),
            id=mark_id(prefix, "event", count),
            class_="event",
            data_event=str(count),
            data_kind=event.kind,
            data_index=str(event.bar),
            data_bar=found.played.bars.labels[event.bar],
        )
        for (x, count, event), row in zip(told, rows, strict=True)
    ]
    return drawn, max(rows, default=-1) + 1


def _clearest(every: Iterable[tuple[int, Shift]], axes: Axes) -> list[tuple[int, Shift]]:
    """All shifts; where bars are too narrow for their signs, those that move most."""
    if axes.bar >= NARROW:
        return list(every)
    clearest = sorted(every, key=lambda each: -each[1].mass)[:_MOST]
    return sorted(clearest, key=lambda each: each[0])


def _strongest(every: Iterable[tuple[int, Event]], axes: Axes) -> list[tuple[int, Event]]:
    """All events; where bars are too narrow for their signs, the strongest of each kind."""
    if axes.bar >= NARROW:
        return list(every)
    of_kind: dict[str, int] = {}
    found = []
    for count, event in sorted(every, key=lambda each: -each[1].strength):
        of_kind[event.kind] = of_kind.get(event.kind, 0) + 1
        if of_kind[event.kind] <= _OF_KIND:
            found.append((count, event))
    return sorted(found, key=lambda each: each[0])


def _count(count: int, x: float, y: float, *, numbered: bool) -> list[Markup]:
    return [label(str(count), x, y + 3, SIZES["small"])] if numbered else []


def _rows(signs: Sequence[tuple[float, str]]) -> list[int]:
    """The row of each sign (x and what stands beside it), so that none covers another."""
    free: list[float] = []
    rows = []
    for x, beside in signs:
        row = next((r for r, end in enumerate(free) if end <= x - 5), len(free))
        free[row : row + 1] = [x + 7 + text_width(beside, SIZES["small"])]
        rows.append(row)
    return rows


def _place(found: Analysis, event: Event) -> float:
    """How far into its bar an event begins, 0 to 1."""
    every = found.played.bars
    ticks = (event.beat - 1) * float(every.beat[event.bar])
    return min(max(ticks / max(float(every.length[event.bar]), 1.0), 0.0), 0.95)


def bar_boxes(found: Analysis, axes: Axes, prefix: str) -> Markup:
    """Transparent boxes that tell a script what sounds in each bar."""
    return element("g", *_bars(found, axes, prefix), fill="none", pointer_events="all")


def _bars(found: Analysis, axes: Axes, prefix: str) -> Iterator[Markup]:
    rank = {index: place for place, index in enumerate(found.ranking, start=1)}
    stay_of = {
        bar: str(rank[index])
        for index, stay in enumerate(found.stays)
        for bar in range(stay.first, stay.last)
    }
    for bar in range(axes.first, axes.last):
        sounding = np.flatnonzero(found.texture.bars[bar]).tolist()
        yield element(
            "rect",
            x=axes.x(bar),
            y=axes.top,
            width=axes.bar,
            height=axes.height,
            id=mark_id(prefix, "bar", bar),
            class_="bar",
            data_index=str(bar),
            data_bar=found.played.bars.labels[bar],
            data_notes=" ".join(note_name(pitch, found.played.spelling) for pitch in sounding),
            data_stay=stay_of.get(bar),
        )


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
    def analysis(self) -> Analysis:
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


def edges_map(
    low: Sequence[int],
    high: Sequence[int],
    bars: tuple[int, int],
    named: tuple[int, str],
    *,
    prefix: str,
    width: float,
    title: str,
) -> Picture:
    """Where a work sounds in some bars, of which only the edges are known.

    low, high: MIDI numbers by played bar, -1 in silence. bars: played bars, half-open. named:
    the bar whose printed number stands below, and that number.
    """
    first, last = bars
    sounding = [bar for bar in range(first, last) if low[bar] >= 0]
    span = edge_rows(min(low[b] for b in sounding), max(high[b] for b in sounding))
    step = min(max(_MAP / (span[1] - span[0] + 1), _STEP[0]), _STEP[1])
    wide = min((width - _LEFT - _RIGHT) / (last - first), _WIDEST_BAR)
    axes = Axes(first, last, _LEFT, GAP, wide, *span, step)
    at, name = named
    drawn = [
        ground(axes),
        boxes((axes.box(bar, bar + 1, low[bar], high[bar]) for bar in sounding), "weight2"),
        label(name, axes.x(at) + 2, axes.foot + SIZES["small"] + 2, SIZES["small"]),
    ]
    return document(
        drawn,
        size=(width, axes.foot + SIZES["small"] + GAP),
        prefix=prefix,
        title=f"{title}, around bar {name}",
        description=f"Lowest and highest notes bar by bar, {last - first} bars.",
    )


def stills(view: MapView, other: MapView | None = None, *, prefix: str) -> list[Picture]:
    """Pictures for a projector, of the shape 16:9, one system of each version on each.

    Ids begin with the prefix and the number of the still: 'p-1', 'p-2'.
    """
    found = []
    passages = systems(0, _length(_versions(view, other, prefix)), _most_bars(_WIDE))
    for still, passage in enumerate(passages, start=1):
        name = f"{prefix}-{still}"
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
    return max(len(version.analysis.played.bars) for version in versions)


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
            (version, a, min(b, len(version.analysis.played.bars)))
            for a, b in systems(*self.passage, self.most)
            for version in self.versions
            if a < len(version.analysis.played.bars)
        ]

    @property
    def bar(self) -> float:
        """Width of a bar, the same in all systems."""
        a, b = systems(*self.passage, self.most)[0]
        return min((self.width - _LEFT - _RIGHT) / (b - a), _WIDEST_BAR)


def _fitted(sheet: _Sheet, height: float | None) -> tuple[list[Markup], float]:
    """Everything on a picture, stretched to a height where it can be, and its height."""
    low, high = axes_of([version.analysis for version in sheet.versions])
    step = min(max(_MAP / (high - low + 1), _STEP[0]), _STEP[1])
    drawn, needed = _drawn(sheet, step)
    if height is None:
        return drawn, needed
    rows = (high - low + 1) * len(sheet.systems)
    drawn, needed = _drawn(sheet, max(step + (height - needed) / rows, _LEAST_STEP))
    return drawn, max(needed, height)


def _drawn(sheet: _Sheet, step: float) -> tuple[list[Markup], float]:
    """Everything on a picture, and the height it needs."""
    every = [version.analysis for version in sheet.versions]
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
    longest = max((each.analysis.played.bars for each in versions), key=len)
    if passage == (0, len(longest)):
        return title
    return f"{title}, {bar_range(longest, *passage)}"


def _description(version: _Version) -> str:
    found = version.analysis
    return (
        "Register map: "
        f"{plural(len(found.played.bars), 'bar')} as played, "
        f"{register(found.lowest, found.highest, found.played.spelling)}, "
        f"{plural(len(found.stays), 'stay')}, {plural(len(found.shifts), 'shift')}, "
        f"{plural(len(found.events), 'event')}."
    )


def _system(
    version: _Version, axes: Axes, top: float, *, numbered: bool
) -> tuple[Markup, float]:
    """One system of one version whose signs begin at `axes.top`, and the y below it."""
    found, prefix, y = version.analysis, version.prefix, axes.top
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
