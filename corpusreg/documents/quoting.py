"""Passages from works of the reference: engraved under an open licence, else named.

Only where the encoding is open (tier 'open' of the catalogue) are its bars shown, and an
attribution line then belongs under them. Everything else is named by work and bar. A file
that is gone, or is no longer the one that was measured, is never shown.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from corpusreg.corpus.files import BUNDLED, bundled_root, content_hash
from corpusreg.documents.engraving import Engraved, NotatedPassage, engrave_all
from corpusreg.norms.cohorts import RowSource
from corpusreg.store import sql
from corpusreg.system.errors import ReadError, UsageError

__all__ = ["Quotation", "QuotedPlace", "quotations"]

_LONGEST_STATEMENT = 160  # characters of a licence statement that are quoted


@dataclass(frozen=True)
class QuotedPlace:
    """Bars of a work of the reference.

    work: its id, as works.work. first, last: written bars, positions from 0, half-open.
    bars: the same for people, such as 'bars 9–12'. parts: as `Passage.parts`.
    """

    work: str
    first: int
    last: int
    bars: str
    parts: tuple[int, ...] = ()


@dataclass(frozen=True)
class Quotation:
    """A passage from the reference.

    named: work and bars in words. picture: the bars, None where they are only named.
    credit: the attribution line that belongs under the picture, '' without one. why: in
    one line, why there is no picture, '' where there is one.
    """

    named: str
    picture: Engraved | None = None
    credit: str = ""
    why: str = ""


def quotations(
    source: RowSource, places: Sequence[QuotedPlace], folders: Mapping[str, Path] | None = None
) -> list[Quotation]:
    """Passages from works of the reference, in the order given.

    folders: where the files of corpora other than the bundled one are, by name of the
    corpus. Raises UsageError for a work that is not in the reference.
    """
    works = _works(source, places)
    found: list[Quotation] = []
    wanted: dict[int, NotatedPassage] = {}
    for index, place in enumerate(places):
        work = works[place.work]
        path, why = _file(work, folders or {})
        found.append(Quotation(f"{_name(work)}, {place.bars}", why=why))
        if path is not None:
            number = work["number"] or ""
            wanted[index] = NotatedPassage(path, place.first, place.last, number, place.parts)
    for index, drawn in zip(wanted, engrave_all(list(wanted.values())), strict=True):
        named = found[index].named
        if isinstance(drawn, str):
            found[index] = Quotation(named, why=drawn)
        else:
            found[index] = Quotation(named, drawn, _credit(works[places[index].work]))
    return found


def _works(source: RowSource, places: Sequence[QuotedPlace]) -> dict[str, dict[str, Any]]:
    """What the reference says of the works, by id; text that is missing is ''."""
    ids = sorted({place.work for place in places})
    columns = source.fetch_columns(sql.load("quoted"), {"works": ids})
    rows = zip(*(values.tolist() for values in columns.values()), strict=True)
    found = {row[0]: {n: v or "" for n, v in zip(columns, row, strict=True)} for row in rows}
    for name in ids:
        if name not in found:
            raise UsageError(f"no work '{name}' in the reference; name one that it holds")
    return found


def _file(work: Mapping[str, str], folders: Mapping[str, Path]) -> tuple[Path | None, str]:
    """The file of a work if it may be shown and has not changed, otherwise the reason."""
    if work["tier"] != "open":
        return None, f"the encoding is not under an open licence ({work['tier']})"
    try:
        root = bundled_root() if work["corpus"] == BUNDLED else folders.get(work["corpus"])
        if root is None:
            return None, f"the folder of the corpus '{work['corpus']}' is not known here"
        path = root / work["path"]
        if content_hash(path) != work["content"]:
            return None, f"{work['path']} has changed since it was measured"
    except FileNotFoundError:
        return None, f"{work['path']} is no longer there"
    except (OSError, ReadError) as error:
        return None, f"{work['path']} cannot be opened ({error})"
    return path, ""


def _name(work: Mapping[str, str]) -> str:
    """'Composer, Title: Movement'; works without a title by their path."""
    title = work["title"].rstrip(" ,.") or work["path"]
    if work["movement"] and work["movement"] not in title:
        title = f"{title}: {work['movement']}"
    return f"{work['composer']}, {title}" if work["composer"] else title


def _credit(work: Mapping[str, str]) -> str:
    statement = " ".join(work["statement"].split())
    if len(statement) > _LONGEST_STATEMENT:
        statement = statement[:_LONGEST_STATEMENT].rsplit(" ", 1)[0] + " ..."
    corpus = "music21 corpus" if work["corpus"] == BUNDLED else work["corpus"]
    return (
        f"{_name(work)}. Encoding: {work['path']} ({corpus}); its licence as stated: "
        f'"{statement}"'
    )
