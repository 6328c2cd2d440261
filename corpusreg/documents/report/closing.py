"""The sections of a page after the music: what to try and study, players, and the numbers."""

from __future__ import annotations

from collections.abc import Mapping

from corpusreg.documents.report.html import Html, tag
from corpusreg.documents.report.model import Content, NearWork, Quoted
from corpusreg.documents.report.pieces import explained, figure, items, links, section
from corpusreg.documents.report.slots import Notation, Slot
from corpusreg.system.phrases import capital

__all__ = ["assumed", "offers", "origin", "parts", "works"]


def offers(content: Content, work: str, level: int) -> Html:
    """What to try."""
    told = content.offers
    rows = []
    for each in told.offers:
        where = [" See ", links(work, each.places), "."] if each.places else []
        rows.append(tag("li", each.text, *where))
    return section(
        work,
        "offers",
        level,
        tag("p", told.introduction),
        *([tag("ul", *rows)] if rows else []),
        explained(told.terms),
    )


def works(
    content: Content,
    work: str,
    level: int,
    slots: Mapping[str, Slot],
    notation: Mapping[str, Notation],
) -> Html:
    """Works that use register alike, works that do the contrary, and passages from works."""
    told = content.works
    found: list[str] = [tag("p", told.introduction)]
    if told.sharing:
        found += [tag("p", "Near to this piece", class_="lead"), _near(told.sharing, "1")]
    if told.contrasting:
        contrary = f"Alike in the rest, but not {told.habit}"
        found += [tag("p", contrary, class_="lead"), _near(told.contrasting, "a")]
    if told.picture:
        found.append(figure(told.picture, slots.get(told.picture.slot)))
    if told.study:
        found.append(tag("p", told.study.habit))
        for title, passages in (
            ("Passages that share it", told.study.sharing),
            ("Passages that do otherwise", told.study.otherwise),
        ):
            if passages:
                rows = [_quoted(each, notation) for each in passages]
                found += [tag("p", title, class_="lead"), tag("ul", *rows, class_="quoted")]
    return section(work, "works", level, *found, explained(told.terms))


def _quoted(each: Quoted, notation: Mapping[str, Notation]) -> Html:
    """A passage from another work, in notation where there is any, with its attribution."""
    shown = notation.get(each.picture.slot) if each.picture else None
    runs, remarks = (shown.drawn, shown.remarks) if shown else ((), ())
    drawn = [tag("div", Html(run.svg), class_="notation") for run in runs]
    return tag(
        "li",
        tag("p", tag("cite", each.title), f" ({each.facts})" if each.facts else ""),
        tag("p", each.words),
        *drawn,
        *(tag("p", capital(remark), class_="aside") for remark in remarks),
    )


def _near(found: tuple[NearWork, ...], first: str) -> Html:
    """Works with the numbers or letters that they have in the picture."""
    rows = [
        tag("li", tag("cite", each.title), f" ({each.composer}): {each.words}.")
        for each in found
    ]
    return tag("ol", *rows, type=first)


def parts(content: Content, work: str, level: int, slots: Mapping[str, Slot]) -> Html:
    """What each part plays and what that asks of its player."""
    told = content.parts
    head = ("Part", "Plays", "The instrument", "What it asks")
    rows = []
    for line in told.lines:
        name: list[str] = [line.name or "the only part"]
        if line.instrument and line.instrument != line.name.lower():
            name.append(tag("span", line.instrument, class_="aside"))
        plays = [line.notes, *(tag("span", staff, class_="aside") for staff in line.staves)]
        rows.append(
            tag(
                "tr",
                tag("th", *name, scope="row"),
                tag("td", *plays),
                tag("td", line.range or "not known"),
                tag("td", line.asks or "–"),
            )
        )
    table = tag(
        "table",
        tag("thead", tag("tr", *(tag("th", each, scope="col") for each in head))),
        tag("tbody", *rows),
    )
    picture = figure(told.picture, slots.get(told.picture.slot)) if told.picture else Html("")
    return section(
        work,
        "parts",
        level,
        explained(told.terms),
        table,
        items(told.remarks),
        picture,
    )


def assumed(content: Content, work: str, level: int, tempo: str) -> Html:
    """What was taken for granted, and what is worth knowing about the answer."""
    taken = [f"{capital(each)}." for each in content.assumed]
    said = [items(taken)] if taken else [tag("p", "Nothing had to be assumed to measure it.")]
    return section(
        work,
        "assumed",
        level,
        *said,
        *([tag("p", tempo, class_="heard")] if tempo else []),
        *([tag("p", "Worth knowing", class_="lead")] if content.notes else []),
        items(content.notes, "notes"),
    )


def origin(content: Content, work: str, level: int) -> Html:
    """Cohort, counts, the exact numbers, versions, and how to follow them up."""
    told = content.origin
    traces = [
        tag("li", f"{trace.question} ", tag("code", trace.command)) for trace in told.traces
    ]
    return section(
        work,
        "origin",
        level,
        explained(told.terms),
        *(tag("p", sentence) for sentence in told.sentences),
        _figures(content),
        tag("p", "To follow a number up:"),
        tag("ul", *traces, class_="traces"),
        tag(
            "p",
            "Made with reference ",
            tag("code", told.reference_id, class_="reference"),
            ", definitions ",
            tag("code", told.definitions, class_="definitions"),
            ", group ",
            tag("code", told.cohort, class_="cohort"),
            ".",
        ),
    )


def _figures(content: Content) -> Html:
    """The numbers exactly as `compare --json` has them."""
    head = ("Measure", "Value", "Middle of these works", "Rank", "Interval")
    rows = [
        tag(
            "tr",
            tag(
                "th",
                capital(row.title),
                tag("span", row.figure.unit, class_="aside"),
                scope="row",
            ),
            tag("td", _number(row.figure.value)),
            tag("td", _number(row.figure.median)),
            tag("td", _number(row.figure.percentile)),
            tag("td", _interval(row.figure.interval)),
            data_figures=row.name,
        )
        for row in content.measures.rows
    ]
    return tag(
        "table",
        tag("caption", "All numbers"),
        tag("thead", tag("tr", *(tag("th", each, scope="col") for each in head))),
        tag("tbody", *rows),
        class_="figures",
    )


def _number(value: float | None) -> str:
    return "–" if value is None else f"{value:.10g}"


def _interval(interval: tuple[float, float] | None) -> str:
    return "–" if interval is None else f"{_number(interval[0])} to {_number(interval[1])}"
