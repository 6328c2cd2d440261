"""What a page about periods says, as plain data for page and sheet alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from corpusreg.documents.figures.periods import period_picture, trend_picture
from corpusreg.documents.pictures.svg import Picture
from corpusreg.measures.definitions import VERSION
from corpusreg.norms.periods.chart import Chart
from corpusreg.norms.periods.results import Finding, Study
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

__all__ = ["TERMS", "Result", "Said", "Section", "said"]

TERMS = (
    ("middle", "half of the works lie below it, every composer counting the same"),
    ("where it may lie", "with other works of the same kind the middle would fall there about "
     "19 times in 20 (95 % interval)"),
    ("of 100 pairs", "one composer is drawn from each period; 50 says that neither has more"),
    ("p", "how often chance alone would bring out so large a difference; 1 is always"),
    ("corrected", "p raised because many questions were asked at once; up to .05 is called "
     "shown"),
    ("tau", "how steadily composers rise or fall over the years, from -1 to 1; 0 is no trend"),
    ("supports, contradicts", "measured again in another way it goes the same way, and its "
     "interval holds the result; or the two intervals exclude each other"),
)  # fmt: skip
_READING = (
    "Every dot is a work, every line a composer or a source of anonymous music, in the order "
    "of their years. The stroke is the middle of the period, the ochre bar where it may lie; "
    "a broken stroke has too few composers for that."
)
_TREND = (
    "Every ring is a composer or source, at the middle of his or her years. The line is the "
    "trend, the grey about it how steep it may be."
)
_TOLD = {
    "holds": "What differs, and does so among works for the same ensembles too",
    "open": "What differs, but may come from other ensembles or other composers",
    "contradicted": "What seems to differ, and is contradicted when measured in other ways",
    "not shown": "Where no difference is shown, which does not say that there is none",
}
_ORDER = tuple(_TOLD)
_ARROW, _TO = " -> ", " to "


@dataclass(frozen=True)
class Result:
    """One result in words. repeated: rows of name, value and outcome, where it was shown."""

    words: str
    verdict: str
    repeated: tuple[tuple[str, str, str], ...]
    because: tuple[str, ...]


@dataclass(frozen=True)
class Section:
    """One measure: pictures with their captions, and its results, what holds first.

    untested: what could not be tested, and why; '' where all was.
    """

    name: str
    title: str
    meaning: str
    pictures: tuple[tuple[Picture, str], ...]
    results: tuple[Result, ...]
    untested: str


@dataclass(frozen=True)
class Said:
    """The whole page.

    told: what differs and holds, and what differs and does not, a sentence each.
    periods: rows of a table whose first is its head.
    """

    title: str
    facts: str
    short: str
    told: tuple[str, ...]
    sections: tuple[Section, ...]
    periods: tuple[tuple[str, ...], ...]
    remarks: tuple[str, ...]
    made: tuple[str, ...]


def said(found: Study, drawn: Sequence[Chart], reference_id: str) -> Said:
    """Raises CorpusregError where the figures cannot be drawn."""
    which = f" in works for {found.ensemble}" if found.ensemble else ""
    return Said(
        title=f"Register by period{which}",
        facts=f"{found.works:,} works with a period by {found.units} composers or sources; "
        f"{found.around:,} without a period are left out.",
        short=capital(short_words(found).replace(_ARROW, _TO))
        if found.periods
        else "Nothing can be compared: no work has a "
        "period. A year of composition in the file, or a composer whose life is known, gives "
        "it one.",
        told=tuple(_told(found)),
        sections=tuple(map(_section, drawn)),
        periods=_periods(found),
        remarks=tuple(remarks_words(found.periods)),
        made=(
            *closing_words(found),
            "Period names and borders are common practice, no source.",
            f"Made with reference {reference_id}, definitions {VERSION}.",
        ),
    )


def _told(found: Study) -> Iterator[str]:
    """A sentence for each verdict, with the measures by where they differ."""
    for verdict, words in _TOLD.items():
        places: dict[str, list[str]] = {}
        for each in found.measures:
            for finding in findings(each):
                if finding.verdict == verdict:
                    places.setdefault(_where(finding), []).append(each.measure.title)
        if places:
            said = "; ".join(f"{where}: {', '.join(names)}" for where, names in places.items())
            yield f"{words}: {said}."


def _where(finding: Finding) -> str:
    if not finding.periods:
        return "over the years"
    return f"from {finding.periods[0]} to {finding.periods[1]}"


def _section(chart: Chart) -> Section:
    measure = chart.measure
    pictures = [(period_picture(chart, f"works-{measure.name}"), _READING)]
    if trend := trend_picture(chart, f"trend-{measure.name}"):
        pictures.append((trend, _TREND))
    results = [_result(finding, words) for finding, words in chart.findings]
    results.sort(key=lambda result: _ORDER.index(result.verdict))
    return Section(
        measure.name, capital(measure.title), f"{capital(measure.meaning)}.", tuple(pictures),
        tuple(results), chart.untested.replace(_ARROW, _TO),
    )  # fmt: skip


def _result(finding: Finding, words: str) -> Result:
    shown = finding.verdict in ("holds", "open", "contradicted")
    rows = [
        (
            CHECK_WORDS[check.name],
            repeated_words(check, bool(finding.periods)),
            result_words(finding, check),
        )
        for check in finding.checks
    ]
    return Result(
        capital(words.replace(_ARROW, _TO)), finding.verdict, tuple(rows) if shown else (),
        tuple(because_words(finding)) if shown else (),
    )  # fmt: skip


def _periods(found: Study) -> tuple[tuple[str, ...], ...]:
    head = ("period", "years", "works", "composers", "collections", "dynamics", "pedal",
            "repeats", "dated")  # fmt: skip
    rows = [
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
    return (head, *rows)
