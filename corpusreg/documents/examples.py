"""Model passages as a document: what is said, the register map, and the notes.

The map is drawn from the file where that is here, else from the edges of every bar that the
reference keeps. Notation needs an open licence of the encoding; what is quoted carries its
attribution, and where nothing is quoted the page says why.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from corpusreg.comparison.examples import ALL, KINDS, Example, ExampleKind, Examples
from corpusreg.corpus.files import BUNDLED, bundled_root
from corpusreg.corpus.registry import own_and_others
from corpusreg.documents.layout import Document, Drawn, write_document
from corpusreg.documents.pictures.register_map import edges_map, register_map
from corpusreg.documents.pictures.view import MapView
from corpusreg.documents.quoting import Quotation, QuotedPlace, quotations
from corpusreg.instruments import load
from corpusreg.measures.analysis import analyse
from corpusreg.measures.definitions import VERSION
from corpusreg.score.played import perform
from corpusreg.score.readers import read_file
from corpusreg.store import Reference, sql
from corpusreg.system.errors import CorpusregError
from corpusreg.system.isolate import bounded
from corpusreg.system.phrases import capital
from corpusreg.text.examples import by_kind, order_words, passage_words

__all__ = ["write_examples"]

Edges = tuple[list[int], list[int], int]

_AROUND = 8  # bars of the map on each side
_WIDTH = 720.0  # pixels: the text column


@dataclass(frozen=True)
class ExamplePassage:
    """One example as the template shows it. title, about: of its kind where it is the first
    of it in a library, else ''. map, notation: names of pictures, '' for none."""

    title: str
    about: str
    heading: str
    text: str
    map: str
    notation: str
    remarks: tuple[str, ...]


def write_examples(found: Examples, reference: Reference, path: Path) -> tuple[str, ...]:
    """Write passages as a page or a PDF; reference: the one that they were found in.

    Answers and raises as `write_document`.
    """
    folders = own_and_others()[0]
    known = [each for each in found.passages if each.facts]
    shown = iter(quotations(reference, [_place(each) for each in known], folders))
    quoted = [next(shown) if each.facts else None for each in found.passages]
    edges = _edges(reference, known)
    maps = [
        _map(each, folders, edges.get(each.work), f"example-{number}") if each.facts else ""
        for number, each in enumerate(found.passages, start=1)
    ]
    return write_document(examples_document(found, quoted, maps), path)


def examples_document(
    found: Examples, quoted: Sequence[Quotation | None], maps: Sequence[str]
) -> Document:
    """The passages in order. quoted: None, and maps: '' for one that only a table tells of."""
    title, shows = "Model passages", "passages by kind, with the bars in which to look"
    if found.kind != ALL:
        title, shows = KINDS[found.kind].title, KINDS[found.kind].shows
    pictures: dict[str, Drawn] = {}
    for number, (each, quotation, drawn) in enumerate(
        zip(found.passages, quoted, maps, strict=True), start=1
    ):
        if drawn:
            pictures[f"map-{number}"] = Drawn(drawn, f"Register map around {each.bars}")
        if quotation and quotation.picture:
            pictures[f"notation-{number}"] = Drawn(
                quotation.picture.svg, f"{capital(each.bars)} in notation",
                engraved=quotation.picture,
            )  # fmt: skip
    firsts = {several[0][0]: kind for kind, several in by_kind(found) if found.kind == ALL}
    return Document(
        title,
        "examples.html",
        {
            "title": title,
            "facts": f"{capital(shows)}.",
            "passages": [
                _passage(number, each, quotation, pictures, firsts.get(number))
                for number, (each, quotation) in enumerate(
                    zip(found.passages, quoted, strict=True), start=1
                )
            ],
            "grouped": found.kind == ALL,
            "order": order_words(found),
            "made": f"Reference {found.reference_id}, definitions {VERSION}.",
        },
        pictures,
    )


def _passage(
    number: int,
    each: Example,
    quotation: Quotation | None,
    pictures: Mapping[str, Drawn],
    first: ExampleKind | None,
) -> ExamplePassage:
    facts = ", ".join(filter(None, (each.ensemble, each.period, each.part)))
    own = ["Your own score: shown on this computer only."] if each.private else []
    if quotation is None:
        remarks = ["As the table has it."]
    elif quotation.picture is None:
        remarks = [f"The notes are not shown: {quotation.why}."]
    else:
        remarks = [*(f"{capital(text)}." for text in quotation.picture.remarks),
                   quotation.credit]  # fmt: skip
    map_, notation = (f"{kind}-{number}" for kind in ("map", "notation"))
    own += [each.note] if each.facts and each.note else []
    where = ", ".join(filter(None, (each.title, each.bars)))
    said = f"{passage_words(each)}." if passage_words(each) else ""
    return ExamplePassage(
        title=first.title if first else "",
        about=f"{capital(first.shows)}." if first else "",
        heading=f"{each.composer}: {where}" if each.composer else where,
        text=" ".join(filter(None, (said, f"({capital(facts)})" if facts else ""))),
        map=map_ if map_ in pictures else "",
        notation=notation if notation in pictures else "",
        remarks=(*own, *remarks),
    )


def _place(each: Example) -> QuotedPlace:
    parts = (int(each.facts["part"]),) if each.facts.get("part") is not None else ()
    return QuotedPlace(each.work, each.first, each.last, each.bars, parts)


def _edges(reference: Reference, several: Sequence[Example]) -> dict[str, Edges]:
    """Edges of every played bar by work, and up to which written bar nothing is repeated."""
    found = reference.fetch_columns(
        sql.load("edges_of_works"), {"works": sorted({each.work for each in several})}
    )
    rows = zip(*(values.tolist() for values in found.values()), strict=True)
    return {work: (list(low), list(high), int(straight)) for work, low, high, straight in rows}


def _map(each: Example, folders: Mapping[str, Path], edges: Edges | None, prefix: str) -> str:
    """The register map of the bars around a passage; '' where nothing is known of them."""
    root = bundled_root() if each.corpus == BUNDLED else folders.get(each.corpus)
    if root is not None:
        try:
            return bounded(_mapped, root / each.path, each, prefix)
        except (CorpusregError, OSError):
            pass
    played = each.facts["played"]
    if edges is None or (played is None and each.position > edges[2]):
        return ""
    at = each.position if played is None else int(played)
    low, high, _ = edges
    bars = max(at - _AROUND, 0), min(at + _AROUND, len(low))
    return edges_map(
        low, high, bars, (at, each.bar), prefix=prefix, width=_WIDTH, title=each.title
    ).svg


def _mapped(path: Path, each: Example, prefix: str) -> str:
    """The map of a passage in a file. Raises CorpusregError where its work is not there."""
    found = [score for score in read_file(path).scores if score.number == each.number]
    if not found:
        raise CorpusregError(f"{path.name}: no work {each.number}")
    whole = analyse(load().as_sounding(perform(found[0])))
    written = whole.played.bars.written.tolist()
    given = each.facts.get("played_first")
    at = written.index(each.position) if given is None else int(given)
    bars = max(at - _AROUND, 0), min(at + _AROUND, len(written))
    return register_map(
        MapView(each.title, whole), prefix=prefix, bars=bars, width=_WIDTH, heading=False
    ).svg
