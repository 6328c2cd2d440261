"""A comparison as the JSON document that `compare --json` prints.

Its JSON Schema is `corpusreg/data/comparison.schema.json`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from corpusreg.comparison.comparison import Comparison, PlacedEvent, PlacedMeasure, PlacedStay
from corpusreg.comparison.drafts import Drafts
from corpusreg.comparison.examples import Example
from corpusreg.measures.background import Background
from corpusreg.measures.definitions import VERSION
from corpusreg.measures.events import UNIT
from corpusreg.measures.shifts import Shift
from corpusreg.norms.profiles.model import PlacedProfile
from corpusreg.score.pitch import band_name, note_name
from corpusreg.score.played import PlayedBars, segments
from corpusreg.text import sentences
from corpusreg.text.events import event_words
from corpusreg.text.outputs.drafts_text import drafts_document
from corpusreg.text.outputs.numbers import labels, rounded
from corpusreg.text.outputs.player_document import parts_document, two_level_document
from corpusreg.text.outputs.study_document import study_document
from corpusreg.text.profiles import firmness_words, neighbour_words

__all__ = ["document", "rounded"]


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
    works = [_work(each) for each in comparisons]
    for c, work, (sharing, otherwise) in zip(comparisons, works, studied, strict=False):
        work["study"] = study_document(c, sharing, otherwise)
    for work, changed in zip(works, drafts, strict=False):
        work["drafts"] = drafts_document(changed)
    return {
        "works": works,
        "failures": list(failures),
        "reference_id": reference_id,
        "definitions": VERSION,
    }


def _work(c: Comparison) -> dict[str, Any]:
    piece, cohort = c.piece, c.cohort
    return {
        "piece": {
            "title": piece.title,
            "path": piece.path,
            "bars": c.written_bars,
            "played_bars": len(c.bars),
            "parts": list(piece.parts),
            "ensemble": piece.ensemble,
            "lowest": note_name(c.whole.lowest),
            "highest": note_name(c.whole.highest),
        },
        "cohort": {
            "rung": cohort.rung.name,
            "broad": cohort.rung.broad,
            "works": cohort.works,
            "composers": cohort.composers,
            "sources": cohort.sources,
            "collections": cohort.collections,
            "description": sentences.cohort_words(cohort),
        },
        "measures": [_measure(each, c.bars) for each in c.measures],
        "neighbours": [
            {
                "cohort": title,
                "percentiles": {n: rounded(p.percentile) for n, p in places.items()},
            }
            for title, places in c.others.items()
        ],
        "stands_out": [each.measure.name for each in sentences.standing_out(c)],
        "as_far_out": rounded(c.odder, 3),
        "stays": [_stay(each, c.bars) for each in c.stays],
        "shifts": [_shift(each, c.bars) for each in c.shifts],
        "events": [_event(each, c.bars) for each in c.events],
        "background": [_background(each, c.bars) for each in c.background],
        "saturation": _saturation(c),
        "parts": parts_document(c),
        "two_level": two_level_document(c),
        "profile": _profile(c.profile),
        "profile_reason": c.profile if isinstance(c.profile, str) else None,
        "assumed": list(piece.assumed),
        "notes": [*piece.notes, *sentences.disagreements(c)],
    }


def _measure(each: PlacedMeasure, bars: PlayedBars) -> dict[str, Any]:
    placement = each.placement
    interval = placement.interval
    result: dict[str, Any] = {
        "name": each.measure.name,
        "value": rounded(each.value, 4),
        "unit": each.measure.unit,
        "percentile": rounded(placement.percentile),
        "interval": None if interval is None else [rounded(edge) for edge in interval],
        "median": rounded(placement.median, 4),
        "words": sentences.measure_words(each.measure, each.value, placement),
        "bars": [labels(bars, a, b) for a, b in each.passages],
    }
    if placement.percentile is None:
        result["reason"] = placement.reason
    for name, places in (
        ("by_collection", placement.collections),
        ("by_period", placement.periods),
    ):
        if places:
            result[name] = {group: rounded(place) for group, place in places.items()}
    return result


def _stay(each: PlacedStay, bars: PlayedBars) -> dict[str, Any]:
    stay = each.stay
    start, end = labels(bars, stay.first, stay.last)
    return {
        "part": each.part,
        "start_bar": start,
        "end_bar": end,
        "segments": [list(run) for run in segments(bars, stay.first, stay.last)],
        "played": [stay.first, stay.last],
        "bars": stay.bars,
        "bands": [band_name(band) for band in each.bands],
        "low": note_name(stay.low),
        "high": note_name(stay.high),
        "width": stay.width,
        "narrow": each.narrow,
        "rank": each.rank,
    }


def _shift(shift: Shift, bars: PlayedBars) -> dict[str, Any]:
    return {
        "bar": bars.labels[shift.bar],
        "index": int(bars.written[shift.bar]),
        "played": shift.bar,
        "size": rounded(shift.size, 2),
        "direction": shift.direction,
        "by": shift.by,
    }


def _event(each: PlacedEvent, bars: PlayedBars) -> dict[str, Any]:
    event = each.event
    start, end = labels(bars, event.first, event.last)
    return {
        "part": each.part,
        "kind": event.kind,
        "start_bar": start,
        "end_bar": end,
        "index": int(bars.written[event.first]),
        "played": [event.first, event.last],
        "beat": event.beat,
        "low": None if event.low is None else note_name(event.low),
        "high": None if event.high is None else note_name(event.high),
        "bars": rounded(event.bars, 2),
        "first_time": event.never,
        "again_from": None if event.again is None else bars.labels[event.again],
        "strength": rounded(event.strength, 1),
        "unit": UNIT,
        "words": event_words(event, bars),
    }


def _background(each: Background, bars: PlayedBars) -> dict[str, Any]:
    start, end = labels(bars, each.first, each.last)
    return {
        "note": note_name(each.pitch),
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
