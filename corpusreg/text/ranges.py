"""The table of instruments as text for a terminal and as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from corpusreg.instruments import Instrument, Instruments
from corpusreg.instruments.limits import Level, furthest, levels
from corpusreg.score.pitch import note_name
from corpusreg.text.tabular import text_table, wrap

__all__ = ["ranges_document", "ranges_text", "row_text"]

_LABEL = 14


def ranges_text(rows: Sequence[Instrument]) -> str:
    """All rows: sounding ranges by level, and where they come from, by number."""
    sources = {source: n for n, source in enumerate(dict.fromkeys(r.source for r in rows), 1)}
    cells = [
        (
            row.id,
            *map(_span, (row.professional, row.student, row.comfortable, _paper(row))),
            str(sources[row.source]),
        )
        for row in rows
    ]
    names = ["instrument", "professional", "student", "comfortable", "written", "source"]
    numbered = [(str(n), source or "not stated") for source, n in sources.items()]
    return f"{text_table(names, cells)}\n\n{text_table(['source', 'what it is'], numbered)}"


def row_text(row: Instrument, table: Instruments) -> str:
    """All that the tables say of one instrument."""
    beyond = furthest(row.id)
    facts = [
        ("sounding", f"{_span(row.professional)} professional, {_span(row.student)} student"),
        ("comfortable", _span(row.comfortable)),
        ("learners", _learners(levels(row.id))),
        ("furthest", f"{_notes(beyond)}: {beyond.source}" if beyond else ""),
        ("written", _written(row)),
        ("registers", "; ".join(f"{r.name} {_span((r.low, r.high))}" for r in row.registers)),
        ("breaks", ", ".join(f"{note_name(a)}/{note_name(b)}" for a, b in _breaks(row))),
        ("tires", "; ".join(map(_span, row.tiring))),
        ("dull", "; ".join(map(_span, row.dull))),
        ("sound", {"sustained": "lasts"}.get(row.decay, f"{row.decay}, dies away")),
        ("kind of", row.kind_of),
        ("printed as", ", ".join(table.printed_names(row.id))),
        ("MusicXML", ", ".join(row.sound_ids)),
        ("kern", ", ".join(row.kern_codes)),
        ("MIDI", ", ".join(str(byte) for byte in row.programs)),
        ("source", row.source),
    ]
    lines = [f"{row.name} ({row.family})"]
    for label, text in facts:
        if text:
            lines += wrap(text, " " * _LABEL, f"  {label:<{_LABEL - 2}}")
    return "\n".join(lines)


def _learners(several: Sequence[Level]) -> str:
    """'band grade 1 D3-Ab4, band grade 2 D3-G5: source', a source once."""
    found: dict[str, list[str]] = {}
    for each in several:
        found.setdefault(each.source, []).append(f"{each.name} {_notes(each)}")
    return "; ".join(f"{', '.join(said)}: {source}" for source, said in found.items())


def _notes(each: Level) -> str:
    if each.low is None:
        return f"up to {note_name(each.high)}"
    return _span((each.low, each.high))


def ranges_document(rows: Iterable[Instrument], table: Instruments) -> list[dict[str, Any]]:
    """Rows as JSON: spans sounding unless 'written'; programs count from 0."""
    return [
        {
            "id": row.id,
            "name": row.name,
            "family": row.family,
            "professional": _pair(row.professional),
            "student": _pair(row.student),
            "comfortable": _pair(row.comfortable),
            "written": {
                level: _pair(_shifted(row.limits(level), -row.transposition))
                for level in ("professional", "student")
            },
            "transposition": row.transposition,
            "levels": [
                {
                    "level": each.name,
                    "lowest": None if each.low is None else note_name(each.low),
                    "highest": note_name(each.high),
                    "source": each.source,
                }
                for each in (*levels(row.id), *filter(None, [furthest(row.id)]))
            ],
            "registers": [
                {"name": r.name, "lowest": note_name(r.low), "highest": note_name(r.high)}
                for r in row.registers
            ],
            "tiring": [_pair(zone) for zone in row.tiring],
            "dull": [_pair(zone) for zone in row.dull],
            "decay": row.decay,
            "kind_of": row.kind_of or None,
            "generic": row.generic,
            "names": list(table.printed_names(row.id)),
            "sound_ids": list(row.sound_ids),
            "kern_codes": list(row.kern_codes),
            "programs": list(row.programs),
            "source": row.source,
        }
        for row in rows
    ]


def _breaks(row: Instrument) -> Iterable[tuple[int, int]]:
    """The notes on both sides of each border between registers."""
    for below, above in zip(row.registers, row.registers[1:], strict=False):
        yield below.high, above.low


def _paper(row: Instrument) -> tuple[int, int]:
    """The professional range as written."""
    return _shifted(row.professional, -row.transposition)


def _written(row: Instrument) -> str:
    if not row.transposition:
        return "as it sounds"
    spans = [_span(_shifted(row.limits(lv), -row.transposition)) for lv in _LEVELS]
    way = "below" if row.transposition < 0 else "above"
    by = abs(row.transposition)
    return (
        f"{spans[0]} professional, {spans[1]} student; sounds {by} "
        f"semitone{'' if by == 1 else 's'} {way} what is written"
    )


_LEVELS = ("professional", "student")


def _shifted(span: tuple[int, int], by: int) -> tuple[int, int]:
    return span[0] + by, span[1] + by


def _span(span: tuple[int, int]) -> str:
    return f"{note_name(span[0])}-{note_name(span[1])}"


def _pair(span: tuple[int, int]) -> dict[str, str]:
    return {"lowest": note_name(span[0]), "highest": note_name(span[1])}
