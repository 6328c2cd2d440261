"""Model passages as a document: what is said, the register map, and the notes.

The map is drawn from the file where it is still the one that was measured. Notation needs
an open licence of the encoding; what is quoted carries its attribution, and where nothing
is quoted the page says why.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from corpusreg.comparison.examples import KINDS, Example, Examples
from corpusreg.corpus.files import BUNDLED, bundled_root
from corpusreg.corpus.registry import own_and_others
from corpusreg.documents.layout import Document, Drawn, write_document
from corpusreg.documents.pictures.register_map import register_map
from corpusreg.documents.pictures.view import MapView
from corpusreg.documents.quoting import Quotation, QuotedPlace, quotations
from corpusreg.measures.definitions import VERSION
from corpusreg.store import Reference
from corpusreg.system.errors import CorpusregError
from corpusreg.system.phrases import capital
from corpusreg.text.examples import passage_words

__all__ = ["write_examples"]

_AROUND = 8  # bars of the map on each side
_WIDTH = 720.0  # pixels: the text column


@dataclass(frozen=True)
class ExamplePassage:
    """One example as the template shows it. map, notation: names of pictures, '' for none."""

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
    quoted = quotations(reference, [_place(each) for each in found.found], folders)
    maps = [
        _map(each, folders, f"example-{number}")
        for number, each in enumerate(found.found, start=1)
    ]
    return write_document(examples_document(found, quoted, maps), path)


def examples_document(
    found: Examples, quoted: Sequence[Quotation], maps: Sequence[str]
) -> Document:
    """The passages in order. maps: one SVG a passage, '' where there is none."""
    kind = KINDS[found.kind]
    pictures: dict[str, Drawn] = {}
    for number, (each, quotation, drawn) in enumerate(
        zip(found.found, quoted, maps, strict=True), start=1
    ):
        if drawn:
            pictures[f"map-{number}"] = Drawn(drawn, f"Register map around {each.bars}")
        if quotation.picture:
            pictures[f"notation-{number}"] = Drawn(
                quotation.picture.svg, f"{capital(each.bars)} in notation",
                engraved=quotation.picture,
            )  # fmt: skip
    return Document(
        kind.title,
        "examples.html",
        {
            "title": kind.title,
            "facts": f"{capital(kind.shows)}.",
            "passages": [
                _passage(number, each, quotation, pictures)
                for number, (each, quotation) in enumerate(
                    zip(found.found, quoted, strict=True), start=1
                )
            ],
            "order": f"The clearest first ({kind.strength}), from different composers and "
            "periods where there are such. Clear is not better.",
            "made": f"Reference {found.reference_id}, definitions {VERSION}.",
        },
        pictures,
    )


def _passage(
    number: int, each: Example, quotation: Quotation, pictures: Mapping[str, Drawn]
) -> ExamplePassage:
    facts = ", ".join(filter(None, (each.ensemble, each.period, each.part)))
    own = ("Your own score: shown on this computer only.",) if each.private else ()
    if quotation.picture is None:
        remarks = [f"The notes are not shown: {quotation.why}."]
    else:
        remarks = [*(f"{capital(text)}." for text in quotation.picture.remarks),
                   quotation.credit]  # fmt: skip
    map_, notation = (f"{kind}-{number}" for kind in ("map", "notation"))
    return ExamplePassage(
        heading=f"{each.composer}: {each.title}, {each.bars}",
        text=f"{passage_words(each)}. ({capital(facts)})",
        map=map_ if map_ in pictures else "",
        notation=notation if notation in pictures else "",
        remarks=(*own, *remarks),
    )


def _place(each: Example) -> QuotedPlace:
    parts = (int(each.facts["part"]),) if each.facts.get("part") is not None else ()
    return QuotedPlace(each.work, each.first, each.last, each.bars, parts)


def _map(each: Example, folders: Mapping[str, Path], prefix: str) -> str:
    """The register map of the bars around a passage; '' where the file is not there."""
    from corpusreg.system.isolate import bounded

    root = bundled_root() if each.corpus == BUNDLED else folders.get(each.corpus)
    if root is None:
        return ""
    try:
        return bounded(_mapped, root / each.path, each, prefix)
    except (CorpusregError, OSError):
        return ""


def _mapped(path: Path, each: Example, prefix: str) -> str:
    """The map of a passage in a file. Raises CorpusregError where its work is not there."""
    from corpusreg.measures.analysis import analyse
    from corpusreg.score.played import perform
    from corpusreg.score.readers import read_file

    found = [score for score in read_file(path).scores if score.number == each.number]
    if not found:
        raise CorpusregError(f"{path.name}: no work {each.number}")
    whole = analyse(perform(found[0]))
    written = whole.played.bars.written.tolist()
    given = each.facts.get("played_first")
    at = written.index(each.position) if given is None else int(given)
    bars = max(at - _AROUND, 0), min(at + _AROUND, len(written))
    return register_map(
        MapView(each.title, whole), prefix=prefix, bars=bars, width=_WIDTH, heading=False
    ).svg
