"""What is found, on a register map: stays, shifts, events, and bars that a script can ask.

Ids and data-* attributes are those that `register_map` describes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from corpusreg.documents.pictures.ground import LANE
from corpusreg.documents.pictures.look import SIZES, STROKES, paint
from corpusreg.documents.pictures.marks import event_sign, kind_of_shift, shift_sign
from corpusreg.documents.pictures.svg import Markup, element, label, moved, number, text_width
from corpusreg.documents.pictures.view import NARROW, Axes
from corpusreg.measures.analysis import Analysis
from corpusreg.measures.events import Event
from corpusreg.measures.shifts import Shift
from corpusreg.measures.stays import Stay
from corpusreg.score.pitch import note_name

__all__ = ["bars", "events", "mark_id", "shifts", "stays"]

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


def bars(found: Analysis, axes: Axes, prefix: str) -> Markup:
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
            data_notes=" ".join(note_name(pitch) for pitch in sounding),
            data_stay=stay_of.get(bar),
        )
