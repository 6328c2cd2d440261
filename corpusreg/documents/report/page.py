"""The page: one self-contained HTML file that opens from disk and prints well.

Nothing is fetched: the page's own policy forbids it, and allows the one script and the one
style that are written here by their hashes. Every text of a score is escaped.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import asdict, astuple, dataclass

from corpusreg.documents.engraving import glyph_sheet
from corpusreg.documents.pictures import look
from corpusreg.documents.report import closing, sections
from corpusreg.documents.report.drafts_section import drafts
from corpusreg.documents.report.html import Html, asset, document, json_text, tag
from corpusreg.documents.report.model import Content
from corpusreg.documents.report.pieces import SECTIONS, explained
from corpusreg.documents.report.slots import Notation, Slot
from corpusreg.documents.report.sound import BEAT, Sound

__all__ = ["Work", "page"]

_COLOUR = re.compile(r' (?:fill|stroke)="#[0-9a-f]{6}"')


@dataclass(frozen=True)
class Work:
    """One work, with all that its part of the page holds. slots, notation: by slot."""

    content: Content
    slots: dict[str, Slot]
    notation: dict[str, Notation]
    sound: Sound


def page(
    works: Sequence[Work], failures: Sequence[str] = (), *, paper: str | None = None
) -> str:
    """The whole page. works: at least one. failures: one line each, told at the end.

    paper: 'a4' or 'letter' when it is printed, None to leave that to the printer.
    """
    single = len(works) == 1
    title = works[0].content.title if single else f"{len(works)} pieces"
    glyphs = glyph_sheet(
        run for work in works for each in work.notation.values() for run in each.drawn
    )
    children = [
        tag("a", "Skip to the content", href="#content", class_="skip"),
        Html(glyphs),
        _banner(works),
        _contents(works),
        tag(
            "main",
            *(_work(work, f"w{number}", single) for number, work in enumerate(works, 1)),
            *_failed(failures),
            id="content",
        ),
        _foot(works[0].content),
    ]
    size = f"\n@page {{ size: {paper}; }}" if paper else ""
    return document(
        f"{title}: how it uses register",
        children,
        style=f"{look.css()}\n{asset('page.css')}{size}",
        script=asset("page.js"),
    )


def _banner(works: Sequence[Work]) -> Html:
    """The one h1: the title of the work, or how many there are."""
    if len(works) == 1:
        return tag("header", tag("h1", works[0].content.title), _facts(works[0].content))
    return tag("header", tag("h1", f"{len(works)} pieces, and how they use register"))


def _facts(content: Content) -> Html:
    return tag("p", " · ".join(content.facts), class_="facts")


def _contents(works: Sequence[Work]) -> Html:
    if len(works) == 1:
        links = [
            tag("a", title, href=f"#w1-{name}")
            for name, title in SECTIONS
            if name != "drafts" or works[0].content.drafted
        ]
    else:
        links = [
            tag("a", work.content.title, href=f"#w{number}")
            for number, work in enumerate(works, start=1)
        ]
    rows = tag("ul", *(tag("li", link) for link in links))
    return tag("nav", rows, aria_label="Contents")


def _work(work: Work, name: str, single: bool) -> Html:
    content, level = work.content, 2 if single else 3
    slots = {slot: _uncoloured(found) for slot, found in work.slots.items()}
    data = asdict(work.sound) | {
        "stays": [[stay.first, stay.last, stay.words] for stay in content.marks.ranked]
    }
    heading = [] if single else [tag("h2", content.title, id=f"{name}-title"), _facts(content)]
    return tag(
        "article",
        *heading,
        tag("p", content.compared, class_="compared"),
        *(tag("p", each) for each in content.disagreements),
        explained(content.terms),
        drafts(content, name, level, slots),
        sections.findings(content, name, level),
        sections.map_section(content, name, level, slots),
        sections.measures(content, name, level, slots),
        sections.passages(content, name, level, work.notation),
        closing.offers(content, name, level),
        closing.works(content, name, level, slots, work.notation),
        closing.parts(content, name, level, slots),
        closing.assumed(content, name, level, _tempo(work.sound)),
        closing.origin(content, name, level),
        tag("script", json_text(data), type="application/json", class_="sound"),
        id=name,
        data_work=name,
    )


def _uncoloured(slot: Slot) -> Slot:
    """Pictures without colours of their own: the style has a rule for each class of them."""
    return Slot(*(tuple(_COLOUR.sub("", svg) for svg in each) for each in astuple(slot)))


def _tempo(sound: Sound) -> str:
    """What is said of the tempo of passages that are heard."""
    if sound.tempo_known:
        return ""
    return f"No tempo is written: passages are played at {60 / BEAT:.0f} beats a minute."


def _failed(failures: Sequence[str]) -> list[Html]:
    if not failures:
        return []
    rows = tag("ul", *(tag("li", failure) for failure in failures))
    return [tag("section", tag("h2", "Not in this page", id="failed"), rows,
                aria_labelledby="failed")]  # fmt: skip


def _foot(content: Content) -> Html:
    return tag(
        "footer",
        tag(
            "p",
            "Made with corpusreg from the score alone. It describes and offers; it gives no "
            "marks, and neither end of a measure is better.",
        ),
    )
