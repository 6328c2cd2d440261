"""From a comparison to the content of its report. See `corpusreg.documents.report.model`.

Numbers come out of the document that `compare --json` prints, sentences out of `words`:
nothing is measured, rounded or judged here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from corpusreg.comparison.comparison import Comparison, PlacedMeasure
from corpusreg.documents.report.model import (
    Content,
    Figure,
    Finding,
    Findings,
    Mark,
    Marks,
    Measured,
    Measures,
    Offer,
    Offers,
    Passages,
    Picture,
    Place,
)
from corpusreg.documents.report.origin import origin
from corpusreg.documents.report.passages import passages, place
from corpusreg.documents.report.people import parts
from corpusreg.documents.report.terms import Explainer
from corpusreg.documents.report.works import works
from corpusreg.measures.definitions import MEASURES
from corpusreg.system.phrases import capital, joined, plural
from corpusreg.system.plaintext import plain
from corpusreg.text import sentences
from corpusreg.text.bars import (
    first_times,
)
from corpusreg.text.events import event_words, told_events
from corpusreg.text.offers import CAUTION, try_words
from corpusreg.text.outputs.numbers import rounded
from corpusreg.text.players import TIRING, reach_words, reaching, tires, torn

__all__ = ["content"]

_MOST = 3  # measures that stand out, stays, shifts and events told


def content(
    c: Comparison,
    reference_id: str,
) -> Content:
    """All that a report says about one work, in the order of reading."""
    explain = Explainer()
    compared, disagreements = _compared(c), tuple(sentences.disagreements(c))
    facts = (sentences.forces(c), sentences.length_words(c), sentences.compass(c))
    named = [m for m in MEASURES if any(m.title in text for text in disagreements)]
    return Content(
        title=plain(c.piece.title),
        facts=facts,
        compared=compared,
        disagreements=disagreements,
        terms=explain([*facts, compared, *disagreements], named),
        findings=_findings(c, explain),
        marks=_marks(c, explain),
        measures=_measures(c, explain),
        passages=_passages(c, explain),
        offers=_offers(c, explain),
        works=works(c, explain),
        parts=parts(c, explain),
        assumed=tuple(map(plain, c.piece.assumed)),
        notes=tuple(map(plain, c.piece.notes)),
        origin=origin(c, reference_id, explain),
    )


def _compared(c: Comparison) -> str:
    broad = (
        "a broad group, since the reference holds few works like this piece: "
        if c.cohort.rung.broad
        else ""
    )
    return f"Compared with {broad}{sentences.cohort_words(c.cohort)}."


def _places(c: Comparison, runs: Iterable[tuple[int, int]]) -> tuple[Place, ...]:
    """Passages in the order they are heard, each printed passage once."""
    return tuple(place(c, *run) for run in first_times(c.bars, sorted(set(runs))))


def _findings(c: Comparison, explain: Explainer) -> Findings:
    """Parts torn between the whole and their instrument, measures, then other parts."""
    leading, strained = sentences.leading(c)[:_MOST], reaching(c)[:_MOST]
    first = [_part_finding(p.name, c) for p in strained if torn(p)]
    last = [_part_finding(p.name, c) for p in strained if not torn(p)]
    found = (*first, *(_measure_finding(each, also, c) for each, also in leading), *last)
    cautions = []
    if any(p.lying and tires(p.lying) for p in strained):
        cautions.append(TIRING)
    if sentences.far_apart(c) or (strained and not cautions):
        cautions.append(CAUTION)
    nothing = "" if leading else sentences.nothing_words(c, besides=bool(first))
    texts = [nothing, *(f"{each.lead} {each.said} {each.offer}" for each in found), *cautions]
    explain.met(each.measure for each, _ in leading)
    likewise = [each.measure for _, also in leading for each in also]
    texts += [measure.title for measure in likewise]
    return Findings(found, nothing, tuple(cautions), explain(texts, likewise))


def _measure_finding(
    each: PlacedMeasure, likewise: Sequence[PlacedMeasure], c: Comparison
) -> Finding:
    said = sentences.measure_words(each.measure, each.value, each.placement)
    value = sentences.value_words(each.measure, each.value)
    return Finding(
        kind="measure",
        name=each.measure.name,
        lead=f"{capital(each.measure.title)}, {value}",
        said=f"The piece {said}.",
        likewise=tuple(other.measure.title for other in likewise),
        places=_places(c, sentences.where(each, c)),
        offer=try_words(each),
        meaning=each.measure.meaning,
    )


def _part_finding(name: str, c: Comparison) -> Finding:
    player = next(each for each in c.players.parts if each.name == name)
    reach = player.lying.reach if player.lying else None
    return Finding(
        kind="part",
        name=name,
        lead=plain(player.name),
        said=f"{capital(reach_words(player, c.bars))}.",
        likewise=(),
        places=_places(c, [(reach.first, reach.last)] if reach else []),
        offer="",
    )


def _marks(c: Comparison, explain: Explainer) -> Marks:
    stays = tuple(
        Mark(
            "stay",
            each.rank,
            capital(sentences.stay_words(each, c.bars)),
            place(c, each.stay.first, each.stay.last),
        )
        for each in sentences.told_stays(c, _MOST)
    )
    changes = _changes(c)
    remarks = []
    if not c.shifts:
        remarks.append("No clear shift of register.")
    if changes and not c.whole.played.dynamics_known:
        remarks.append("No dynamics are written: every note counts as mezzo-forte here.")
    hollow = next(each for each in c.measures if each.measure.name == "hollow_share")
    picture = Picture(
        "map",
        "Time runs from left to right in bars, pitch from low to high; the stronger the "
        "colour, the more weight a note has. Boxes are stays; signs with numbers are shifts "
        "and events.",
        f"Register map of {plain(c.piece.title)}: {sentences.length_words(c)}, "
        f"notes from {sentences.compass(c)}; {plural(len(c.whole.stays), 'stay')}, "
        f"{plural(len(c.shifts), 'shift')}.",
    )
    texts = [picture.caption, *(mark.words for mark in (*stays, *changes)), *remarks]
    return Marks(
        picture=picture,
        stays=stays,
        changes=changes,
        all_stays=len(c.whole.stays),
        all_shifts=len(c.shifts),
        all_events=len(c.whole.events),
        hollow=_places(c, hollow.passages if hollow.value else ()),
        ranked=tuple(
            place(c, each.stay.first, each.stay.last) for each in c.stays if each.part is None
        ),
        remarks=tuple(remarks),
        terms=explain([*texts, "hollow" if hollow.value else ""]),
    )


def _changes(c: Comparison) -> tuple[Mark, ...]:
    """The clearest shifts and the strongest events in order of time."""
    shifts = [
        Mark(
            "shift",
            c.shifts.index(each) + 1,
            capital(sentences.shift_words(each, c.bars)),
            place(c, each.bar, each.bar + 1),
        )
        for each in sentences.clearest_shifts(c, _MOST)
    ]
    events = [
        Mark(
            "event",
            c.whole.events.index(each) + 1,
            event_words(each, c.bars),
            place(c, each.first, each.last),
        )
        for each in told_events(c, _MOST)
    ]
    return tuple(sorted([*shifts, *events], key=lambda mark: mark.place.first))


def _measures(c: Comparison, explain: Explainer) -> Measures:
    rows = tuple(_measured(each, c) for each in c.measures)
    octaves = Picture(
        "octaves",
        "How much of the sound lies in each octave, in this piece and in the works "
        "compared with.",
        "Octaves in use, this piece beside the works compared with.",
    )
    explain.met(each.measure for each in c.measures)
    texts = [f"{row.meaning} {row.value} {row.short} {row.reason}" for row in rows]
    return Measures(rows, octaves, explain(texts))


def _measured(each: PlacedMeasure, c: Comparison) -> Measured:
    measure, interval = each.measure, each.placement.interval
    value = sentences.value_words(measure, each.value)
    short = sentences.place_words(measure, each.value, each.placement)
    placed = each.placement.percentile is not None
    return Measured(
        name=measure.name,
        title=measure.title,
        meaning=measure.meaning,
        value=value,
        short=short,
        said=sentences.measure_words(measure, each.value, each.placement) if placed else "",
        reason="" if placed else each.placement.reason,
        stands_out=any(other is each for other in sentences.standing_out(c)),
        figure=Figure(
            value=rounded(each.value, 4),
            unit=measure.unit,
            percentile=rounded(each.placement.percentile),
            interval=None
            if interval is None
            else (round(float(interval[0]), 1), round(float(interval[1]), 1)),
            median=rounded(each.placement.median, 4),
        ),
        places=_places(c, sentences.where(each, c) if each.value else ()),
        picture=Picture(f"strip-{measure.name}", "", f"{capital(measure.title)}: {short}")
        if placed
        else None,
    )


def _passages(c: Comparison, explain: Explainer) -> Passages:
    shown = passages(c)
    texts = [why for each in shown for why in each.why]
    return Passages(shown, c.piece.path, c.piece.number, explain(texts))


def _offers(c: Comparison, explain: Explainer) -> Offers:
    offers = tuple(
        Offer(try_words(each), each.measure.title, _places(c, sentences.where(each, c)))
        for each, _ in sentences.leading(c)[:_MOST]
    )
    if offers:
        titles = joined([each.about for each in offers])
        said = f"Offers, not rules; leaving things as they are is one more. About {titles}:"
    else:
        said = (
            "No measure stands out, so there is nothing in particular to try. "
            "The passages above are worth playing and hearing all the same."
        )
    return Offers(said, offers, explain([said, *(each.text for each in offers)]))
