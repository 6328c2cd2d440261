"""Two drafts side by side as text for a terminal and as plain data for JSON."""

from __future__ import annotations

from typing import Any

from corpusreg.comparison.comparison import PlacedStay
from corpusreg.comparison.drafts import Drafts, place
from corpusreg.measures.definitions import VERSION
from corpusreg.measures.events import Event
from corpusreg.measures.shifts import Shift
from corpusreg.score.played import PlayedBars
from corpusreg.system.phrases import plural
from corpusreg.system.plaintext import plain
from corpusreg.text import drafts as words
from corpusreg.text.lines import items, screen, wrap
from corpusreg.text.outputs.console import register_map
from corpusreg.text.outputs.numbers import labels, rounded
from corpusreg.text.sentences import (
    length_words,
)

__all__ = ["drafts_document", "drafts_text"]

_TITLE = 31


def drafts_text(d: Drafts, reference_id: str) -> str:
    """Both drafts for a terminal, without a trailing newline."""
    before, now = d.earlier, d.later
    lines = [
        *wrap(plain(now.piece.title)),
        *wrap(f"now: {plain(now.piece.path)} ({length_words(now)})"),
        *wrap(f"before: {plain(before.piece.path)} ({length_words(before)})"),
        *(line for text in words.remarks(d) for line in wrap(text)),
        "",
    ]
    made = f"(reference {reference_id}, definitions {VERSION})"
    if d.untouched:
        return "\n".join([*lines, words.NOTHING, "", made])
    rows = (
        min(each.whole.lowest for each in (before, now)),
        max(each.whole.highest for each in (before, now)),
    )
    return "\n".join(
        [
            *lines,
            "Before",
            *register_map(before, rows),
            "",
            "Now",
            *register_map(now, rows),
            "",
            "Which bars changed",
            *_bars(d),
            "",
            *_measures(d),
            "",
            "Stays, shifts and events that are not as before",
            *_changes(d),
            "",
            made,
        ]
    )


def _bars(d: Drafts) -> list[str]:
    told = [words.run_words(run, d) for run in words.changed_bars(d)]
    kept = sum(run.now[1] - run.now[0] for run in d.runs if run.kind == "same")
    verb = "is" if kept == 1 else "are"
    return items([*told, f"{plural(kept, 'bar')} {verb} as before."])


def _measures(d: Drafts) -> list[str]:
    lines = [f"{'All measures':<{_TITLE}}{'before':>18}{'now':>18}"]
    for each in d.measures:
        title, before, now, said = words.measure_row(each)
        row = f"  {title:<{_TITLE - 2}}{_short(before):>18}{_short(now):>18}"
        fits = len(row) + 2 + len(said) <= screen().width
        lines += [f"{row}  {said}"] if fits else [row, *wrap(said, indent=" " * 34)]
    return lines


def _changes(d: Drafts) -> list[str]:
    told, more = words.told_changes(d)
    lines = items([words.change_words(each, d) for each in told] or ["none"])
    return [*lines, *wrap(more, indent="  ")]


def _short(value: str) -> str:
    return value.removesuffix(" a beat")


def drafts_document(d: Drafts) -> dict[str, Any]:
    """What changed, as it stands in `compare --json` beside the later draft."""
    before, now = d.earlier, d.later
    return {
        "earlier": {
            "title": before.piece.title,
            "path": before.piece.path,
            "bars": before.written_bars,
            "ensemble": before.piece.ensemble,
        },
        "nothing_changed": d.untouched,
        "same_works": d.same_works,
        "bars": [
            {
                "kind": run.kind,
                "before": _run(before.bars, run.before),
                "now": _run(now.bars, run.now),
                "semitones": run.moved,
            }
            for run in d.runs
        ],
        "measures": [
            {
                "name": each.measure.name,
                "unit": each.measure.unit,
                "before": rounded(each.before.value, 4),
                "now": rounded(each.now.value, 4),
                "percentile_before": rounded(each.before.placement.percentile),
                "percentile_now": rounded(each.now.placement.percentile),
                "changed": each.changed,
                "elsewhere": each.elsewhere,
                "words": words.measure_row(each)[3],
            }
            for each in d.measures
        ],
        "changes": [
            {
                "kind": each.kind,
                "status": each.status,
                "before": _where(each.before, before.bars),
                "now": _where(each.now, now.bars),
                "words": None if each.status == "as before" else words.change_words(each, d),
            }
            for each in d.changes
        ],
        "words": [*words.remarks(d), words.in_short(d)],
    }


def _run(bars: PlayedBars, run: tuple[int, int]) -> list[str] | None:
    return labels(bars, *run) if run[0] < run[1] else None


def _where(item: PlacedStay | Shift | Event | None, bars: PlayedBars) -> list[str] | None:
    return labels(bars, *place(item)) if item else None
