"""Passages from other works beside the most unusual habit: what is said, and the notes.

Where the encoding's licence is open the bars are engraved with their attribution; else they
are named. At most ENGRAVED of each side are engraved, so that a page stays small.
"""

from __future__ import annotations

from collections.abc import Sequence

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.examples import Example, habit
from corpusreg.documents.quoting import Place, Quotation, quotations
from corpusreg.documents.report.model import Content, Picture, Quoted, Study
from corpusreg.documents.report.slots import Notation
from corpusreg.store import open_reference
from corpusreg.system.errors import CorpusregError
from corpusreg.system.phrases import capital

__all__ = ["ENGRAVED", "quote", "study"]

ENGRAVED = 1
_OPEN = "open"
_STRETCHES = ("dwell", "hollow")  # kinds whose bars are the length of the passage


def study(
    c: Comparison, sharing: Sequence[Example], otherwise: Sequence[Example]
) -> Study | None:
    """The passages as a report tells them, None where there are none."""
    found = habit(c)
    if found is None or not (sharing or otherwise):
        return None
    return Study(
        f"{capital(found.title)} stands out most: the piece {found.said}.",
        _side(sharing, "a"),
        _side(otherwise, "b"),
    )


def _side(examples: Sequence[Example], side: str) -> tuple[Quoted, ...]:
    shown = [each for each in examples if each.licence == _OPEN][:ENGRAVED]
    return tuple(
        _quoted(each, f"study-{side}{number}" if each in shown else "")
        for number, each in enumerate(examples, start=1)
    )


def _quoted(each: Example, slot: str) -> Quoted:
    part = each.facts.get("part")
    by = f"{each.composer}: " if each.composer else ""
    facts = [each.ensemble, each.period, "your own score" if each.private else None]
    return Quoted(
        title=f"{by}{each.title}, {each.bars}" + (f", {each.part}" if each.part else ""),
        facts=", ".join(fact for fact in facts if fact),
        words=f"{each.words}.",
        work=each.work,
        first=each.first,
        last=each.last,
        bars=each.bars,
        parts=() if part is None else (int(part),),
        picture=Picture(slot, _shown(each), f"{each.bars} of {each.title} in notation")
        if slot
        else None,
    )


def _shown(each: Example) -> str:
    """How much of a long passage is shown, '' where all of it is."""
    shown, length = each.last - each.first, round(each.facts.get("bars") or 0)
    if each.kind not in _STRETCHES or length <= shown:
        return ""
    return f"The first {shown} of {length} bars" if shown > 1 else "The first bar"


def quote(contents: Sequence[Content]) -> list[dict[str, Notation]]:
    """The engraved passages of each work by slot; all are drawn in one go.

    What can no longer be shown, since the reference or the file has changed, is only named.
    """
    wanted = [
        (work, each)
        for work, content in enumerate(contents)
        if content.works.study
        for each in (*content.works.study.sharing, *content.works.study.otherwise)
        if each.picture
    ]
    found: list[dict[str, Notation]] = [{} for _ in contents]
    for (work, each), drawn in zip(wanted, _drawn([e for _, e in wanted]), strict=True):
        if drawn.picture and each.picture:
            said = filter(None, (each.picture.caption, *drawn.picture.remarks))
            remarks = (*(f"{remark}." for remark in said), drawn.credit)
            found[work][each.picture.slot] = Notation((drawn.picture,), remarks)
    return found


def _drawn(passages: Sequence[Quoted]) -> list[Quotation]:
    from corpusreg.workflow.examples import own_and_others

    if not passages:
        return []
    places = [Place(e.work, e.first, e.last, e.bars, e.parts) for e in passages]
    try:
        with open_reference() as reference:
            return quotations(reference, places, own_and_others()[0])
    except CorpusregError:
        return [Quotation(each.title) for each in passages]
