"""What is found, on a register map: stays, shifts, events, and bars that a script can ask.

Ids and data-* attributes are those that `register_map` describes.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from corpusreg.analysis import Analysis
from corpusreg.measures.events import Event
from corpusreg.pictures.ground import LANE
from corpusreg.pictures.look import GAP, SIZES, STROKES, paint
from corpusreg.pictures.marks import event_sign, kind_of_shift, shift_sign
from corpusreg.pictures.svg import Markup, element, label, line, moved, text_width
from corpusreg.pictures.view import Axes
from corpusreg.pitch import note_name

__all__ = ["bars", "events", "mark_id", "shifts", "stays"]

_STRONG = 3  # stays by rank whose outline is strong


def mark_id(prefix: str, kind: str, number: int) -> str:
    """Id of a mark. kind: 'stay', 'shift' or 'event' (number from 1) or 'bar' (from 0)."""
    return f"{prefix}-{kind}-{number}"


def stays(found: Analysis, axes: Axes, prefix: str) -> Iterator[Markup]:
    """Outlined bands, the first ranks stronger, each with its rank in its corner."""
    for rank, index in reversed(list(enumerate(found.ranking, start=1))):
        stay = found.stays[index]
        if stay.last <= axes.first or stay.first >= axes.last:
            continue
        x, y, width, height = axes.box(stay.first, stay.last, stay.low, stay.high)
        strong = rank <= _STRONG
        stroke = STROKES["strong" if strong else "thin"]
        outline = {
            "x": x + 1 + stroke / 2,
            "y": y - stroke / 2,
            "width": max(width - 2 - stroke, 1.0),
            "height": height + stroke,
            "rx": 2.0,
        }
        yield element(
            "g",
            element("rect", **outline, **paint("halo", width=stroke + 1.2)),
            element("rect", **outline, **paint("outline", width=stroke)),
            _tag(str(rank), x, y, strong=strong),
            id=mark_id(prefix, "stay", rank) if stay.first >= axes.first else None,
            class_="stay",
            data_stay=str(rank),
            data_first=str(stay.first),
            data_last=str(stay.last),
        )


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


def shifts(found: Analysis, axes: Axes, prefix: str) -> Iterator[Markup]:
    """Signs above the map at the barline where the new register begins, numbered."""
    y = axes.top - GAP - 2
    for count, shift in enumerate(found.shifts, start=1):
        if axes.first <= shift.bar < axes.last:
            x = axes.x(shift.bar)
            kind = kind_of_shift(shift)
            yield element(
                "g",
                line(x, axes.top - GAP / 2, x, axes.top + GAP / 2, "rule", "firm"),
                moved(shift_sign(kind, shift.direction), x, y),
                label(str(count), x + 5.5, y + 3, SIZES["small"]),
                id=mark_id(prefix, "shift", count),
                class_="shift",
                data_shift=str(count),
                data_kind=kind,
                data_index=str(shift.bar),
                data_bar=found.played.bars.labels[shift.bar],
            )


def events(found: Analysis, axes: Axes, prefix: str, y: float) -> tuple[list[Markup], int]:
    """Signs in rows from y down, so that none lies over another, and how many rows."""
    free: list[float] = []
    drawn = []
    for count, event in enumerate(found.events, start=1):
        if axes.first <= event.first < axes.last:
            x = axes.x(event.first + _place(found, event)) + 5
            row = next((r for r, end in enumerate(free) if end <= x - 5), len(free))
            free[row : row + 1] = [x + 8 + text_width(str(count), SIZES["small"])]
            sign = _event(found, event, count, prefix)
            drawn.append(moved(sign, x, y + (row + 0.5) * LANE))
    return drawn, len(free)


def _place(found: Analysis, event: Event) -> float:
    """How far into its bar an event begins, 0 to 1."""
    every = found.played.bars
    ticks = (event.beat - 1) * float(every.beat[event.first])
    return min(max(ticks / max(float(every.length[event.first]), 1.0), 0.0), 0.95)


def _event(found: Analysis, event: Event, count: int, prefix: str) -> Markup:
    return element(
        "g",
        event_sign(event.kind),
        label(str(count), 6, 3, SIZES["small"]),
        id=mark_id(prefix, "event", count),
        class_="event",
        data_event=str(count),
        data_kind=event.kind,
        data_index=str(event.first),
        data_bar=found.played.bars.labels[event.first],
    )


def bars(found: Analysis, axes: Axes, prefix: str) -> Iterator[Markup]:
    """Transparent boxes that tell a script what sounds in each bar."""
    rank = {index: number for number, index in enumerate(found.ranking, start=1)}
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
            fill="none",
            pointer_events="all",
            id=mark_id(prefix, "bar", bar),
            class_="bar",
            data_index=str(bar),
            data_bar=found.played.bars.labels[bar],
            data_notes=" ".join(note_name(pitch) for pitch in sounding),
            data_stay=stay_of.get(bar),
        )
