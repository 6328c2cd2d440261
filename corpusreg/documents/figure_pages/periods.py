"""`periods --report`: the answer about periods as a page or a PDF, pictures first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any

from corpusreg.documents.figure_pages.said import TERMS, Result, Said, Section, said
from corpusreg.documents.figure_pages.shell import figure, page
from corpusreg.documents.report.html import Html, tag
from corpusreg.documents.report.typeset import Sheet, typeset
from corpusreg.norms.periods.chart import Chart
from corpusreg.norms.periods.results import Study
from corpusreg.system.errors import UsageError
from corpusreg.system.phrases import capital
from corpusreg.system.writing import write_files

__all__ = ["check_name", "periods_page", "periods_sheet", "write_periods"]

_ENDINGS = (".html", ".pdf")


def check_name(path: Path) -> None:
    """Raise UsageError for a file name that no report can have."""
    if path.suffix.lower() not in _ENDINGS:
        raise UsageError(f"{path}: a report ends in {' or '.join(_ENDINGS)}; name it so")


def write_periods(
    found: Study, drawn: Sequence[Chart], reference_id: str, path: Path
) -> tuple[str, ...]:
    """Write the report; returns what a reader must know about the file.

    Raises UsageError for an unknown ending, CorpusregError where it cannot be written or a
    library is missing. A file of that name is replaced by a finished one only.
    """
    check_name(path)
    content = said(found, drawn, reference_id)
    if path.suffix.lower() == ".pdf":
        sheet = periods_sheet(content)
        write_files({path: sheet.pdf})
        return sheet.remarks
    write_files({path: periods_page(content).encode("utf-8")})
    return ()


def periods_page(content: Said) -> str:
    """The answer as one HTML page."""
    links = [
        tag("li", tag("a", section.title, href=f"#{section.name}"))
        for section in content.sections
    ]
    body = [
        tag(
            "section",
            tag("h2", "In short"),
            tag("p", content.short),
            *(tag("p", words) for words in content.told),
            _terms(),
        ),
        *map(_section, content.sections),
        tag(
            "section",
            tag("h2", "The periods"),
            _table(content.periods),
            *(tag("p", words) for words in content.remarks),
        ),
        tag("section", tag("h2", "How it was made"), *(tag("p", w) for w in content.made)),
    ]
    header = [tag("p", content.facts, class_="facts")]
    if len(links) > 1:
        header.append(tag("nav", tag("ul", *links), aria_label="Measures"))
    foot = "A description of works that are there, not a judgement: both ends of every scale "
    return page(content.title, header, body, f"{foot}hold music that people love.", "periods")


def periods_sheet(content: Said) -> Sheet:
    """The answer as a PDF."""
    template = files("corpusreg.documents.figure_pages").joinpath("assets", "periods.typ")
    data: dict[str, Any] = {
        "title": content.title,
        "facts": content.facts,
        "short": content.short,
        "told": content.told,
        "terms": TERMS,
        "sections": [
            {
                "title": section.title,
                "meaning": section.meaning,
                "pictures": [
                    {"svg": picture.svg, "alt": picture.description, "caption": caption}
                    for picture, caption in section.pictures
                ],
                "untested": section.untested,
                "results": [
                    {"words": r.words, "repeated": r.repeated, "because": r.because}
                    for r in section.results
                ],
            }
            for section in content.sections
        ],
        "periods": content.periods,
        "remarks": content.remarks,
        "made": content.made,
    }
    return typeset(template.read_text(encoding="utf-8"), data)


def _terms() -> Html:
    pairs = [tag("div", tag("dt", word), tag("dd", meaning)) for word, meaning in TERMS]
    return tag("dl", *pairs, class_="terms")


def _section(section: Section) -> Html:
    return tag(
        "section",
        tag("h2", section.title),
        tag("p", section.meaning, class_="meaning"),
        *(figure(picture, caption) for picture, caption in section.pictures),
        tag("ul", *(tag("li", *_result(result)) for result in section.results)),
        *([tag("p", section.untested)] if section.untested else []),
        id=section.name,
    )


def _result(result: Result) -> Iterator[Html]:
    yield tag("p", result.words)
    if result.repeated:
        yield _table((("repeated with", "value", "result"), *result.repeated))
    for words in result.because:
        yield tag("p", words)


def _table(rows: Sequence[Sequence[str]]) -> Html:
    head, *rest = rows
    return tag(
        "div",
        tag(
            "table",
            tag("thead", tag("tr", *(tag("th", capital(cell), scope="col") for cell in head))),
            tag(
                "tbody",
                *(
                    tag("tr", tag("th", row[0], scope="row"), *(tag("td", c) for c in row[1:]))
                    for row in rest
                ),
            ),
            class_="figures",
        ),
        class_="scroll",
    )
