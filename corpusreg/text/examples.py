"""Passages of other works as a sentence, as text for a terminal and as JSON."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import fields
from itertools import groupby
from typing import Any

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.examples import ALL, KINDS, Example, ExampleKind, Examples, habit
from corpusreg.instruments import load
from corpusreg.measures.definitions import VERSION
from corpusreg.revision.intentions import LIKE
from corpusreg.score.pitch import USUAL
from corpusreg.system.phrases import plural
from corpusreg.system.plaintext import plain
from corpusreg.text.measures import measure_sentence
from corpusreg.text.tabular import wrap
from corpusreg.text.wording import interval, note, register

__all__ = [
    "by_kind", "examples_document", "examples_text", "order_words", "passage_document",
    "passage_lines", "passage_words", "study_document", "study_text", "toward",
]  # fmt: skip


def passage_words(each: Example) -> str:
    """A passage in one sentence without its full stop."""
    kind, row = each.kind, each.facts
    if not row:
        return each.note.rstrip(".")
    bar = plain(str(row["start_bar"]))
    if kind == "shift":
        return _shift(row, bar)
    if kind == "dwell":
        last = plain(str(row["end_bar"]))
        low, high = note(int(row["low"]), USUAL), note(int(row["high"]), USUAL)
        return (
            f"Bars {bar}–{last} stay between {low} and {high} for "
            f"{plural(round(row['bars']), 'bar')}{', a thin texture' if row['size'] else ''}"
        )
    if kind == "edge":
        return _edge(row, bar)
    return _event(kind, row, bar)


def _edge(row: Mapping[str, Any], bar: str) -> str:
    low, high = int(row["low"]), int(row["high"])
    own = load()[row["instrument"]]
    end = "low" if low + high < sum(own.professional) else "high"
    return (
        f"The {own.name} is at the {end} edge of its range ({register(low, high, USUAL)}) for "
        f"{plural(round(row['bars']), 'bar')} from bar {bar} on, in the middle of the texture"
    )


def _shift(row: Mapping[str, Any], bar: str) -> str:
    ways = {
        "up": "rises", "down": "falls", "opening": "opens out",
        "closing": "closes in",
    }  # fmt: skip
    what = {"mass": "The texture", "top": "The top", "bottom": "The bottom"}
    moved = what.get(row["moved"], "The texture")
    if row["direction"] in ("opening", "closing"):
        moved = "The texture"
    return f"{moved} {ways[row['direction']]} in bar {bar}, by {interval(row['size'])}"


def _event(kind: str, row: Mapping[str, Any], bar: str) -> str:
    low, high = int(row["low"]), int(row["high"])
    notes = register(low, high, USUAL)
    if kind in ("withheld-bass", "withheld-top", "return"):
        bass = row["event_kind"] == "withheld_bass"
        what, beyond = ("bass", "below") if bass else ("top", "above")
        again = f", with the music of bar {plain(row['again_bar'])}" if row["again_bar"] else ""
        return (
            f"The {what} is withheld: nothing {beyond} {note(int(row['edge']), USUAL)} for "
            f"{_length(row['silence'])}, then {notes} in bar {bar}{again}"
        )
    if kind == "cleared":
        return (
            f"The register at {notes} is cleared for {_length(row['silence'])} and filled "
            f"again in bar {bar}"
        )
    if kind in ("climb", "descent"):
        way = "climbs" if kind == "climb" else "descends"
        return f"A line {way} {interval(row['distance'])} and arrives in bar {bar}"
    if kind == "wedge":
        way = "opens out" if row["direction"] == "opening" else "closes in"
        return f"The texture {way} by {interval(row['distance'])} until bar {bar}"
    if kind == "isolated":
        return f"{notes} sounds for a moment in bar {bar}, far from everything round it"
    if kind == "pedal-point":
        return f"A pedal point on {notes} lasts for {_length(row['bars'])}"
    return (
        f"From bar {plain(str(row['start_bar']))} on nothing sounds between "
        f"{note(low, USUAL)} and {note(high, USUAL)} for {_length(row['bars'])}"
    )


def _length(bars: float) -> str:
    return plural(round(bars), "bar") if bars >= 0.75 else "less than a bar"


def examples_text(found: Examples) -> str:
    """Passages with their works, most strongly so first, and how they were put in order."""
    if not found.passages:
        return "The reference has no passage like this; leave out one of the filters."
    lines: list[str] = []
    for kind, several in by_kind(found):
        lines += [*wrap(f"{kind.title}: {kind.shows}."), ""]
        for number, each in several:
            lines += [*example_lines(each, f"{number:>2}. "), ""]
    return "\n".join([*lines, *wrap(order_words(found)), f"(reference {found.reference_id})"])


def by_kind(found: Examples) -> list[tuple[ExampleKind, list[tuple[int, Example]]]]:
    """The passages with their numbers from 1, those of one kind that follow each other
    together.
    """
    grouped = groupby(enumerate(found.passages, start=1), key=lambda pair: pair[1].kind)
    return [(KINDS[kind], list(several)) for kind, several in grouped]


def order_words(found: Examples) -> str:
    """How the passages were put in order."""
    if found.kind == ALL:
        return (
            "Within a kind, media, difficulties and periods take turns, and no composer comes "
            "more than twice. Clear is not better: the list only helps to find passages."
        )
    return (
        f"The clearest first ({KINDS[found.kind].strength}), from different composers and "
        "periods where possible. Clear is not better: the order only helps to find them."
    )


def study_text(c: Comparison, alike: Sequence[Example], otherwise: Sequence[Example]) -> str:
    """Passages to study beside a piece, after an empty line; '' where there are none."""
    found = habit(c)
    if found is None or not (alike or otherwise):
        return ""
    said = f"Passages to study. {measure_sentence(found.finding, found.piece)}"
    lines = ["", "", *wrap(said)]
    for title, several in (("that share it", alike), ("that do the opposite", otherwise)):
        if several:
            lines += [f"From works {title}"]
            lines += [line for each in several for line in example_lines(each)]
    return "\n".join(lines)


def toward(each: Example) -> str | None:
    """The intention of `revise` that a passage is a model for, None where it is for none."""
    return each.name if each.kind in LIKE and each.facts else None


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
    where = ", ".join(filter(None, (each.title, each.bars)))
    about = f"{facts}{own}".lstrip("; ")
    title = f"{by}{where}{part}{f' ({about})' if about else ''}"
    blank = " " * len(mark)
    words = passage_words(each)
    said = [f"{words}."] if words else []
    noted = [each.note] if each.facts and each.note else []
    return [
        *wrap(title, blank, mark),
        *(line for text in (*said, *noted) for line in wrap(text, blank)),
    ]


def examples_document(found: Examples) -> dict[str, Any]:
    """What `examples --json` prints. first, last: written bars from 0, half-open.

    toward: as `revise` takes it.
    """
    strength = "within a kind" if found.kind == ALL else KINDS[found.kind].strength
    return {
        "reference": found.reference_id,
        "definitions": VERSION,
        "kind": found.kind,
        "strength": f"0 to 100: {strength}",
        "examples": [_document(each, ("facts",)) for each in found.passages],
    }


def study_document(
    c: Comparison, sharing: Sequence[Example], otherwise: Sequence[Example]
) -> dict[str, Any]:
    """The most unusual habit, passages that share it and passages that do otherwise.

    habit: name of the measure, None where nothing stands out. first, last: written bars
    from 0, half-open.
    """
    found = habit(c)
    return {
        "habit": found.measure if found else None,
        "words": measure_sentence(found.finding, found.piece) if found else None,
        "sharing": [passage_document(each) for each in sharing],
        "otherwise": [passage_document(each) for each in otherwise],
    }


def passage_document(each: Example) -> dict[str, Any]:
    """One passage to study. toward: as `revise` takes it."""
    return _document(each, ("facts", "position", "bar", "difficulty", "note"))


def _document(each: Example, left_out: Sequence[str]) -> dict[str, Any]:
    names = [field.name for field in fields(Example) if field.name not in left_out]
    return {name: getattr(each, name) for name in names} | {
        "words": passage_words(each),
        "toward": toward(each),
    }
