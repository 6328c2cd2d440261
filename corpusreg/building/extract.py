"""One score file to plain rows: the work done in a worker.

A work that cannot be read or measured becomes a failures row and stops nothing.

Edges are players at the edge of their instrument while the whole sounds in the middle. The
whole is the compass that the instruments of the work have together; its middle is the
middle third. An edge is the outer tenth of an instrument's range, or beyond what is
comfortable (`corpusreg.measures.height`). A passage is a run of bars in which a part has
half of its time or more on such pitches.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from corpusreg.corpus.facts import WorkFacts, describe
from corpusreg.corpus.files import SourceFile, content_hash
from corpusreg.corpus.licences import licence
from corpusreg.instruments import Instruments, load
from corpusreg.instruments.ensembles import Ensemble, ensemble_of, kinds
from corpusreg.measures import height, lines
from corpusreg.measures.analysis import (
    Analysis,
    analyse,
    is_narrow,
    occupied_bands,
    part_events,
)
from corpusreg.measures.events import Event
from corpusreg.measures.rebar import REBARRED, rebarred
from corpusreg.measures.saturation import full
from corpusreg.measures.shifts import counts_in_rate
from corpusreg.measures.shifts import edges as texture_edges
from corpusreg.measures.space import curve
from corpusreg.score.duplicates import fingerprint, shingles
from corpusreg.score.notes import Score
from corpusreg.score.played import Played, PlayedBars, perform, segments
from corpusreg.score.readers import read_file
from corpusreg.store.tables import Rows, columns
from corpusreg.system.errors import CorpusregError, ReadError

__all__ = ["EXTRACTION_VERSION", "edges", "extract_file"]

LONG = 12.0  # bars


@dataclass(frozen=True)
class Edge:
    """The longest such passage of a part, played bars first to last (half-open).

    low, high: its lowest and highest pitch there. strength: 100 x the square root of
    bars / (bars + 12) x the share of the part's time that is spent there.
    """

    part: int
    first: int
    last: int
    low: int
    high: int
    strength: float


def edges(played: Played, table: Instruments) -> list[Edge]:
    """One passage a part at most, in score order; none where a single part sounds."""
    sounding = np.unique(played.notes.part).tolist()
    matched = table.match_all(played.parts)
    known = [matched[part] for part in sounding]
    spans = [row.professional for row in known if row is not None]
    if len(sounding) < 2 or not spans:
        return []
    compass = height.union(spans)
    found = []
    for part, row in zip(sounding, known, strict=True):
        if row is None:
            continue
        notes = played.notes.take(played.notes.part == part)
        there = height.middle_but_edge(compass, row.professional, row.comfortable)
        run = height.longest_run(notes, there)
        if run is None:
            continue
        own = notes.take((notes.bar >= run[0]) & (notes.bar < run[1]))
        on = there[own.pitch]
        share = float((own.duration * on).sum() / own.duration.sum())
        bars = run[1] - run[0]
        strength = 100 * float(np.sqrt(bars / (bars + LONG) * share))
        low, high = int(own.pitch[on].min()), int(own.pitch[on].max())
        found.append(Edge(part, *run, low, high, strength))
    return found


# Raised when readers, tables of facts or this module give other rows for the same file and
# definitions.
EXTRACTION_VERSION = "21"
EDGE = -1  # number of the event that tells of a part at the edge of its range
HEARD = 0.01  # mean saturation from which an octave gets a row


def extract_file(file: SourceFile) -> Rows:
    """Rows of all works in a file, by table, in the order of the schema's columns."""
    rows: Rows = {}
    content = content_hash(file.path)
    try:
        result = read_file(file.path)
        stated = licence(file)
    except CorpusregError as error:
        return {"failures": [_failure(file, content, "", "read", error)]}
    for number, reason in result.failures:
        _add(rows, "failures", [_failure(file, content, number, "read", reason)])
    for score in result.scores:
        try:
            played = load().as_sounding(perform(score))
            analysis = analyse(played)
            facts = describe(file, score, stated)
        except CorpusregError as error:
            _add(rows, "failures", [_failure(file, content, score.number, "measure", error)])
            continue
        work = f"{file.corpus}:{file.relative}" + (f"#{score.number}" if score.number else "")
        for table, part in _work_rows(work, file, content, score, analysis, facts).items():
            _add(rows, table, part)
    return rows


def _add(rows: Rows, table: str, part: list[tuple[Any, ...]]) -> None:
    rows.setdefault(table, []).extend(part)


def _failure(
    file: SourceFile, content: str, number: str, stage: str, reason: object
) -> tuple[Any, ...]:
    # Without the path, which has a column of its own, so that equal reasons can be counted.
    told = (reason.reason if isinstance(reason, ReadError) else "") or str(reason)
    line = " ".join(told.removeprefix(f"{file.path}: ").split())
    return (file.corpus, file.relative, number, content, stage, line)


def _work_rows(
    work: str,
    file: SourceFile,
    content: str,
    score: Score,
    analysis: Analysis,
    facts: WorkFacts,
) -> Rows:
    ensemble, told = _ensemble(file, score, analysis)
    row = _facts_row(facts) | _music_row(score, analysis, ensemble)
    row |= {
        "work": work,
        "corpus": file.corpus,
        "path": file.relative,
        "number": score.number,
        "content": content,
        "fingerprint": fingerprint(score),
        "same_as": None,
        "assumed": [*row["assumed"], *facts.guessed, *told],
    }
    total = analysis.texture.total
    used = np.flatnonzero(total > 0)
    count = np.bincount(analysis.played.notes.pitch, minlength=len(total))
    return {
        "works": [tuple(row[column] for column in columns("works"))],
        "parts": _part_rows(work, score, analysis),
        "measures": [
            (work, name, each.value, each.reason or None)
            for name, each in analysis.values.items()
        ],
        "measures_rebarred": _rebarred_rows(work, analysis, facts),
        "stays": _stay_rows(work, analysis),
        "shifts": _shift_rows(work, analysis),
        "events": [*_event_rows(work, analysis), *_edge_rows(work, analysis.played)],
        "bar_edges": [_bar_edge_row(work, analysis)],
        "saturation": _saturation_rows(work, analysis),
        "band_weights": [
            (work, band - 1, float(share))
            for band, share in enumerate(analysis.band_shares)
            if share > 0
        ],
        "pitch_weights": [
            (work, int(pitch), float(total[pitch] / total.sum()), int(count[pitch]))
            for pitch in used
        ],
        "curves": _curve_rows(work, analysis),
        "shingles": [(work, int(mark)) for mark in shingles(score)],
        "work_columns": [
            (work, name.removeprefix("column:"), value)
            for name, value in file.known
            if name.startswith("column:")
        ],
        **_line_rows(work, score, analysis),
    }


def _curve_rows(work: str, analysis: Analysis) -> list[tuple[Any, ...]]:
    found = curve(analysis.texture)
    if found is None:
        return []
    return [
        (work, part, *edges) for part, edges in enumerate(np.round(found).astype(int).tolist())
    ]


def _ensemble(
    file: SourceFile, score: Score, analysis: Analysis
) -> tuple[Ensemble, tuple[str, ...]]:
    """The ensemble; where no part names its instrument, the one that its corpus is for."""
    found = ensemble_of(score, analysis.played)
    kind = dict(file.known).get("ensemble", "")
    if found.kind != "unnamed parts" or kind not in kinds():
        return found, ()
    return replace(found, kind=kind), (f"parts without names: taken for a {kind}, by corpus",)


def _rebarred_rows(work: str, analysis: Analysis, facts: WorkFacts) -> list[tuple[Any, ...]]:
    """What is repeated with other bars: for works with a period only, since it takes time."""
    placed = [name for name in REBARRED if not analysis.values[name].reason]
    if not facts.period or not placed:
        return []
    return [
        (work, bars, name, values[name])
        for bars, values in rebarred(analysis.played).items()
        for name in placed
        if name in values
    ]


def _line_rows(work: str, score: Score, analysis: Analysis) -> Rows:
    notes = analysis.played.notes
    found: dict[str, list[Any]] = {
        "part_pitches": lines.part_pitches(notes),
        "steps": lines.steps(notes),
        "skips": lines.skips(notes),
        "part_gaps": lines.part_gaps(notes, len(score.parts)),
        # A single line has no space above its bass.
        "bass_gaps": [] if analysis.texture.most_together < 2 else lines.bass_gaps(notes),
        "phrases": _phrases(score),
    }
    return {table: [(work, *row) for row in rows] for table, rows in found.items() if rows}


def _phrases(score: Score) -> list[tuple[Any, ...]]:
    """Phrases that a reader marked by the ticks they begin at, in written order."""
    marks = score.metadata.get("phrase_ticks", "")
    starts = np.array([int(tick) for tick in marks.split(",") if tick], np.int64)
    heads = score.notes[~(score.notes["tie_in"] | score.notes["grace"])]
    heads = heads[np.argsort(heads["onset"], kind="stable")]
    phrase = np.searchsorted(starts, heads["onset"], side="right") - 1
    rows: list[tuple[Any, ...]] = []
    for number in range(len(starts)):
        pitch = heads["pitch"][phrase == number]
        if len(pitch):
            middle = float(pitch[1:-1].mean()) if len(pitch) > 2 else None
            rows.append((number, len(pitch), float(pitch[0]), middle, float(pitch[-1])))
    return rows


def _facts_row(facts: WorkFacts) -> dict[str, Any]:
    return {
        "collection": facts.collection or None,
        "title": facts.title,
        "movement": facts.movement or None,
        "composer": facts.composer_id or None,
        "composer_name": facts.composer or None,
        "born": facts.born,
        "died": facts.died,
        "year_from": facts.year_from,
        "year_to": facts.year_to,
        "year_source": facts.year_source or None,
        "year": facts.year,
        "period": facts.period or None,
        "genre": facts.genre or None,
        "unit": facts.cluster,
        "tier": facts.licence.tier,
        "statement": facts.licence.statement,
        "evidence": facts.licence.evidence,
    }


def _music_row(score: Score, analysis: Analysis, ensemble: Ensemble) -> dict[str, Any]:
    played = analysis.played
    beats = played.bars.length / np.maximum(played.bars.beat, 1)
    return {
        "ensemble": ensemble.kind,
        "family": kinds()[ensemble.kind].family or None,
        "texture": ensemble.texture,
        "format": score.format,
        "bars": len(played.bars),
        "beats": float(beats.sum()),
        "notes": len(played.notes),
        "parts": len(score.parts),
        "voices": analysis.texture.voices,
        "lowest": analysis.lowest,
        "highest": analysis.highest,
        "dynamics_known": played.dynamics_known,
        "pedal_known": played.pedal_known,
        "tempo_known": played.tempo_known,
        "assumed": list(played.assumed),
        "lost": json.dumps(dict(score.lost), sort_keys=True) if score.lost else None,
    }


def _part_rows(work: str, score: Score, analysis: Analysis) -> list[tuple[Any, ...]]:
    notes = analysis.played.notes
    rows = []
    for index, (part, instrument) in enumerate(
        zip(score.parts, load().match_all(score.parts), strict=True)
    ):
        pitch = notes.pitch[notes.part == index]
        found = (
            (len(pitch), int(pitch.min()), int(pitch.max()), float(pitch.mean()))
            if len(pitch)
            else (0, None, None, None)
        )
        named = (instrument.id, instrument.family) if instrument else (None, None)
        rows.append((work, index, part.name, *named, *found))
    return rows


def _stay_rows(work: str, analysis: Analysis) -> list[tuple[Any, ...]]:
    bars, line = analysis.played.bars, analysis.texture.single_line
    rows = []
    for rank, index in enumerate(analysis.ranking, start=1):
        stay = analysis.stays[index]
        first, last = segments(bars, stay.first, stay.last)[0]
        labels = (bars.labels[stay.first], bars.labels[stay.last - 1])
        width = "narrow" if is_narrow(stay, line) else "wide"
        bands = list(occupied_bands(stay, analysis))
        where = (first, last, *labels, stay.first, stay.last, stay.bars)
        rows.append((work, None, index, *where, stay.low, stay.high, width, bands, rank))
    return rows


def _shift_rows(work: str, analysis: Analysis) -> list[tuple[Any, ...]]:
    bars = analysis.played.bars
    rows: list[tuple[Any, ...]] = []
    clear = {shift.bar: shift for shift in analysis.shifts}
    every = {shift.bar: shift for shift in analysis.moves}
    for index, (bar, shift) in enumerate(sorted((every | clear).items())):
        where = (int(bars.written[bar]), bars.labels[bar])
        what = (shift.size, shift.direction, shift.by, shift.abrupt, bool(bars.section[bar]))
        counted = bar in every and counts_in_rate(every[bar])
        rows.append((work, index, *where, *what, bar in clear, counted))
    return rows


def _event_rows(work: str, analysis: Analysis) -> list[tuple[Any, ...]]:
    """Events of the whole and of every part, numbered by their rank."""
    bars = analysis.played.bars
    found: list[tuple[int | None, tuple[Event, ...]]] = [(None, analysis.events)]
    found += list(part_events(analysis.played).items())
    return [
        (work, part, rank, *_event_row(event, bars))
        for part, events in found
        for rank, event in enumerate(events)
    ]


def _event_row(event: Event, bars: PlayedBars) -> tuple[Any, ...]:
    labels = bars.labels
    again = None if event.again is None else labels[event.again]
    since = None if event.since is None else labels[event.since]
    where = (int(bars.written[event.bar]), labels[event.bar])
    span = (labels[event.first], labels[max(event.last - 1, event.first)])
    played = (event.bar, event.first, event.last, event.beat)
    notes = (event.low, event.high, list(event.pitches), list(event.players))
    first_time = event.silence > 0 and event.since is None
    silence = (event.lasts, event.silence, since, first_time, event.edge)
    motion = (event.distance, event.direction or None, event.approach or None)
    what = (event.place or None, event.ending or None, event.by or None, event.interval)
    rest = (again, event.times, event.section, 100 * event.strength)
    return (event.kind, *where, *span, *played, *notes, *silence, *motion, *what, *rest)


def _edge_rows(work: str, played: Played) -> list[tuple[Any, ...]]:
    """Passages of parts at their edge, as events numbered EDGE."""
    rows: list[tuple[Any, ...]] = []
    for edge in edges(played, load()):
        found = Event(
            "entry",
            edge.part,
            edge.first,
            edge.last,
            edge.first,
            1.0,
            (edge.low, edge.high),
            edge.low,
            edge.high,
            edge.strength / 100,
            lasts=float(edge.last - edge.first),
            players=(edge.part,),
        )
        rows.append((work, edge.part, EDGE, "edge", *_event_row(found, played.bars)[1:]))
    return rows


def _bar_edge_row(work: str, analysis: Analysis) -> tuple[Any, ...]:
    low = np.full(len(analysis.played.bars), -1)
    high = low.copy()
    sounding = analysis.texture.sounding
    low[sounding], high[sounding] = texture_edges(analysis.texture).T
    return (work, low.tolist(), high.tolist())


def _saturation_rows(work: str, analysis: Analysis) -> list[tuple[Any, ...]]:
    """Rows of the whole work and of each stay, for the octaves that sound in them."""
    found = analysis.saturation
    rows: list[tuple[Any, ...]] = []
    spans: list[tuple[int | None, int, int]] = [(None, 0, len(analysis.played.bars))]
    spans += [(index, stay.first, stay.last) for index, stay in enumerate(analysis.stays)]
    for number, first, last in spans:
        peak, mean = found.peak(first, last), found.mean(first, last)
        saturated = full(peak).tolist()
        levels = np.concatenate((peak, mean)).T.tolist()
        rows += [
            (work, number, band - 1, *levels[band], saturated[band])
            for band in np.flatnonzero(mean[0] >= HEARD).tolist()
        ]
    return rows
