"""The answer about periods as a document: pictures first, then what was found.

What was found comes from `norms.periods`, its sentences from `text.periods`, the pictures
from `figures`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from corpusreg.documents.figures.periods import Chart, period_picture, trend_picture
from corpusreg.documents.figures.style import colour_rules
from corpusreg.documents.layout import Document, Drawn, write_document
from corpusreg.measures.definitions import VERSION
from corpusreg.norms.periods.results import PeriodFinding, Study
from corpusreg.system.phrases import capital
from corpusreg.text.periods import (
    CHECK_WORDS,
    because_words,
    closing_words,
    findings,
    remarks_words,
    repeated_words,
    result_words,
    short_words,
    years_words,
)

__all__ = ["periods_document", "write_periods"]

TERMS = (
    ("middle", "half of the works lie below it, every composer counting the same"),
    ("95 % interval", "drawn from other works of the same kind, the middle would fall there "
     "about 19 times in 20"),
    ("of 100 pairs", "one composer is drawn from each period; 50 means that neither has more"),
    ("p", "how often chance alone would bring out so large a difference; 1 is always"),
    ("corrected", "p raised because many questions were asked at once; up to .05 is called "
     "shown"),
    ("tau", "how steadily composers rise or fall over the years, from -1 to 1; 0 is no trend"),
    ("supports, contradicts", "measured again in another way it goes the same way, and its "
     "interval holds the result; or the two intervals exclude each other"),
)  # fmt: skip
_READING = (
    "Every dot is a work, every line a composer or a source of anonymous music, in the order "
    "of their years. The stroke is the middle of the period, the ochre bar its 95 % interval; "
    "a broken stroke has too few composers for that."
)
_TREND = (
    "Every ring is a composer or source, at the middle of his or her years. The line is the "
    "trend; the grey around it shows how steep it may be."
)
# What a cell of the summary says: in the later period there is more, or less.
_CELLS = {
    "holds": "{way}",
    "open": "{way}?",
    "contradicted": "contradicted",
    "not shown": "–",
}
_ORDER = tuple(_CELLS)
_KEYS = (
    (
        "more, less",
        "in the later of the two, and among works for the same ensembles too",
    ),
    ("more?, less?", "it seems so, but other ensembles or other composers may explain it"),
    ("contradicted", "there seems to be a difference, but it goes when measured in other ways"),
    ("–", "no difference is shown, which does not mean that there is none"),
)
_ARROW, _TO = " -> ", " to "


@dataclass(frozen=True)
class PeriodResult:
    """One result in words. repeated: rows of name, value and outcome, where it was shown."""

    words: str
    verdict: str
    repeated: tuple[tuple[str, str, str], ...]
    because: tuple[str, ...]


@dataclass(frozen=True)
class PeriodSection:
    """One measure: names and captions of its pictures, and its results, what holds first.

    untested: what could not be tested, and why; '' where all was.
    """

    name: str
    title: str
    meaning: str
    pictures: tuple[tuple[str, str], ...]
    results: tuple[PeriodResult, ...]
    untested: str


def write_periods(
    found: Study, drawn: Sequence[Chart], reference_id: str, path: Path
) -> tuple[str, ...]:
    """Write the document as a page or a PDF; as `write_document`."""
    return write_document(periods_document(found, drawn, reference_id), path)


def periods_document(found: Study, drawn: Sequence[Chart], reference_id: str) -> Document:
    """What differs between periods and holds, what does not, and each measure.

    Raises CorpusregError where the figures cannot be drawn.
    """
    which = f" in works for {found.ensemble}" if found.ensemble else ""
    title = f"Register by period{which}"
    pictures: dict[str, Drawn] = {}
    sections = [_section(each, pictures) for each in drawn]
    return Document(
        title,
        "periods.html",
        {
            "title": title,
            "facts": f"{found.works:,} works with a period by {found.units} composers or "
            f"sources; {found.around:,} without a period are left out.",
            "short": short_words(found)
            if found.periods
            else (
                "Nothing can be compared: no work has a period. A year of composition in "
                "the file, or a composer whose life is known, gives it one.",
            ),
            "summary": _summary(found),
            "keys": _KEYS,
            "terms": TERMS,
            "sections": sections,
            "columns": _COLUMNS,
            "rows": _periods(found),
            "remarks": tuple(remarks_words(found.periods)),
            "made": (
                *closing_words(found),
                "Period names and borders are common practice, no source.",
                f"Made with reference {reference_id}, definitions {VERSION}.",
            ),
        },
        pictures,
        style=f"\n{colour_rules()}",
    )


def _summary(found: Study) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Columns and rows: each measure from period to period, and over the years."""
    order = [period.name for period in found.periods]
    pairs = {finding.periods for each in found.measures for finding in findings(each)}
    columns = sorted(
        pairs, key=lambda pair: [order.index(name) for name in pair] or [len(order)]
    )
    rows = []
    for each in found.measures:
        cells = {finding.periods: _cell(finding) for finding in findings(each)}
        rows.append((capital(each.measure.title), *(cells.get(pair, "") for pair in columns)))
    return (
        "Measure",
        *(_TO.join(pair).capitalize() or "Over the years" for pair in columns),
    ), rows


def _cell(finding: PeriodFinding) -> str:
    if finding.p is None:
        return ""
    return _CELLS[finding.verdict].format(way="more" if finding.value > 0 else "less")


def _section(chart: Chart, pictures: dict[str, Drawn]) -> PeriodSection:
    measure = chart.measure
    shown = []
    for draw, kind, caption in (
        (period_picture, "works", _READING), (trend_picture, "trend", _TREND),
    ):  # fmt: skip
        drawn = draw(chart, f"{kind}-{measure.name}")
        if drawn:
            pictures[f"{kind}-{measure.name}"] = Drawn(
                drawn.svg, drawn.description, figure=True
            )
            shown.append((f"{kind}-{measure.name}", caption))
    results = [_result(finding, words) for finding, words in chart.findings]
    results.sort(key=lambda result: _ORDER.index(result.verdict))
    return PeriodSection(
        measure.name, capital(measure.title), f"{capital(measure.meaning)}.", tuple(shown),
        tuple(results), chart.untested.replace(_ARROW, _TO),
    )  # fmt: skip


def _result(finding: PeriodFinding, words: str) -> PeriodResult:
    shown = finding.verdict in ("holds", "open", "contradicted")
    rows = [
        (
            CHECK_WORDS[check.name],
            repeated_words(check, bool(finding.periods)),
            result_words(finding, check),
        )
        for check in finding.checks
    ]
    return PeriodResult(
        capital(words.replace(_ARROW, _TO)), finding.verdict, tuple(rows) if shown else (),
        tuple(because_words(finding)) if shown else (),
    )  # fmt: skip


_COLUMNS = ("Period", "Years", "Works", "Composers", "Collections", "Dynamics", "Pedal",
            "Repeats", "Dated")  # fmt: skip


def _periods(found: Study) -> list[tuple[str, ...]]:
    return [
        (
            period.name,
            years_words(period),
            f"{period.works:,}",
            str(period.units),
            period.collections[0]
            if len(period.collections) == 1
            else str(len(period.collections)),
            *(
                f"{100 * share:.0f} %"
                for share in (period.dynamics, period.pedal, period.repeats, period.stated)
            ),
        )
        for period in found.periods
    ]
