"""An answer about periods as text for a terminal, as a JSON document, and as rows."""

from __future__ import annotations

import itertools
import textwrap
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from corpusreg.definitions import Measure
from corpusreg.periods.results import Check, Finding, MeasureStudy, Period, Study, explained
from corpusreg.tabular import text_table

__all__ = ["COLUMNS", "study_document", "study_rows", "study_text"]

COLUMNS = (
    "measure", "unit", "result", "periods", "repeated", "works", "composers", "value", "low",
    "high", "p", "corrected", "verdict",
)  # fmt: skip
_LINE = 88
_LONGEST_NAME = 26  # of a collection in a table
_ENCODING_GAP = 0.5  # of works, between neighbouring periods, from which it is said
_CHECKS = {
    "ensembles": "same ensembles",
    "length": "same length",
    "writing": "same way of writing",
    "collections": "one collection less",
    "dates": "stated dates only",
    "half": "half bars",
    "double": "double bars",
}
_VERDICTS = {
    "not shown": "no difference shown",
    "does not survive": "a difference that does not survive",
    "open": "a difference that cannot be told from other things",
    "holds": "a difference that holds in all that could be repeated",
}


def study_text(study: Study, reference_id: str, version: str) -> str:
    """The whole answer, at most 88 columns."""
    opening = _opening(study, reference_id, version)
    if not study.periods:
        return f"{opening}\n\n" + _wrap(
            "Nothing can be compared. A year of composition in the file, or a composer whose "
            "life is known, gives a work its period."
        )
    parts = [opening, _in_short(study)]
    parts.append(_periods_text(study.periods))
    parts += ["\n".join(_measure_lines(each)) for each in study.measures]
    return "\n\n".join((*parts, _closing(study)))


def _opening(study: Study, reference_id: str, version: str) -> str:
    which = f" for {study.ensemble}" if study.ensemble else ""
    return _wrap(
        f"Reference {reference_id}, definitions {version}: {study.works:,} works{which} with a "
        f"period, by {study.units} composers or sources; {study.around:,} without a period "
        "are left out."
    )


def _in_short(study: Study) -> str:
    """How many results there are of each verdict, and those that hold by name."""
    found = [(each, finding) for each in study.measures for finding in _findings(each)]
    count = {
        verdict: sum(finding.verdict == verdict for _, finding in found)
        for verdict in ("holds", "open", "does not survive", "not shown", "cannot be tested")
    }
    said = (
        f"In short: of {len(found)} results here, differences and trends, {count['holds']} "
        f"hold in all that could be repeated, {count['open']} cannot be told from other "
        f"things, {count['does not survive']} do not survive, {count['not shown']} are not "
        f"shown, {count['cannot be tested']} cannot be tested."
    )
    held = [
        f"{each.measure.title} {' -> '.join(finding.periods) or 'over the years'}"
        for each, finding in found
        if finding.verdict == "holds"
    ]
    return _wrap(said + (f" What holds: {', '.join(held)}." if held else ""))


def _findings(study: MeasureStudy) -> tuple[Finding, ...]:
    return study.pairs if study.trend is None else (*study.pairs, study.trend)


def _periods_text(periods: tuple[Period, ...]) -> str:
    names = [
        "period", "years", "works", "composers", "collections", "dynamics", "pedal", "repeats",
        "dated",
    ]  # fmt: skip
    rows = [
        (
            p.name,
            _years(p),
            p.works,
            p.units,
            len(p.collections),
            *(f"{100 * share:.0f} %" for share in (p.dynamics, p.pedal, p.repeats, p.stated)),
        )
        for p in periods
    ]
    lines = [text_table(names, rows)]
    lines.append(
        _wrap(
            "Dynamics, pedal, repeats: share of works in which they are written. Dated: share "
            "whose year is stated or sourced; the others go by their composer's life."
        )
    )
    lines += [
        _wrap(f"All {p.name} works are of one collection and called by it: {p.collections[0]}.")
        for p in periods
        if len(p.collections) == 1
    ]
    for before, after in itertools.pairwise(periods):
        for what in ("dynamics", "pedal", "repeats"):
            shares = (getattr(before, what), getattr(after, what))
            if abs(shares[0] - shares[1]) >= _ENCODING_GAP:
                lines.append(
                    _wrap(
                        f"From {before.name} to {after.name} the works with {what} written go "
                        f"from {100 * shares[0]:.0f} to {100 * shares[1]:.0f} %: part of a "
                        "difference there may be how scores are written."
                    )
                )
    return "\n".join(lines)


def _years(period: Period) -> str:
    if period.first is None:
        return f"to {period.last}"
    return f"from {period.first}" if period.last is None else f"{period.first}-{period.last}"


def _measure_lines(study: MeasureStudy) -> Iterator[str]:
    measure = study.measure
    yield f"{measure.title.upper()} [{measure.unit}]"
    yield _wrap(f"{measure.meaning[0].upper()}{measure.meaning[1:]}.")
    if not study.cells:
        yield "No work with a period has a value."
        return
    yield text_table(
        ["period", "works", "composers", "median", "95 % interval"],
        [
            (
                _cell_name(study, c.period, _LONGEST_NAME),
                c.works,
                c.units,
                c.median,
                _interval(c.interval),
            )
            for c in study.cells
        ],
    )
    idle = [finding for finding in _findings(study) if finding.p is None]
    if idle:
        yield ""
        yield _wrap(_untested(study, idle))
    for finding in _findings(study):
        if finding.p is None:
            continue
        yield ""
        yield _wrap(_sentence(study, finding))
        if finding.verdict in ("does not survive", "open", "holds"):
            yield _checks_table(finding)
            yield from _because(study, finding)


def _cell_name(study: MeasureStudy, period: str, longest: int = _LINE) -> str:
    """A period, or the one collection that stands for it, cut to so many letters."""
    cell = next(cell for cell in study.cells if cell.period == period)
    if len(cell.collections) > 1:
        return period
    name = cell.collections[0]
    if len(name) > longest:
        name = name[: longest - 3] + "..."
    return f"'{name}' ({period})"


def _sentence(study: MeasureStudy, finding: Finding) -> str:
    where = _where(study, finding)
    if finding.p is None:
        return _untested(study, [finding])
    tests = f"p {_p(finding.p)}, corrected {_p(finding.corrected)}, {_composers(finding)}"
    verdict = _VERDICTS[finding.verdict]
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


def _untested(study: MeasureStudy, findings: list[Finding]) -> str:
    """What the numbers of composers alone forbid."""
    each = [
        f"{_where(study, finding)} ({_composers(finding)}: {_p(finding.smallest)})"
        for finding in findings
    ]
    return (
        f"Cannot be tested: {'; '.join(each)}. Whatever so few composers wrote, no p below the "
        "number after them can be reached, and that does not pass among so many tests."
    )


def _where(study: MeasureStudy, finding: Finding) -> str:
    names = [_cell_name(study, period) for period in finding.periods]
    return " -> ".join(names) or "over the years"


def _way(measure: Measure, value: float) -> str:
    return measure.more if value > 0 else measure.less


def _composers(finding: Finding) -> str:
    count = " and ".join(str(units) for units in finding.units)
    both = f", {finding.both} of them in both" if finding.both else ""
    return f"{count} composers{both}, {finding.works:,} works"


def _slope(finding: Finding) -> str:
    if finding.slope is None:
        return ""
    middle, low, high = finding.slope
    return f"{middle:+.2f} ({low:+.2f} to {high:+.2f})"


def _checks_table(finding: Finding) -> str:
    pairs = bool(finding.periods)
    return text_table(
        ["repeated with", "of 100" if pairs else "tau", "interval" if pairs else "p",
         "composers", "result"],
        [
            (
                _CHECKS[check.name],
                _repeated_value(check, pairs),
                _interval_of_100(check.interval) if pairs else _p(check.p),
                " and ".join(map(str, check.units)) or "-",
                _result(finding, check),
            )
            for check in finding.checks
        ],
    )  # fmt: skip


def _repeated_value(check: Check, pairs: bool) -> str:
    if check.value is None:
        return "-"
    return _of_100(check.value) if pairs else f"{check.value:.2f}"


def _result(finding: Finding, check: Check) -> str:
    if check.survives is None:
        return check.reason
    around = check.value is not None and check.value * finding.value < 0
    said = "stays" if check.survives else "turns around" if around else "may be none"
    if check.name == "collections":
        return f"{said}, without '{check.what[0]}'"
    return said + (f": {', '.join(check.what)}" if check.what else "")


def _because(study: MeasureStudy, finding: Finding) -> Iterator[str]:
    gone = [_CHECKS[check.name] for check in finding.checks if check.survives is False]
    if gone:
        yield _wrap(f"It does not survive with: {', '.join(gone)}.")
    if finding.verdict == "open":
        alike = next(check for check in finding.checks if check.name == "ensembles")
        reason = alike.reason or "too few composers for an interval"
        yield _wrap(f"It may be the change of ensembles or of composers: {reason}.")
    shares = [
        (name, explained(finding, check))
        for check in finding.checks
        for name in ("ensembles", "length", "writing")
        if check.name == name
    ]
    said = [
        f"{100 * share:.0f} % with {_CHECKS[name]}"
        for name, share in shares
        if share is not None
    ]
    if said:
        yield _wrap(f"How much of it goes away: {', '.join(said)}.")


def _closing(study: Study) -> str:
    able = f"{study.counted} of {study.tests}"
    lines = [
        f"Corrected for {able} tests, of all measures, pairs of periods and trends together "
        "(Benjamini and Hochberg 1995); the others cannot pass with so few composers. Every "
        "composer counts the same; one of two periods is drawn for both or neither. A tie "
        "counts half.",
        "The composers and works behind a number: corpusreg query composers_of_cell "
        "measure=span period=romantic, and works_of_cell.",
    ]
    return "\n".join(map(_wrap, lines))


def study_document(study: Study, reference_id: str, version: str) -> dict[str, Any]:
    """The answer with all figures, as JSON writes it.

    value of a pair is Cliff's delta, and `a` Vargha and Delaney's A; of a trend, tau.
    """
    found = asdict(study)
    for each, own in zip(found["measures"], study.measures, strict=True):
        each["measure"] = {
            name: getattr(own.measure, name) for name in ("name", "title", "unit", "meaning")
        }
        written_all = (*each["pairs"], *filter(None, [each["trend"]]))
        for written, finding in zip(written_all, _findings(own), strict=True):
            written["words"] = _sentence(own, finding)
            written["statistic"] = "delta" if finding.periods else "tau"
            written["a"] = (finding.value + 1) / 2 if finding.periods else None
            for check, repeated in zip(written["checks"], finding.checks, strict=True):
                check["explained"] = explained(finding, repeated)
    return {"reference": reference_id, "definitions": version} | found


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
        for finding in _findings(each):
            rows += [(*own, *row) for row in _finding_rows(finding)]
    return rows


def _finding_rows(finding: Finding) -> Iterator[tuple[Any, ...]]:
    kind, where = ("delta" if finding.periods else "tau"), "-".join(finding.periods)
    ends = finding.interval or (None, None)
    counts = (finding.works, "-".join(map(str, finding.units)))
    tested = (finding.p, finding.corrected, finding.verdict)
    yield (kind, where, "", *counts, finding.value, *ends, *tested)
    if finding.slope:
        yield ("slope", where, "", *counts, *finding.slope, None, None, None)
    for check in finding.checks:
        said = {True: "stays", False: "does not survive", None: check.reason}[check.survives]
        units = "-".join(map(str, check.units))
        ends = check.interval or (None, None)
        yield (kind, where, check.name, None, units, check.value, *ends, check.p, None, said)


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


def _wrap(text: str) -> str:
    return textwrap.fill(text, _LINE, break_long_words=False, break_on_hyphens=False)
