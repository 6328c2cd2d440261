"""Model passages as a page: what is said, the register map, and the notes where that may be.

The map is drawn from the file where it is still the one that was measured. Notation needs
an open licence of the encoding; what is quoted carries its attribution, and where nothing
is quoted the page says why.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from corpusreg.comparison.examples import KINDS, Example, Examples
from corpusreg.corpus.files import BUNDLED, bundled_root
from corpusreg.corpus.registry import own_and_others
from corpusreg.documents.engraving import glyph_sheet
from corpusreg.documents.pictures import look
from corpusreg.documents.quoting import Place, Quotation, quotations
from corpusreg.documents.report.html import Html, asset, document, tag
from corpusreg.measures.definitions import VERSION
from corpusreg.store import Reference
from corpusreg.system.errors import CorpusregError
from corpusreg.system.phrases import capital
from corpusreg.system.writing import write_files

if TYPE_CHECKING:
    from corpusreg.measures.analysis import Analysis
from corpusreg.text.examples import passage_words

__all__ = ["examples_page", "write_examples"]

_AROUND = 8  # bars of the map on each side
_WIDTH = 720.0  # pixels: the text column
_STYLE = """
.credit { font-size: 0.85em; }
.map .bar { cursor: auto; }
"""


def write_examples(found: Examples, reference: Reference, path: Path) -> None:
    """Write a page of passages; an old file is replaced by a finished one only.

    reference: the one that they were found in. Raises CorpusregError where it cannot be
    written.
    """
    folders = own_and_others()[0]
    places = [_place(each) for each in found.found]
    quoted = quotations(reference, places, folders)
    maps = [
        _map(each, folders, f"example-{number}")
        for number, each in enumerate(found.found, start=1)
    ]
    text = examples_page(found, quoted, maps)
    write_files({path: text.encode()})


def examples_page(found: Examples, quoted: Sequence[Quotation], maps: Sequence[str]) -> str:
    """The page as text. maps: one SVG a passage, '' where there is none."""
    kind = KINDS[found.kind]
    sections = [
        _section(number, each, quotation, drawn)
        for number, (each, quotation, drawn) in enumerate(
            zip(found.found, quoted, maps, strict=True), start=1
        )
    ]
    children = [
        Html(glyph_sheet([each.picture for each in quoted if each.picture])),
        tag("header", tag("h1", kind.title), tag("p", f"{capital(kind.shows)}.")),
        tag("main", *sections, id="content"),
        tag(
            "footer",
            tag(
                "p",
                f"The clearest first ({kind.strength}), from different composers and periods "
                f"where there are such. Clear is not better. Reference {found.reference_id}, "
                f"definitions {VERSION}.",
            ),
        ),
    ]
    style = f"{look.css()}\n{asset('page.css')}\n{_STYLE}"
    return document(kind.title, children, style=style)


def _section(number: int, each: Example, quotation: Quotation, drawn: str) -> Html:
    name = f"example-{number}-title"
    facts = ", ".join(filter(None, (each.ensemble, each.period, each.part)))
    own = "Your own score: shown on this computer only." if each.private else ""
    return tag(
        "section",
        tag("h2", f"{each.composer}: {each.title}, {each.bars}", id=name),
        tag("p", f"{passage_words(each)}. ({capital(facts)})"),
        *([tag("p", own)] if own else []),
        *([_map_figure(drawn, each)] if drawn else []),
        *_notation(quotation),
        aria_labelledby=name,
    )  # fmt: skip


def _map_figure(drawn: str, each: Example) -> Html:
    """A map, which keeps its size on a narrow screen and scrolls there."""
    name = f"Register map around {each.bars}"
    map_ = tag(
        "div", Html(drawn), class_="map alone", tabindex=0, role="group", aria_label=name
    )
    return tag("figure", map_, tag("figcaption", "Time across, pitch upward."))


def _notation(quotation: Quotation) -> list[Html]:
    if quotation.picture is None:
        return [tag("p", f"The notes are not shown: {quotation.why}.", class_="credit")]
    remarks = [tag("p", f"{capital(text)}.") for text in quotation.picture.remarks]
    return [
        tag("figure", Html(quotation.picture.svg), class_="notation"),
        *remarks,
        tag("p", quotation.credit, class_="credit"),
    ]


def _place(each: Example) -> Place:
    parts = (int(each.facts["part"]),) if each.facts.get("part") is not None else ()
    return Place(each.work, each.first, each.last, each.bars, parts)


def _map(each: Example, folders: Mapping[str, Path], prefix: str) -> str:
    """The register map of the bars around a passage; '' where the file is not there."""
    from corpusreg.documents.pictures.register_map import register_map
    from corpusreg.documents.pictures.view import MapView
    from corpusreg.system.isolate import bounded

    root = bundled_root() if each.corpus == BUNDLED else folders.get(each.corpus)
    if root is None:
        return ""
    try:
        whole = bounded(_measured, root / each.path, each.number)
    except (CorpusregError, OSError):
        return ""
    written = whole.played.bars.written.tolist()
    given = each.facts.get("played_first")
    at = written.index(each.position) if given is None else int(given)
    bars = max(at - _AROUND, 0), min(at + _AROUND, len(written))
    return register_map(
        MapView(each.title, whole), prefix=prefix, bars=bars, width=_WIDTH, heading=False
    ).svg


def _measured(path: Path, number: str) -> Analysis:
    """One work of a file. Raises CorpusregError where it is not there."""
    from corpusreg.measures.analysis import analyse
    from corpusreg.score.played import perform
    from corpusreg.score.readers import read_file

    for score in read_file(path).scores:
        if score.number == number:
            return analyse(perform(score))
    raise CorpusregError(f"{path.name}: no work {number}")
