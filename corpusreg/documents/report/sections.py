"""The sections of a page that speak of the music, in the order of reading."""

from __future__ import annotations

from collections.abc import Mapping

from corpusreg.documents.report.html import Html, tag, together
from corpusreg.documents.report.model import (
    Content,
    Finding,
    Mark,
    Measured,
    Passage,
    Picture,
    Place,
)
from corpusreg.documents.report.pieces import explained, figure, link, links, section
from corpusreg.documents.report.slots import Notation, Slot
from corpusreg.system.phrases import capital
from corpusreg.text.bars import joined
from corpusreg.text.sentences import plural

__all__ = ["findings", "map_section", "measures", "passages"]

_HALF = 90.0  # mm of notation that stand beside another passage
_MARKS = {"stay": "Stay", "shift": "Shift", "event": "Event"}


def findings(content: Content, work: str, level: int) -> Html:
    """What stands out, or that nothing does."""
    told = content.findings
    found = [_finding(each, work) for each in told.found]
    return section(
        work,
        "out",
        level,
        *([tag("p", told.nothing, class_="nothing")] if told.nothing else []),
        *([tag("ol", *found, class_="findings")] if found else []),
        *(tag("p", caution, class_="caution") for caution in told.cautions),
        explained(told.terms),
    )


def _finding(each: Finding, work: str) -> Html:
    said = [tag("strong", f"{each.lead}."), " ", each.said]
    if each.likewise:
        said.append(f" Likewise {joined(each.likewise)}.")
    lines = [tag("p", *said)]
    if each.meaning:
        title = each.lead.partition(",")[0]
        lines.append(tag("p", f"{title}: {each.meaning}.", class_="meaning"))
    if each.places:
        where = links(work, each.places)
        lines.append(tag("p", "Listen for it in ", where, ".", class_="listen"))
    return tag("li", *lines, class_="finding", data_finding=each.name)


def map_section(content: Content, work: str, level: int, slots: Mapping[str, Slot]) -> Html:
    """The map with what is marked in it."""
    marks = content.marks
    told = [_stays(content, work), _changes(content, work)]
    if marks.hollow:
        where = links(work, marks.hollow)
        told.append(tag("p", "Hollow longest in ", where, ".", class_="hollow"))
    return section(
        work,
        "map",
        level,
        _figure_with_tools(content, work, slots),
        explained(marks.terms),
        *told,
        *(tag("p", remark) for remark in marks.remarks),
    )


def _figure_with_tools(content: Content, work: str, slots: Mapping[str, Slot]) -> Html:
    slot = slots["map"]
    drawn = tag(
        "div",
        tag("div", *map(Html, slot.pictures), class_="wide" if slot.narrow else "drawn"),
        *([tag("div", *map(Html, slot.narrow), class_="slim")] if slot.narrow else []),
        # What moves along the map on a phone is what the keyboard reaches.
        class_="map" if slot.narrow else "map alone",
        tabindex=0,
        role="application",
        aria_roledescription="register map",
        aria_label=content.marks.picture.alt,
        aria_describedby=f"{work}-keys",
    )
    tools = tag(
        "div",
        tag("p", "Point at a bar, or touch it.", class_="readout", role="status"),
        tag(
            "p",
            tag("button", "Hear the bar", type="button", class_="hear-chosen", disabled=True),
            " ",
            tag("button", "Hear its stay", type="button", class_="hear-stay", disabled=True),
            " ",
            tag("button", "Stop", type="button", class_="stop"),
        ),
        class_="tools",
    )
    keys = tag(
        "p",
        "With keys: left and right go bar by bar, up and down four bars at a time, Home and "
        "End to the ends; Enter plays, Escape stops.",
        id=f"{work}-keys",
        class_="keys",
    )
    caption = tag("figcaption", content.marks.picture.caption)
    return tag("figure", drawn, tools, keys, caption)


def _stays(content: Content, work: str) -> Html:
    marks = content.marks
    title = "Where it stays" + _of(marks.all_stays, len(marks.stays), "most worth saying")
    return tag("div", tag("p", title, class_="lead"), _marked(marks.stays, work))


def _changes(content: Content, work: str) -> Html:
    marks = content.marks
    if not marks.changes:
        return Html("")
    what = [
        plural(marks.all_shifts, "shift") if marks.all_shifts else "",
        plural(marks.all_events, "event") if marks.all_events else "",
    ]
    every = marks.all_shifts + marks.all_events == len(marks.changes)
    of = "" if every else f" (the clearest, of {joined([each for each in what if each])})"
    title = tag("p", f"Where it shifts, and what happens{of}", class_="lead")
    return tag("div", title, _marked(marks.changes, work))


def _of(number: int, told: int, which: str) -> str:
    return f" ({which}, of {number})" if number > told else ""


def _marked(marks: tuple[Mark, ...], work: str) -> Html:
    rows = [
        tag(
            "li",
            link(
                work, each.place, f"{each.kind}-{each.number}",
                f"{_MARKS[each.kind]} {each.number}",
            ),
            f" {each.words}.",
        )
        for each in marks
    ]  # fmt: skip
    return tag("ul", *rows, class_="marks")


def measures(content: Content, work: str, level: int, slots: Mapping[str, Slot]) -> Html:
    """Each measure: what it is, its strip, its value and its place in words."""
    told = content.measures
    rows = [_measure(row, work, slots) for row in told.rows if not row.reason]
    unplaced: dict[str, list[Measured]] = {}
    for row in told.rows:
        if row.reason:
            unplaced.setdefault(row.reason, []).append(row)
    key = figure(Picture("strips-key", "", ""), slots.get("strips-key")) if rows else ""
    return section(
        work,
        "measures",
        level,
        explained(told.terms),
        key,
        *([tag("ul", *rows, class_="strips")] if rows else []),
        *(_unplaced(reason, each) for reason, each in unplaced.items()),
        figure(told.octaves, slots.get("octaves")),
    )


def _measure(row: Measured, work: str, slots: Mapping[str, Slot]) -> Html:
    slot = slots.get(row.picture.slot) if row.picture else None
    strip = together(map(Html, slot.pictures)) if slot else Html("")
    place = tag("span", capital(row.short), class_="short")
    where = [tag("span", links(work, row.places), class_="where")] if row.places else []
    return tag(
        "li",
        tag(
            "div",
            tag("strong", capital(row.title)),
            tag("span", row.meaning, class_="meaning"),
            class_="name",
        ),
        tag("div", strip, class_="strip"),
        tag("div", tag("strong", row.value, class_="value"), place, *where, class_="said"),
        class_="measure out" if row.stands_out else "measure",
        data_measure=row.name,
    )


def _unplaced(reason: str, rows: list[Measured]) -> Html:
    """Measures that have no place, with their values where there are any."""
    lines = [
        tag(
            "li",
            tag("strong", capital(r.title)),
            f" ({r.meaning}): {r.value}",
            data_measure=r.name,
        )
        if r.figure.value is not None
        else tag("li", tag("strong", capital(r.title)), f" ({r.meaning})", data_measure=r.name)
        for r in rows
    ]
    return tag("div", tag("p", f"Not placed: {reason}."), tag("ul", *lines), class_="unplaced")


def passages(content: Content, work: str, level: int, notation: Mapping[str, Notation]) -> Html:
    """The passages in notation, with what they show and a button to hear them."""
    told = content.passages
    shown = [_passage(each, work, notation) for each in told.shown]
    return section(
        work,
        "passages",
        level,
        explained(told.terms),
        tag("div", *shown, class_="shown")
        if shown
        else tag("p", "Nothing here asks to be shown."),
    )


def _passage(each: Passage, work: str, notation: Mapping[str, Notation]) -> Html:
    found = notation.get(each.picture.slot)
    drawn = (
        [tag("div", Html(run.svg), class_="notation") for run in found.drawn] if found else []
    )
    remarks = [capital(remark) for remark in found.remarks] if found else []
    whole = " It goes on after these bars." if each.shortened else ""
    title: list[str] = [link(work, each.place, "", capital(each.place.words))]
    if each.part:
        title.append(f", {each.part} alone")
    return tag(
        "figure",
        tag(
            "figcaption",
            tag("p", *title, " ", _hear(each.place), class_="lead"),
            *(tag("p", f"{capital(why)}.{whole}") for why in each.why[:1]),
            *(tag("p", f"{capital(why)}.") for why in each.why[1:]),
        ),
        *drawn,
        *(tag("p", f"{remark}.", class_="aside") for remark in remarks),
        class_="passage long" if found and _is_long(found) else "passage",
    )


def _is_long(found: Notation) -> bool:
    """Whether the notation wants the whole column."""
    return any(run.width > _HALF for run in found.drawn)


def _hear(place: Place) -> Html:
    return tag(
        "button",
        "Hear it",
        tag("span", f", {place.words}", class_="unseen"),
        type="button",
        class_="hear",
        data_first=place.first,
        data_last=place.last,
    )
