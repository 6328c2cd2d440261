"""Model passages as text for a terminal and as JSON."""

from __future__ import annotations

import shlex
import unicodedata
from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.examples import KINDS, Example, habit
from corpusreg.comparison.examples.passages import Examples
from corpusreg.measures.definitions import VERSION
from corpusreg.revision.intentions import LIKE
from corpusreg.text.examples import passage_words
from corpusreg.text.lines import wrap
from corpusreg.text.measures import measure_sentence

__all__ = ["examples_document", "examples_text", "passage_lines", "study_text", "toward"]


def examples_text(found: Examples) -> str:
    """Passages with their works, most strongly so first, and how they were put in order."""
    kind = KINDS[found.kind]
    if not found.found:
        return "No work of the reference has such a passage; ask for less in particular."
    lines = [*wrap(f"{kind.title}: {kind.shows}."), ""]
    for number, each in enumerate(found.found, start=1):
        lines += [*example_lines(each, f"{number:>2}. "), ""]
    said = (
        f"The clearest first ({kind.strength}), from different composers and periods where "
        "there are such. Clear is not better: the order helps to find them."
    )
    return "\n".join([*lines, *wrap(said), f"(reference {found.reference_id})"])


def study_text(c: Comparison, alike: Sequence[Example], otherwise: Sequence[Example]) -> str:
    """Passages to study beside a piece, after an empty line; '' where there are none."""
    found = habit(c)
    if found is None or not (alike or otherwise):
        return ""
    said = f"Passages to study. {measure_sentence(found.finding)}"
    lines = ["", "", *wrap(said)]
    for title, several in (("that share it", alike), ("that do otherwise", otherwise)):
        if several:
            lines += [f"From works {title}"]
            lines += [line for each in several for line in example_lines(each)]
    return "\n".join(lines)


def toward(each: Example) -> str | None:
    """The intention of `revise` that a passage is a model for, None where it is for none."""
    return each.name if each.kind in LIKE else None


def example_lines(each: Example, mark: str = "  - ") -> list[str]:
    """One passage after a mark, and how `revise` aims at it."""
    aim = toward(each)
    said = [f"{' ' * len(mark)}revise PIECE --toward {shlex.quote(aim)}"] if aim else []
    return [*passage_lines(each, mark), *said]


def passage_lines(each: Example, mark: str = "  - ") -> list[str]:
    """One passage: work, bars and sentence, after a mark."""
    facts = ", ".join(filter(None, (each.ensemble, each.period)))
    by = f"{each.composer}: " if each.composer else ""
    own = "; your own score, shown on this computer only" if each.private else ""
    part = f", {each.part}" if each.part else ""
    title = f"{by}{each.title}, {each.bars}{part} ({facts}{own})"
    blank = " " * len(mark)
    title = _plain_letters(title)
    return [
        *wrap(title, blank, mark),
        *wrap(f"{passage_words(each)}.", blank),
    ]


def _plain_letters(text: str) -> str:
    """Titles in letters that every terminal shows."""
    bare = unicodedata.normalize("NFKD", text.replace("\u00df", "ss"))
    return bare.encode("ascii", "ignore").decode()


def examples_document(found: Examples) -> dict[str, Any]:
    """What `examples --json` prints. first, last: written bars from 0, half-open.

    toward: as `revise` takes it.
    """
    names = [each.name for each in fields(Example) if each.name not in ("facts", "kind")]
    return {
        "reference": found.reference_id,
        "definitions": VERSION,
        "kind": found.kind,
        "strength": f"0 to 100: {KINDS[found.kind].strength}",
        "examples": [
            {name: getattr(each, name) for name in names}
            | {"words": passage_words(each), "toward": toward(each)}
            for each in found.found
        ],
    }
