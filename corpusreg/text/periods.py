"""An answer about periods in words, as text for a terminal, as a JSON document and as rows."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from corpusreg.measures.definitions import VERSION, Measure
from corpusreg.norms.periods.results import (
    Check,
    MeasureStudy,
    Period,
    PeriodFinding,
    Study,
    explained,
)
from corpusreg.store import sql
from corpusreg.system.phrases import capital, joined
from corpusreg.text.tabular import paragraph, text_table
from corpusreg.text.wording import number

__all__ = [
    "CHECK_WORDS", "COLUMNS", "VERDICTS", "because_words", "cell_name", "closing_words",
    "finding_words", "findings", "remarks_words", "repeated_words", "result_words",
    "short_words", "study_document", "study_rows", "study_text", "untested_words",
    "years_words",
]  # fmt: skip

_LINE = 88  # letters of the longest name
_LONGEST_NAME = 26  # of a collection in a table
_ENCODING_GAP = 0.5  # of works, between neighbouring periods, from which it is said

CHECK_WORDS = {
    "ensembles": "same ensembles",
    "length": "same length",
    "writing": "same way of writing",
    "collections": "one collection less",
    "dates": "stated dates only",
    "years": "years drawn over lives",
    "half": "half bars",
    "double": "double bars",
}

# How the other verdicts are counted: of one result, of several.
_OTHERS = {
    "open": ("cannot be told from other things",) * 2,
    "contradicted": ("is contradicted when it is measured in other ways",
                     "are contradicted when they are measured in other ways"),
    "not shown": ("is not shown", "are not shown"),
    "cannot be tested": ("cannot be tested",) * 2,
}  # fmt: skip

_MIXED = (
    "Works for all forces are mixed here, and the forces that music was written for changed "
    "too: ask for one medium at a time."
)

VERDICTS = {
    "not shown": "no difference shown",
    "contradicted": "a difference that is contradicted when it is measured in other ways",
    "open": "a difference that cannot be told from other things",
    "holds": "a difference that holds",
}


def study_text(study: Study, reference_id: str) -> str:
    """The whole answer, at most 88 columns."""
    opening = _opening(study, reference_id)
    if not study.periods:
        return f"{opening}\n\n" + paragraph(
            "Nothing can be compared. A year of composition in the file, or a composer whose "
            "life is known, gives a work its period."
        )
    parts = [opening, paragraph(f"In short: {' '.join(short_words(study))}")]
    parts.append(_periods_text(study.periods))
    parts += ["\n".join(_measure_lines(each)) for each in study.measures]
    return "\n\n".join((*parts, "\n".join(map(paragraph, closing_words(study)))))


def _opening(study: Study, reference_id: str) -> str:
    which = f" for {study.ensemble}" if study.ensemble else ""
    return paragraph(
        f"Reference {reference_id}, definitions {VERSION}: {study.works:,} works{which} with a "
        f"period, by {study.units} composers or sources; {study.around:,} without a period "
        "are left out."
    )


def short_words(study: Study) -> tuple[str, ...]:
    """What holds, a sentence each, and how many of the other results there are by verdict."""
    found = [(each, finding) for each in study.measures for finding in findings(each)]
    forces = f"music for {study.ensemble}" if study.ensemble else "music"
    said = _held(found, forces) or ["no difference and no trend holds."]
    rest = [f for _, f in found if f.verdict != "holds"]
    counts = [
        f"{number(count)} {words[count != 1]}"
        for verdict, words in _OTHERS.items()
        if (count := sum(each.verdict == verdict for each in rest))
    ]
    if counts:
        said.append(f"Of {len(found)} results, {joined(counts)}.")
    if len({kind for period in study.periods for kind in period.ensembles}) > 1:
        said.append(_MIXED)
    return tuple(map(capital, said))


def _held(found: Sequence[tuple[MeasureStudy, PeriodFinding]], forces: str) -> list[str]:
    """What holds, a sentence for each pair of periods and one for the years."""
    held: dict[tuple[str, ...], list[tuple[MeasureStudy, PeriodFinding]]] = {}
    for own, finding in found:
        if finding.verdict == "holds":
            held.setdefault(finding.periods, []).append((own, finding))
    trends = held.pop((), [])
    said = [
        f"from the {' to the '.join(periods)} period {forces} "
        f"{joined([_way(own.measure, finding.value) for own, finding in each])}: of 100 pairs "
        "of composers, one from each, the later does in "
        f"{joined([_of_100(abs(finding.value)) for _, finding in each])}."
        for periods, each in held.items()
    ]
    if trends:
        ways = [f"{_way(own.measure, f.value)} ({_a_century(own, f)})" for own, f in trends]
        said.append(f"over the years {forces} {joined(ways)}.")
    return said


def _a_century(own: MeasureStudy, finding: PeriodFinding) -> str:
    """How much a trend makes in a century, to two figures."""
    assert finding.slope is not None
    share = own.measure.unit.startswith("share of ")
    sizes = [abs(value) * (100 if share else 1) for value in finding.slope]
    middle, *ends = (f"{size:.0f}" if size >= 10 else f"{size:.2g}" for size in sizes)
    low, high = sorted(ends, key=float)
    unit = "percentage points" if share else own.measure.unit
    return f"about {middle} {unit} a century, {low} to {high}"


def findings(study: MeasureStudy) -> tuple[PeriodFinding, ...]:
    """All results of a measure, the trend last."""
    return study.pairs if study.trend is None else (*study.pairs, study.trend)


def _periods_text(periods: tuple[Period, ...]) -> str:
    names = [
        "period", "years", "works", "composers", "collections", "dynamics", "pedal", "repeats",
        "dated",
    ]  # fmt: skip
    rows = [
        (
            p.name,
            years_words(p),
            p.works,
            p.units,
            len(p.collections),
            *(f"{100 * share:.0f} %" for share in (p.dynamics, p.pedal, p.repeats, p.stated)),
        )
        for p in periods
    ]
    return "\n".join((text_table(names, rows), *map(paragraph, remarks_words(periods))))


def remarks_words(periods: tuple[Period, ...]) -> Iterator[str]:
    """What must be known of the periods: columns, single collections, ways of writing."""
    yield (
        "Dynamics, pedal, repeats: share of works in which they are written. Dated: share "
        "whose year is stated or sourced; the others go by their composer's life."
    )
    for p in periods:
        if len(p.collections) == 1:
            yield (
                f"All {p.name} works are of one collection and called by it: "
                f"{p.collections[0]}."
            )
    for before, after in itertools.pairwise(periods):
        for what in ("dynamics", "pedal", "repeats"):
            shares = (getattr(before, what), getattr(after, what))
            if abs(shares[0] - shares[1]) >= _ENCODING_GAP:
                yield (
                    f"From {before.name} to {after.name} the works with {what} written go "
                    f"from {100 * shares[0]:.0f} to {100 * shares[1]:.0f} %: part of a "
                    "difference there may come from how scores are written."
                )


def years_words(period: Period) -> str:
    """First and last year of a period."""
    if period.first is None:
        return f"to {period.last}"
    return f"from {period.first}" if period.last is None else f"{period.first}-{period.last}"


def _measure_lines(study: MeasureStudy) -> Iterator[str]:
    measure = study.measure
    yield f"{measure.title.upper()} [{measure.unit}]"
    yield paragraph(f"{capital(measure.meaning)}.")
    if not study.cells:
        yield "No work with a period has a value."
        return
    yield text_table(
        ["period", "works", "composers", "median", "95 % interval"],
        [
            (
                cell_name(study, c.period, _LONGEST_NAME),
                c.works,
                c.units,
                c.median,
                _interval(c.interval),
            )
            for c in study.cells
        ],
    )
    idle = [finding for finding in findings(study) if finding.p is None]
    if idle:
        yield ""
        yield paragraph(untested_words(study, idle))
    for finding in findings(study):
        if finding.p is None:
            continue
        yield ""
        yield paragraph(finding_words(study, finding))
        if finding.verdict in ("contradicted", "open", "holds"):
            yield _checks_table(finding)
            yield from map(paragraph, because_words(finding))


def cell_name(study: MeasureStudy, period: str, longest: int = _LINE) -> str:
    """A period, or the one collection that stands for it, cut to so many letters."""
    cell = next(cell for cell in study.cells if cell.period == period)
    if len(cell.collections) > 1:
        return period
    name = cell.collections[0]
    if len(name) > longest:
        name = name[: longest - 3] + "..."
    return f"'{name}' ({period})"


def finding_words(study: MeasureStudy, finding: PeriodFinding) -> str:
    """A result in one sentence, with its test."""
    where = _where(study, finding)
    if finding.p is None:
        return untested_words(study, [finding])
    tests = f"p {_p(finding.p)}, corrected {_p(finding.corrected)}, {_composers(finding)}"
    verdict = VERDICTS[finding.verdict]
    if not finding.periods:
        return (
            f"Over the years: {verdict.replace('difference', 'trend')}. Towards later years "
            f"music {_way(study.measure, finding.value)}: {_slope(finding)} "
            f"{study.measure.unit} a century, tau {finding.value:.2f}: {tests}."
        )
    return (
        f"{where}: {verdict}. In {_of_100(finding.value)} of 100 pairs of composers, one from "
        f"each, the later {study.measure.more} (interval {_interval_of_100(finding.interval)}; "
        f"50 is no difference): {tests}."
    )


def untested_words(study: MeasureStudy, findings: list[PeriodFinding]) -> str:
    """What the numbers of composers alone forbid."""
    each = [
        f"{_where(study, finding)} ({_composers(finding)}: {_p(finding.smallest)})"
        for finding in findings
    ]
    return (
        f"Cannot be tested: {'; '.join(each)}. With so few composers no p can be lower than "
        "the number after them, and among so many tests that is not low enough."
    )


def _where(study: MeasureStudy, finding: PeriodFinding) -> str:
    names = [cell_name(study, period) for period in finding.periods]
    return " -> ".join(names) or "over the years"


def _way(measure: Measure, value: float) -> str:
    return measure.more if value > 0 else measure.less


def _composers(finding: PeriodFinding) -> str:
    count = " and ".join(str(units) for units in finding.units)
    both = f", {finding.both} of them in both" if finding.both else ""
    return f"{count} composers{both}, {finding.works:,} works"


def _slope(finding: PeriodFinding) -> str:
    if finding.slope is None:
        return ""
    middle, low, high = finding.slope
    return f"{middle:+.2f} ({low:+.2f} to {high:+.2f})"


def _checks_table(finding: PeriodFinding) -> str:
    pairs = bool(finding.periods)
    return text_table(
        ["repeated with", "of 100" if pairs else "tau", "interval" if pairs else "p",
         "composers", "result"],
        [
            (
                CHECK_WORDS[check.name],
                repeated_words(check, pairs),
                _interval_of_100(check.interval) if pairs else _p(check.p),
                " and ".join(map(str, check.units)) or "-",
                result_words(finding, check),
            )
            for check in finding.checks
        ],
    )  # fmt: skip


def repeated_words(check: Check, pairs: bool) -> str:
    """The value of a repeated result: of 100 pairs, or tau."""
    if check.value is None:
        return "-"
    return _of_100(check.value) if pairs else f"{round(check.value, 2) + 0.0:.2f}"


def result_words(finding: PeriodFinding, check: Check) -> str:
    """What became of a result when it was repeated."""
    if check.value is None:
        return check.reason
    told = check.reason or check.says
    # What is printed as no difference has no direction that could have turned.
    around = round(check.value, 2) * finding.value < 0
    said = f"{told}, turns around" if around else told
    if check.name == "collections":
        return f"{said}, without '{check.what[0]}'"
    return said + (f": {', '.join(check.what)}" if check.what else "")


def because_words(finding: PeriodFinding) -> Iterator[str]:
    """Why a result that is shown is not taken as it is, and what explains it."""
    gone = [CHECK_WORDS[check.name] for check in finding.checks if check.says == "contradicts"]
    if gone:
        yield f"Contradicted with: {', '.join(gone)}."
    gone = [CHECK_WORDS[check.name] for check in finding.checks if check.gone]
    if gone:
        yield f"No longer certain with: {', '.join(gone)}."
    flat = finding.slope is not None and finding.slope[1] * finding.slope[2] <= 0
    if finding.verdict == "open" and flat:
        yield "The choice of composers and collections may explain it: the line may be flat."
    elif finding.verdict == "open" and not gone:
        alike = next(check for check in finding.checks if check.name == "ensembles")
        reason = alike.reason or "works for the same ensembles do not support it"
        yield f"It may be the change of ensembles or of composers: {reason}."
    shares = [
        (name, explained(finding, check))
        for check in finding.checks
        for name in ("ensembles", "length", "writing")
        if check.name == name
    ]
    said = [
        f"{100 * share:.0f} % with {CHECK_WORDS[name]}"
        for name, share in shares
        if share is not None
    ]
    if said:
        yield f"How much of it goes away: {', '.join(said)}."


def closing_words(study: Study) -> tuple[str, ...]:
    """How the numbers were made, and how to follow one up."""
    return (
        f"Corrected for {study.counted} of {study.tests} tests, of all measures, pairs of "
        "periods and trends together (Benjamini and Hochberg 1995); the others cannot pass "
        "with so few composers. Every composer counts the same; a composer of two periods is "
        "drawn for both or for neither. A tie counts half.",
        "The composers and works behind a number: corpusreg query composers_of_cell "
        f"{_cell_asked(study)}, and works_of_cell.",
    )


def _cell_asked(study: Study) -> str:
    """Parameters that ask for the cell of most composers, as an example of all."""
    cells = [(cell.units, own.measure.name, cell.period)
             for own in study.measures for cell in own.cells]  # fmt: skip
    _, measure, period = max(cells, key=lambda each: each[0], default=(0, "span", "romantic"))
    asked = f"measure={measure} period={period}"
    within = f" {sql.asked('ensemble', study.ensemble)}" if study.ensemble else ""
    return asked + within


def _of_100(delta: float) -> str:
    return f"{50 * (delta + 1):.0f}"


def _interval_of_100(interval: tuple[float, float] | None) -> str:
    if interval is None:
        return "too few"
    return f"{_of_100(interval[0])} to {_of_100(interval[1])}"


def _interval(interval: tuple[float, float] | None) -> str:
    return (
        "too few composers" if interval is None else f"{interval[0]:.2f} to {interval[1]:.2f}"
    )


def _p(p: float | None) -> str:
    if p is None:
        return "-"
    if p >= 0.9995:
        return "1"
    return "<.001" if p < 0.001 else f"{p:.3f}".removeprefix("0")


COLUMNS = (
    "measure", "unit", "result", "periods", "repeated", "works", "composers", "value", "low",
    "high", "p", "corrected", "verdict",
)  # fmt: skip


def study_document(study: Study, reference_id: str) -> dict[str, Any]:
    """The answer with all figures, as JSON writes it.

    value of a pair is Cliff's delta, and `a` Vargha and Delaney's A; of a trend, tau.
    """
    found = asdict(study)
    for each, own in zip(found["measures"], study.measures, strict=True):
        each["measure"] = {
            name: getattr(own.measure, name) for name in ("name", "title", "unit", "meaning")
        }
        written_all = (*each["pairs"], *filter(None, [each["trend"]]))
        for written, finding in zip(written_all, findings(own), strict=True):
            written["words"] = finding_words(own, finding)
            written["statistic"] = "delta" if finding.periods else "tau"
            written["a"] = (finding.value + 1) / 2 if finding.periods else None
            for check, repeated in zip(written["checks"], finding.checks, strict=True):
                check["explained"] = explained(finding, repeated)
    return {"reference": reference_id, "definitions": VERSION} | found


def study_rows(study: Study) -> list[tuple[Any, ...]]:
    """One row for every cell, result and repetition, with the columns COLUMNS.

    value, low, high: the median of a period, delta of a pair, tau of a trend; of the
    slope a year in the row 'slope', a century.
    """
    rows: list[tuple[Any, ...]] = []
    for each in study.measures:
        own = (each.measure.name, each.measure.unit)
        for cell in each.cells:
            ends = cell.interval or (None, None)
            counts = (cell.works, str(cell.units))
            rows.append(
                (*own, "median", cell.period, "", *counts, cell.median, *ends, *3 * (None,))
            )
        for finding in findings(each):
            rows += [(*own, *row) for row in _finding_rows(finding)]
    return rows


def _finding_rows(finding: PeriodFinding) -> Iterator[tuple[Any, ...]]:
    kind, where = ("delta" if finding.periods else "tau"), "-".join(finding.periods)
    ends = finding.interval or (None, None)
    counts = (finding.works, "-".join(map(str, finding.units)))
    tested = (finding.p, finding.corrected, finding.verdict)
    yield (kind, where, "", *counts, finding.value, *ends, *tested)
    if finding.slope:
        yield ("slope", where, "", *counts, *finding.slope, None, None, None)
    for check in finding.checks:
        said = check.reason or check.says
        units = "-".join(map(str, check.units))
        ends = check.interval or (None, None)
        yield (kind, where, check.name, None, units, check.value, *ends, check.p, None, said)
