"""An answer about periods as a JSON document and as rows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from corpusreg.measures.definitions import VERSION
from corpusreg.norms.periods.results import PeriodFinding, Study, explained
from corpusreg.text.periods import finding_words, findings

__all__ = ["COLUMNS", "study_document", "study_rows"]

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
