"""Where the reference is thin, as text for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from corpusreg.text.lines import wrap
from corpusreg.text.tabular import text_table

if TYPE_CHECKING:
    from corpusreg.norms.coverage import Coverage

__all__ = ["coverage_text"]

# Oldest first, as data/periods.csv has them; "" for works without a year. The columns
# are headed by first years: eight names would not fit a terminal.
_PERIODS = ("all", "medieval", "renaissance", "baroque", "classical", "romantic", "modern", "")
_HEADS = ("all", "-1419", "1420-", "1600-", "1750-", "1820-", "1910-", "no year")
_TITLES = {"all": "all periods", "": "no year"}


def coverage_text(found: Coverage) -> str:
    """Works/composers by ensemble and period, then what would help."""
    ensembles = list(dict.fromkeys(ensemble for ensemble, _ in found.cells))
    ensembles.sort(key=lambda name: -found.cells[name, "all"].works)
    rows = []
    for ensemble in ensembles:
        row = [ensemble or "unknown"]
        for period in _PERIODS:
            cell = found.cells.get((ensemble, period))
            mark = "" if cell is None or cell.enough else "-"
            row.append(f"{cell.works}/{cell.composers}{mark}" if cell else "")
        rows.append(row)
    lines = [text_table(["works/composers", *_HEADS], rows), ""]
    lines += wrap(
        f"'-': fewer than {found.works} works or {found.composers} composers, too few to place "
        "a piece among them. Copies of the same music count "
        "once; folk tunes and anonymous works count by source. Periods: medieval to 1419, "
        "renaissance from 1420, baroque 1600, classical 1750, romantic 1820, modern 1910."
    )
    return "\n".join([*lines, "", *_help_lines(found)])


def _help_lines(found: Coverage) -> list[str]:
    if not found.helps:
        return ["Every corpus of the catalogue that would help was added."]
    lines = ["What would help, the most helpful first:"]
    for each in found.helps:
        lines += wrap(
            f"corpora get {each.name}: some {each.works:,} works where the reference is thin "
            f"({each.title}). {_filled(each.fills)}",
            "    ",
            "  ",
        )
    return lines


def _filled(fills: tuple[tuple[str, str], ...]) -> str:
    if not fills:
        return "No group would be large enough by it alone."
    by_ensemble: dict[str, list[str]] = {}
    for ensemble, period in fills:
        by_ensemble.setdefault(ensemble, []).append(_TITLES.get(period, period))
    said = [f"{ensemble} ({', '.join(periods)})" for ensemble, periods in by_ensemble.items()]
    return f"Large enough then: {', '.join(said)}."
