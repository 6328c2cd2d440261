"""Comparisons as the JSON document that `compare --json` prints.

Each work is its `Reading`, dumped field by field, with what stands beside it: parts, the
two-level placement, saturation, the profile. Notes are written by name. What is empty (null,
'', []) is left out of findings, so that a finding holds what it has. `SCHEMA` is raised
whenever a key goes or changes its meaning; the JSON Schema is
`corpusreg/data/comparison.schema.json`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.drafts import Drafts
from corpusreg.comparison.examples import Example
from corpusreg.comparison.findings import Finding, PieceFacts, Reading, Suggestion, reading
from corpusreg.measures.background import Background
from corpusreg.measures.definitions import VERSION
from corpusreg.measures.events import Event
from corpusreg.norms.profiles.model import PlacedProfile
from corpusreg.score.pitch import band_name, note_name
from corpusreg.score.played import Played
from corpusreg.text.drafts import drafts_document
from corpusreg.text.examples import study_document
from corpusreg.text.findings import sentence
from corpusreg.text.players import parts_document, two_level_document
from corpusreg.text.profiles import alike_words, firmness_words, neighbour_words
from corpusreg.text.reading import CLASS_NAMES, class_row, first_screen, suggestion_sentence
from corpusreg.text.wording import labels, rounded

__all__ = ["SCHEMA", "document", "rounded"]

SCHEMA = 2
_DIGITS = 4
# Fields of an event that its finding has already, some of them by name or as printed.
_IN_FINDING = frozenset((
    "kind", "part", "first", "last", "bar", "beat", "pitches", "low", "high", "strength",
    "direction", "players", "since", "again", "bars",
))  # fmt: skip
_EDGE = "edge"  # a note


def document(
    comparisons: Sequence[Comparison],
    failures: Sequence[str],
    reference_id: str,
    studied: Sequence[tuple[Sequence[Example], Sequence[Example]]] = (),
    drafts: Sequence[Drafts] = (),
) -> dict[str, Any]:
    """The document for all works of one or more files; failures: one line each.

    studied: for each work the passages to study, () where none were looked for. drafts: for
    each work what changed since its earlier draft, () where there is none.
    """
    readings = [reading(each) for each in comparisons]
    works = [_work(c, r) for c, r in zip(comparisons, readings, strict=True)]
    for c, work, (sharing, otherwise) in zip(comparisons, works, studied, strict=False):
        work["study"] = study_document(c, sharing, otherwise)
    for work, changed in zip(works, drafts, strict=False):
        work["drafts"] = drafts_document(changed)
    return {
        "schema": SCHEMA,
        "table": [_row(each) for each in readings],
        "works": works,
        "failures": list(failures),
        "reference_id": reference_id,
        "definitions": VERSION,
    }


def reading_document(r: Reading) -> dict[str, Any]:
    """A reading as plain data, with its first screen and the sentence of every finding."""
    found: dict[str, Any] = _dumped(r, r.piece)
    found["words"] = first_screen(r)
    if r.suggestion:
        found["suggestion"]["words"] = suggestion_sentence(r.suggestion, r)
    return found


def _dumped(value: Any, piece: PieceFacts) -> Any:
    if isinstance(value, Event):
        return _details(value, piece)
    if is_dataclass(value):
        found = {
            each.name: _named(getattr(value, each.name), piece)
            if each.metadata.get("pitch")
            else _dumped(getattr(value, each.name), piece)
            for each in fields(value)
        }
        if isinstance(value, Finding | Suggestion):
            found = {key: each for key, each in found.items() if not _empty(each)}
        if isinstance(value, Finding):
            found["words"] = sentence(value, piece)
        return found
    if isinstance(value, Mapping):
        return {key: _dumped(each, piece) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_dumped(each, piece) for each in value]
    return rounded(value, _DIGITS) if isinstance(value, float) else value


def _empty(value: Any) -> bool:
    return value is None or value is False or value in ("", [])


def _named(value: Any, piece: PieceFacts) -> Any:
    """Notes by name."""
    if value is None:
        return None
    if isinstance(value, tuple):
        return [note_name(each, piece.spelling) for each in value]
    return note_name(value, piece.spelling)


def _details(event: Event, piece: PieceFacts) -> dict[str, Any]:
    """What an event has beyond its finding."""
    found: dict[str, Any] = {}
    for each in fields(event):
        value = getattr(event, each.name)
        if each.name in _IN_FINDING or _empty(value) or value == 0:
            continue
        if each.name == _EDGE:
            found[each.name] = note_name(value, piece.spelling)
        else:
            found[each.name] = rounded(value, _DIGITS) if isinstance(value, float) else value
    return found


def _row(r: Reading) -> dict[str, Any]:
    """A work as a row of the table of several, and where it is."""
    row = dict(zip(CLASS_NAMES, class_row(r), strict=True))
    return {**row, "path": r.piece.path, "number": r.piece.number}


def _work(c: Comparison, r: Reading) -> dict[str, Any]:
    return {
        **reading_document(r),
        "background": [_background(each, c.whole.played) for each in c.background],
        "saturation": _saturation(c),
        "parts": parts_document(c),
        "two_level": two_level_document(c),
        "profile": _profile(c.profile),
        "same_shape": [
            {
                "work": each.work,
                "title": each.title,
                "composer": each.composer,
                "distance": rounded(each.distance, 2),
                "words": alike_words(each),
            }
            for each in c.alike
        ],
        "profile_reason": c.profile if isinstance(c.profile, str) else None,
    }


def _background(each: Background, played: Played) -> dict[str, Any]:
    start, end = labels(played.bars, each.first, each.last)
    return {
        "note": note_name(each.pitch, played.spelling),
        "start_bar": start,
        "end_bar": end,
        "played": [each.first, each.last],
    }


def _profile(placed: PlacedProfile | str) -> dict[str, Any] | None:
    if isinstance(placed, str):
        return None
    return {
        "rung": placed.rung,
        "profile": placed.group.number if placed.group else None,
        "words": placed.group.words if placed.group else placed.rung_words,
        "firmness": firmness_words(placed) or None,
        "nearest": [
            {
                "work": each.work,
                "title": each.title,
                "composer": each.composer,
                "words": neighbour_words(placed.families, each.families),
            }
            for each in placed.nearest
        ],
    }


def _saturation(c: Comparison) -> dict[str, Any]:
    """Peak and mean by octave; claims hold at half and double the time constant too."""
    found, bars = c.whole.saturation, len(c.bars)
    peak, mean, full = found.peak(0, bars), found.mean(0, bars), found.saturated(0, bars)
    return {
        "time_constant": found.constant,
        "dynamics_known": c.whole.played.dynamics_known,
        "bands": [
            {
                "band": band_name(number - 1),
                "peak": [rounded(value, 3) for value in peak[:, number]],
                "mean": [rounded(value, 3) for value in mean[:, number]],
                "saturated": number - 1 in full,
            }
            for number in range(peak.shape[1])
            if peak[0, number] > 0
        ],
    }
