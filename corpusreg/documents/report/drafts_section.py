"""The section of a page that sets two drafts side by side."""

from __future__ import annotations

from collections.abc import Mapping

from corpusreg.documents.report.html import Html, tag
from corpusreg.documents.report.model import Content, DraftLine
from corpusreg.documents.report.pieces import explained, figure, items, link, section
from corpusreg.documents.report.slots import Slot
from corpusreg.system.phrases import capital

__all__ = ["drafts"]


def drafts(content: Content, work: str, level: int, slots: Mapping[str, Slot]) -> Html:
    """Both maps, and what changed with its bars; nothing where there is one draft."""
    told = content.drafted
    if told is None:
        return Html("")
    head = tag("tr", *(tag("th", each, scope="col") for each in _HEAD))
    rows = [
        tag(
            "tr",
            tag("th", capital(row.title), scope="row"),
            *(tag("td", each) for each in (row.before, row.now, row.said)),
        )
        for row in told.rows
    ]
    table = tag("table", tag("thead", head), tag("tbody", *rows), class_="drafts")
    return section(
        work,
        "drafts",
        level,
        tag("p", told.lead),
        _lines("Which bars changed", told.bars, work),
        table if rows else Html(""),
        explained(told.terms),
        figure(told.picture, slots.get("drafts")) if told.picture else Html(""),
        _lines("Stays, shifts and events that are not as before", told.changes, work),
        items(told.remarks),
    )


_HEAD = ("Measure", "Before", "Now", "Change, and the place now")


def _lines(title: str, lines: tuple[DraftLine, ...], work: str) -> Html:
    if not lines:
        return Html("")
    rows = [tag("li", each.words, *_jump(each, work)) for each in lines]
    return tag("div", tag("p", title, class_="lead"), tag("ul", *rows))


def _jump(each: DraftLine, work: str) -> list[str]:
    """A link to the map of the draft as it is now."""
    return [" ", link(work, each.place, words="See the map")] if each.place else []
