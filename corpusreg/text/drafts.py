"""What changed between two drafts, as sentences, as text for a terminal and as JSON.

Neither draft is said to be the better one.
"""

from __future__ import annotations

from typing import Any

from corpusreg.comparison.comparison import PlacedStay
from corpusreg.comparison.drafts import DraftChange, Drafts, MeasureChange, Run, place
from corpusreg.comparison.findings import rank_of, reading
from corpusreg.measures.definitions import VERSION
from corpusreg.measures.events import Event
from corpusreg.measures.shifts import Shift
from corpusreg.score.played import Played, PlayedBars
from corpusreg.system.phrases import capital, joined, plural
from corpusreg.system.plaintext import plain
from corpusreg.text.console import register_map
from corpusreg.text.findings import event_words, move_words
from corpusreg.text.measures import rank_cell, value_words
from corpusreg.text.reading import length_words
from corpusreg.text.tabular import items, screen, wrap
from corpusreg.text.wording import bar_range, interval, labels, register, rounded

__all__ = [
    "NOTHING", "change_words", "changed_bars", "clearest_changes", "drafts_document",
    "drafts_text", "in_short", "measure_row", "remarks", "run_words",
]  # fmt: skip

NOTHING = "Nothing has changed."
_UNLIKE = (
    "Hardly a bar of the earlier draft is found again: these may be two pieces, or one is "
    "transposed, so only the measures can be set side by side."
)
_MOST = 4  # runs of bars in one sentence
_ALIKE = "as before"
_NEARLY = "about as before"
_KINDS = ("stay", "shift", "event")
_TOLD = 4  # stays, shifts and events each


def remarks(d: Drafts) -> list[str]:
    """What must be known before two drafts are set side by side."""
    found = []
    before, now = d.earlier.piece.ensemble, d.later.piece.ensemble
    if before != now:
        found.append(f"It was for {plain(before)} before and is for {plain(now)} now.")
    if d.unlike:
        found.append(_UNLIKE)
    if not d.same_works:
        found.append(
            "The two are compared with different works, so their ranks cannot be set side by "
            "side."
        )
    return found


def changed_bars(d: Drafts) -> list[Run]:
    """Runs of bars that are not as before, in order."""
    return [run for run in d.runs if run.kind != "same"]


def run_words(run: Run, d: Drafts) -> str:
    """One run of bars as a sentence."""
    if run.kind == "gone":
        where = bar_range(d.earlier.bars, *run.before)
        return f"{capital(where)} before: gone."
    where = capital(bar_range(d.later.bars, *run.now))
    if run.kind == "new":
        return f"{where}: new."
    before = bar_range(d.earlier.bars, *run.before)
    if before.lower() != where.lower():
        where += f" ({before} before)"
    if run.moved:
        way = "higher" if run.moved > 0 else "lower"
        return f"{where}: the same, {interval(abs(run.moved))} {way} now."
    said = {
        "loudness": "the same notes with other dynamics",
        "register": "the same notes, some of them in other octaves now",
        "changed": "changed",
        "rewritten": "other music now",
    }
    return f"{where}: {said[run.kind]}."


def measure_row(each: MeasureChange) -> tuple[str, str, str, str]:
    """Title, value before, value now, and what is said of it."""
    values = each.before.value, each.now.value
    before, now = (value_words(value, each.measure.unit) for value in values)
    said = _change_cell(each) if each.changed else _ALIKE if before == now else _NEARLY
    return each.measure.title, before, now, said


def _change_cell(each: MeasureChange) -> str:
    if each.before.value is None or each.now.value is None:
        missing = each.now if each.now.value is None else each.before
        when = "now" if each.now.value is None else "before"
        return f"{when}: {missing.placement.reason}"
    side = "more now" if each.now.value > each.before.value else "less now"
    rank = rank_of(each.now) if each.elsewhere else None
    return f"{side}: {rank_cell(rank)}" if rank else side


def change_words(each: DraftChange, d: Drafts) -> str:
    """One stay, shift or event that is not as before, as a sentence."""
    was = each.before and _item(each.before, d.earlier.whole.played)
    now = each.now and _item(each.now, d.later.whole.played)
    if was and now:
        return f"Now {now}; before, {was}."
    return f"New: {now}." if now else f"Gone: {was}."


def _item(item: PlacedStay | Shift | Event, played: Played) -> str:
    if isinstance(item, Shift):
        return f"in {bar_range(played.bars, item.bar, item.bar + 1)} {move_words(item)}"
    if isinstance(item, Event):
        text = event_words(item, played.bars, played.spelling)
        return f"{text[:1].lower()}{text[1:]}"
    where = bar_range(played.bars, item.stay.first, item.stay.last)
    stays = "stays" if item.stay.bars == 1 else "stay"
    notes = register(item.stay.low, item.stay.high, played.spelling)
    return f"{where} {stays} in one register, {notes}"


def clearest_changes(d: Drafts) -> tuple[list[DraftChange], str]:
    """The clearest stays, shifts and events that are not as before, in order of time.

    With them a sentence that says how many are left out, '' where none is.
    """
    found = [each for each in d.changes if each.status != _ALIKE]
    events = {_when(each)[0] for each in found if _is_shift(each)}
    found = [each for each in found if each.kind != "shift" or _when(each)[0] not in events]
    told: list[DraftChange] = []
    for kind in _KINDS:
        own = [each for each in found if each.kind == kind]
        told += sorted(own, key=lambda each: (-_clear(each), _when(each)))[:_TOLD]
    left = len(found) - len(told)
    more = f"These are the clearest {len(told)} of {len(found)}." if left else ""
    return sorted(told, key=_when), more


def _is_shift(each: DraftChange) -> bool:
    """Whether it is a shift that is told as an event."""
    item = each.now or each.before
    return isinstance(item, Event) and item.kind == "shift"


def _clear(each: DraftChange) -> float:
    """How clear a change is among those of its kind."""
    item = each.now or each.before
    if isinstance(item, Shift):
        return item.mass
    if isinstance(item, Event):
        return item.strength
    return item.stay.bars if item else 0.0


def _when(each: DraftChange) -> tuple[int, int]:
    item = each.now or each.before
    return place(item)[0] if item else 0, _KINDS.index(each.kind)


def in_short(d: Drafts) -> str:
    """What changed, in one sentence or two for a sheet."""
    if d.untouched:
        return NOTHING
    if d.unlike:
        return _UNLIKE
    runs = changed_bars(d)
    said = [run_words(run, d).removesuffix(".") for run in runs[:_MOST]]
    if len(runs) > _MOST:
        said.append(f"and {plural(len(runs) - _MOST, 'more passage')}")
    measures = [
        f"{each.measure.title} {value_words(each.now.value, each.measure.unit)} "
        f"(before {value_words(each.before.value, each.measure.unit)})"
        for each in d.measures
        if each.changed and each.elsewhere
    ]
    said[1:] = [f"{words[:1].lower()}{words[1:]}" for words in said[1:]]
    text = "; ".join(said) + "." if said else "The notes are as before."
    return f"{text} Now {joined(measures[:2])}." if measures else text


_TITLE = 31


def drafts_text(d: Drafts, reference_id: str) -> str:
    """Both drafts for a terminal, without a trailing newline."""
    before, now = d.earlier, d.later
    lines = [
        *wrap(plain(now.piece.title)),
        *wrap(f"now: {plain(now.piece.path)} ({length_words(reading(now))})"),
        *wrap(f"before: {plain(before.piece.path)} ({length_words(reading(before))})"),
        *(line for text in remarks(d) for line in wrap(text)),
        "",
    ]
    made = f"(reference {reference_id}, definitions {VERSION})"
    if d.untouched:
        return "\n".join([*lines, NOTHING, "", made])
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
            "Stays, shifts and events that have changed",
            *_changes(d),
            "",
            made,
        ]
    )


def _bars(d: Drafts) -> list[str]:
    told = [run_words(run, d) for run in changed_bars(d)]
    kept = sum(run.now[1] - run.now[0] for run in d.runs if run.kind == "same")
    verb = "is" if kept == 1 else "are"
    return items([*told, f"{plural(kept, 'bar')} {verb} as before."])


def _measures(d: Drafts) -> list[str]:
    lines = [f"{'All measures':<{_TITLE}}{'before':>18}{'now':>18}"]
    for each in d.measures:
        title, before, now, said = measure_row(each)
        row = f"  {title:<{_TITLE - 2}}{_short(before):>18}{_short(now):>18}"
        fits = len(row) + 2 + len(said) <= screen().width
        lines += [f"{row}  {said}"] if fits else [row, *wrap(said, indent=" " * 34)]
    return lines


def _changes(d: Drafts) -> list[str]:
    told, more = clearest_changes(d)
    lines = items([change_words(each, d) for each in told] or ["none"])
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
                "words": measure_row(each)[3],
            }
            for each in d.measures
        ],
        "changes": [
            {
                "kind": each.kind,
                "status": each.status,
                "before": _where(each.before, before.bars),
                "now": _where(each.now, now.bars),
                "words": None if each.status == "as before" else change_words(each, d),
            }
            for each in d.changes
        ],
        "words": [*remarks(d), in_short(d)],
    }


def _run(bars: PlayedBars, run: tuple[int, int]) -> list[str] | None:
    return labels(bars, *run) if run[0] < run[1] else None


def _where(item: PlacedStay | Shift | Event | None, bars: PlayedBars) -> list[str] | None:
    return labels(bars, *place(item)) if item else None
