"""Contrasts and revisions as text for a terminal and as plain data for JSON."""

from __future__ import annotations

from typing import Any

from corpusreg.comparison.comparison import Comparison, PlacedMeasure
from corpusreg.comparison.findings import rank_of, reading
from corpusreg.measures.analysis import Analysis
from corpusreg.measures.definitions import BY_NAME, MEASURES
from corpusreg.revision.units import Moved
from corpusreg.revision.versions import Contrast, Revised
from corpusreg.system.phrases import plural
from corpusreg.text.document import rounded
from corpusreg.text.examples import passage_document, passage_lines
from corpusreg.text.measures import compared_rank, value_words
from corpusreg.text.options import bars_words, strain_words, way_words
from corpusreg.text.reading import company_sentence
from corpusreg.text.tabular import wrap

__all__ = [
    "contrast_cells", "contrast_document", "contrast_lead", "contrast_rows", "contrast_text",
    "moved_words", "own_words", "revised_cells", "revised_document", "revised_text",
    "shared_words",
]  # fmt: skip

_WAYS = {
    "settled": "each entry stays in the register before it",
    "narrow": "every phrase lies as near the middle as octaves allow",
    "open": "every phrase lies as far out as octaves allow",
}
# What a contrast is about, in the order in which it is told.
_TOLD = ("core_span", "movement_bar", "movement_phrase", "shift_rate", "expected_dwell")
_TITLE = 34
_MOST = 4  # measures told of an option


def contrast_text(c: Contrast) -> str:
    """A contrast for a terminal."""
    lines = [
        *wrap(f"{c.title}, in another way: {contrast_lead(c)}."),
        "",
        *(
            line
            for each in c.moved
            for line in wrap(
                f"{bars_words(c.labels, each.first, each.last)}: {moved_words(each)}",
                "    ", "  - ",
            )
        ),
        "",
        f"  {'':{_TITLE}}{'as it is':<21}in this way",
        *(f"  {title:{_TITLE}}{was:<21}{now}" for title, was, now in contrast_rows(c)),
    ]  # fmt: skip
    if c.strained:
        lines += ["", *wrap(strain_words(c.strained))]
    lines += ["", *(f"Written: {file}" for file in c.written)] if c.written else [
        "", *wrap("To write it: --to FILE.musicxml, or --to FILE.mid to listen to."),
    ]  # fmt: skip
    return "\n".join(lines)


def contrast_lead(c: Contrast) -> str:
    """What is done, where, and to how many notes."""
    return f"{_WAYS[c.way]} ({c.bars}, {plural(c.notes_moved, 'note')} moved)"


def contrast_rows(c: Contrast) -> list[tuple[str, str, str]]:
    """Measures that a contrast is about: title, value as it is, value in this way."""
    rows = []
    for name in _TOLD:
        measure = BY_NAME[name]
        before, after = (
            value_words(found.values[name].value, measure.unit) for found in (c.before, c.after)
        )
        rows.append((measure.title, before, after))
    return rows


def moved_words(each: Moved) -> str:
    """What one hand does, without its bars."""
    return f"{each.hand} {way_words(each.octaves)} ({plural(each.notes, 'note')})"


def contrast_document(c: Contrast) -> dict[str, Any]:
    """A contrast as plain data."""
    return {
        "piece": c.title,
        "path": str(c.path),
        "how": c.way,
        "bars": c.bars,
        "notes_moved": c.notes_moved,
        "moved": [
            {
                "hand": each.hand,
                "bars": [c.labels[each.first], c.labels[each.last - 1]],
                "octaves": each.octaves,
                "notes": each.notes,
            }
            for each in c.moved
        ],
        "before": _values(c.before),
        "after": _values(c.after),
        "written": [str(file) for file in c.written],
    }


def contrast_cells(c: Contrast) -> list[dict[str, Any]]:
    """Every measure as it is and in this way, a row each."""
    return [
        {
            "measure": each.name,
            "unit": each.unit,
            "as_it_is": c.before.values[each.name].value,
            "in_this_way": c.after.values[each.name].value,
        }
        for each in MEASURES
    ]


def _values(found: Analysis) -> list[dict[str, Any]]:
    return [{"name": m.name, "value": rounded(found.values[m.name].value, 4)} for m in MEASURES]


def revised_text(found: Revised) -> str:
    """Options for a terminal: what each does, what comes of it, and where it would lie."""
    title = found.piece.piece.title
    many = len(found.revisions)
    head = "one way to try" if many == 1 else f"{many} ways to try"
    shared = " ".join(["They are options, not rules.", *shared_words(found)])
    lines = wrap(f"{title}, toward '{found.toward}': {head}. {shared}")
    if found.model:
        lines += ["", "The passage to be like:", *passage_lines(found.model)]
    for number, (each, words) in enumerate(
        zip(found.revisions, own_words(found), strict=True), 1
    ):
        notes = plural(each.notes_moved, "note") + " changed"
        lines += [
            "",
            *wrap(f"{number}. {words} ({notes})", "   "),
            *_changes(found, each.comparison),
            *([f"   written: {each.file}"] if each.file else []),
        ]
    lines += ["", *wrap(company_sentence(reading(found.piece).company))]
    if not any(each.file for each in found.revisions):
        lines.append("To write them: --to FOLDER.")
    return "\n".join(lines)


def shared_words(found: Revised) -> list[str]:
    """Sentences that are true of all options, where there are several."""
    first, *others = (each.words for each in found.revisions)
    return [words for words in first if others and all(words in other for other in others)]


def own_words(found: Revised) -> list[str]:
    """What is said of each option alone."""
    shared = shared_words(found)
    return [
        " ".join(words for words in each.words if words not in shared)
        for each in found.revisions
    ]


def _changes(found: Revised, after: Comparison) -> list[str]:
    """The measures whose place changes most, as it is and as it would be."""
    pairs = [
        (old, new)
        for old, new in zip(found.piece.measures, after.measures, strict=True)
        if new.value is not None
    ]
    pairs.sort(key=lambda pair: -_way(*pair))
    told = []
    for old, new in pairs:
        was, now = (value_words(each.value, each.measure.unit) for each in (old, new))
        if was != now:
            rank = rank_of(new)
            place = f", {compared_rank(new.measure.name, rank)}" if rank else ""
            told.append(f"{new.measure.title}: {now} instead of {_bare(was, now)}{place}")
    return [line for each in told[:_MOST] for line in wrap(each, "     ", "   - ")]


def _bare(value: str, other: str) -> str:
    """A value without its unit, where the value before it has the same.

    >>> _bare("3.3 octaves", "4.5 octaves"), _bare("1 bar", "16 bars")
    ('3.3', '1 bar')
    """
    number, _, unit = value.partition(" ")
    return number if unit == other.partition(" ")[2] else value


def _way(old: PlacedMeasure, new: PlacedMeasure) -> float:
    """How far a place moves, in percentiles."""
    ranks = [each.placement.percentile for each in (old, new)]
    return abs((ranks[1] or 0.0) - (ranks[0] or 0.0)) if None not in ranks else 0.0


def revised_document(found: Revised) -> dict[str, Any]:
    """Options as plain data."""
    return {
        "piece": found.piece.piece.title,
        "path": found.piece.piece.path,
        "toward": found.toward,
        **({"model": passage_document(found.model)} if found.model else {}),
        "reference": found.reference_id,
        "revisions": [
            {
                "kind": each.kind,
                "bars": each.bars,
                "notes_moved": each.notes_moved,
                "predicted": [
                    {
                        "name": placed.measure.name,
                        "value": rounded(placed.value, 4),
                        "percentile": rounded(placed.placement.percentile),
                    }
                    for placed in each.comparison.measures
                ],
                "words": " ".join(each.words),
                **({"file": str(each.file)} if each.file else {}),
            }
            for each in found.revisions
        ],
    }


def revised_cells(found: Revised) -> list[dict[str, Any]]:
    """Every measure of every option, a row each, as it is and as it would be."""
    return [
        {
            "option": number,
            "words": " ".join(each.words),
            "notes_moved": each.notes_moved,
            "measure": now.measure.name,
            "unit": now.measure.unit,
            "as_it_is": was.value,
            "with_it": now.value,
            "percentile": now.placement.percentile,
            "file": str(each.file or ""),
        }
        for number, each in enumerate(found.revisions, 1)
        for was, now in zip(found.piece.measures, each.comparison.measures, strict=True)
    ]
