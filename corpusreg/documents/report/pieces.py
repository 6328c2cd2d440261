"""Small things that several sections of the page have: places, pictures, words explained."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from corpusreg.documents.report.html import Html, tag, together
from corpusreg.documents.report.model import Picture, Place, Term
from corpusreg.documents.report.slots import Slot

__all__ = ["SECTIONS", "explained", "figure", "items", "link", "links", "section"]

# Ids and titles in the order of reading, for the list of contents.
SECTIONS = (
    ("drafts", "What changed since the earlier draft"),
    ("out", "What stands out"),
    ("map", "The register map"),
    ("measures", "Every measure"),
    ("passages", "Passages to look at"),
    ("offers", "What to try"),
    ("works", "Works to study"),
    ("parts", "Parts and instruments"),
    ("assumed", "What was assumed"),
    ("origin", "How the numbers were made"),
)
_TITLES = dict(SECTIONS)


def section(work: str, name: str, level: int, *children: str) -> Html:
    """One of SECTIONS with its heading; `name` ends its id."""
    heading = tag(f"h{level}", _TITLES[name], id=f"{work}-{name}-title")
    # Where there are several works, sections of one name are told apart by the work's.
    names = f"{work}-{name}-title" if level == 2 else f"{work}-title {work}-{name}-title"
    return tag("section", heading, *children, id=f"{work}-{name}", aria_labelledby=names)


def link(work: str, place: Place, mark: str = "", words: str = "") -> Html:
    """A place that jumps to the map. mark: what is lit there, as in 'shift-2'."""
    return tag(
        "a",
        words or place.words,
        href=f"#{work}-map",
        class_="place",
        data_first=place.first,
        data_last=place.last,
        data_words=place.words,
        data_mark=mark or None,
    )


def links(work: str, places: Sequence[Place]) -> Html:
    """Places as people list them: 'bar 5, bars 9 to 12 and bar 15'."""
    made: list[str] = []
    for index, place in enumerate(places):
        if index:
            made.append(" and " if index == len(places) - 1 else ", ")
        made.append(link(work, place))
    return together(made)


def explained(terms: Sequence[Term]) -> Html:
    """Words that are met here first, each in one line."""
    if not terms:
        return Html("")
    rows = [tag("div", tag("dt", term.word), tag("dd", term.meaning)) for term in terms]
    return tag("dl", *rows, class_="terms", aria_label="Words used here")


def figure(picture: Picture, slot: Slot | None, *more: str, caption: bool = True) -> Html:
    """The pictures of a slot with their caption; nothing where the slot is empty."""
    if slot is None:
        return Html("")
    drawn = [tag("div", *map(Html, slot.pictures), class_="wide" if slot.narrow else "drawn")]
    if slot.narrow:
        drawn.append(tag("div", *map(Html, slot.narrow), class_="slim"))
    under = [tag("figcaption", picture.caption)] if caption and picture.caption else []
    return tag("figure", *drawn, *more, *under)


def items(texts: Iterable[str], class_: str = "") -> Html:
    """A plain list; nothing where it is empty."""
    made = [tag("li", text) for text in texts]
    return tag("ul", *made, class_=class_ or None) if made else Html("")
