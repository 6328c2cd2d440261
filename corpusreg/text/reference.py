"""The reference as text: its data sheet, where it is thin, its tables and profiles."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from corpusreg.instruments.ensembles import kinds
from corpusreg.measures.definitions import BY_NAME
from corpusreg.norms.asking import GROUPS
from corpusreg.norms.coverage import Coverage
from corpusreg.norms.reference import MINIMUM_UNITS, MINIMUM_WORKS
from corpusreg.store import sql
from corpusreg.system.phrases import capital, plural
from corpusreg.system.plaintext import plain
from corpusreg.text.tabular import item, items, text_table, wrap

__all__ = [
    "check_text", "coverage_text", "profiles_text", "reference_text", "sheet_rows",
    "table_text",
]  # fmt: skip

_MOST = 0.6  # the share of one collection from which it is named as a limit
_SOURCES = {
    "stated": "stated in the score or its corpus",
    "published": "the year of a print",
    "catalogue": "looked up, with a source",
    "life dates": "from the composer's life (birth + 35, not after death)",
    "active": "from the years in which the composer is known to have worked",
    "collection": "the date of a collection",
    "none": "not known",
}


def reference_text(sheet: Mapping[str, Any]) -> str:
    """What is in it, from where, what is missing and whom that misleads, how to cite it."""
    return "\n".join(
        [
            *_head(sheet),
            "",
            text_table(
                ["medium", "works", "composers", "collections"],
                [[r["name"], *_counts(r)] for r in sheet["media"]],
            ),
            "",
            text_table(
                ["period", "works", "composers", "collections"],
                [[r["name"], *_counts(r)] for r in sheet["periods"]],
            ),
            "",
            "Years",
            *(f"  {row['works']:>7,}  {_SOURCES[row['name']]}" for row in sheet["dates"]),
            "",
            "Sources",
            *(line for each in sheet["corpora"].items() for line in _corpus(*each)),
            "",
            *_limits(sheet),
            "",
            *wrap(_citation(sheet)),
        ]
    )


def sheet_rows(sheet: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The tables of the sheet as one: what a row is of, its name and its counts."""
    tables = {
        "medium": sheet["media"],
        "period": sheet["periods"],
        "year": sheet["dates"],
        "corpus": [{"name": name, **row} for name, row in sheet["corpora"].items()],
    }
    kept = ("name", "works", "composers", "collections", "failed", "licence")
    return [
        {"table": table} | {name: row.get(name) for name in kept}
        for table, rows in tables.items()
        for row in rows
    ]


def _head(sheet: Mapping[str, Any]) -> list[str]:
    where = "comes with corpusreg" if sheet["ships"] else f"is in {sheet['path']}"
    own = sheet["own"]
    said = (
        f"Reference {sheet['reference']}, which {where}: {sheet['works']:,} works by "
        f"{sheet['composers']:,} composers; {sheet['counted']:,} count, the others are copies "
        f"of the same music. Definitions {sheet['definitions']}."
    )
    if own and not sheet["ships"] and own != sheet["works"]:
        said += f" {own:,} of the works are your own, on top of what comes with corpusreg."
    return wrap(said)


def _counts(row: Mapping[str, Any]) -> list[str]:
    return [f"{row[name]:,}" for name in ("works", "composers", "collections")]


def _corpus(name: str, row: Mapping[str, Any]) -> Iterator[str]:
    title = row.get("title") or name
    failed = f", {plural(row['failed'], 'file')} could not be read" if row["failed"] else ""
    yield f"  {name}: {title}"
    who = (
        "one composer or source"
        if row["composers"] == 1
        else (f"{row['composers']:,} composers and sources")
    )
    yield f"    {plural(row['works'], 'work')} by {who}{failed}"
    source = " ".join(filter(None, (row.get("repository"), str(row.get("revision") or ""))))
    if source:
        yield f"    {source}"
    if row.get("licence"):
        yield from wrap(row["licence"], "    ")


def _limits(sheet: Mapping[str, Any]) -> Iterator[str]:
    yield "What is missing, and where that can mislead"
    thin = [r for r in sheet["media"] if r["name"] in kinds()]
    few = [
        kinds()[r["name"]].works
        for r in thin
        if r["works"] < MINIMUM_WORKS or r["composers"] < MINIMUM_UNITS
    ]
    if few:
        yield from item(f"too few works to place a piece: {_listed(few)}")
    leaning = [
        f"{kinds()[r['name']].works} ({100 * r['largest']:.0f} %)"
        for r in thin
        if r["largest"] >= _MOST and r["works"] >= MINIMUM_WORKS
    ]
    if leaning:
        yield from item(
            "mostly from one collection, whose habits then pass for those of the medium: "
            + _listed(leaning)
        )
    guessed = sum(r["works"] for r in sheet["dates"] if r["name"] == "life dates")
    yield from item(
        f"{guessed:,} works are dated by their composer's life alone, so that early and late "
        "works of one composer fall into one period"
    )
    yield from item("only music that is free to share: hardly any composer who died after 1955")
    if sheet["left_out"]:
        yield from item(
            f"{sheet['left_out']:,} works have notes far outside their instrument: they stay "
            "in, but out of the norms which those notes decide ('corpusreg query left_out')"
        )
    if sheet["absent"]:
        yield from item(f"not measured: {_listed(sheet['absent'])}")


def _citation(sheet: Mapping[str, Any]) -> str:
    return (
        f"To cite: corpusreg {sheet['tool']}, reference {sheet['reference']} (definitions "
        f"{sheet['definitions']}, {sheet['works']:,} works); and the corpora that it was made "
        "of, with their licences, as above."
    )


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names)


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
        return "On its own it would make no group large enough."
    by_ensemble: dict[str, list[str]] = {}
    for ensemble, period in fills:
        by_ensemble.setdefault(ensemble, []).append(_TITLES.get(period, period))
    said = [f"{ensemble} ({', '.join(periods)})" for ensemble, periods in by_ensemble.items()]
    return f"Large enough then: {', '.join(said)}."


_FEW_UNITS = 4  # composers below which a group is called that of a few


def table_text(
    name: str, by: str, rows: Sequence[Mapping[str, Any]], left_out: tuple[int, int]
) -> str:
    """What the numbers are, what they cannot say, and how to see the works behind them.

    rows: of `norms.asking.table`; left_out: of `ungrouped` there.
    """
    return "\n".join(line for words in _words(name, by, rows, left_out) for line in wrap(words))


def _words(
    name: str, by: str, rows: Sequence[Mapping[str, Any]], left_out: tuple[int, int]
) -> Iterator[str]:
    """What the numbers are, what they cannot say, and how to see the works behind them."""
    measure = BY_NAME[name]
    yield f"{measure.title} [{measure.unit}]: {measure.meaning}."
    yield "p50 is the middle value; one work in ten lies below p10, one in ten above p90."
    yield "Every composer counts the same, however many works (units: composers or sources)."
    valueless, groupless = left_out
    if groupless:
        noun = "collection" if by == "corpus" else by
        yield f"Works in no row, since no {noun} is known: {groupless:,}."
    if valueless:
        yield (
            "Works in no row, since they are too short for this measure or it does not apply "
            f"to them: {valueless:,}."
        )
    if by in ("period", "ensemble"):
        single = [row["group"] for row in rows if row["collections"] == 1]
        if single:
            yield (
                "From a single collection, and so a picture of it rather than of the "
                f"{by}: {', '.join(single)}."
            )
        few = [row["group"] for row in rows if row["units"] < _FEW_UNITS]
        if few:
            yield (
                f"By fewer than {_FEW_UNITS} composers or sources, too few to stand "
                f"for the {by}: {', '.join(few)}."
            )
    if rows:
        asked = sql.asked(GROUPS[by], rows[0]["group"])
        yield f"The works behind a row: corpusreg query works_of_cell measure={name} {asked}"


def profiles_text(found: Sequence[Mapping[str, Any]]) -> str:
    """All groups of works that were looked at, each with its profiles or with none."""
    if not found:
        return (
            "No group of works is large enough to look for profiles (wanted: "
            f"{MINIMUM_WORKS} works by {MINIMUM_UNITS} composers)."
        )
    return "\n\n".join("\n".join(_rung(rung)) for rung in found)


def _rung(rung: Mapping[str, Any]) -> list[str]:
    title = str(rung["title"])
    composers = plural(rung["composers"], "composer")
    counts = f"{plural(rung['works'], 'work')} by {composers}"
    lines = wrap(f"{capital(title)} ({counts}): {rung['words']}.")
    if rung["tried"] is not None:
        lines += wrap(_evidence(rung), indent="  ")
    for profile in rung["profiles"]:
        size = plural(profile["size"], "work")
        by = plural(profile["composers"], "composer")
        typical = "; ".join(f"{t['title']} ({t['composer']})" for t in profile["typical"])
        lines += items([f"Profile {profile['profile']}: {profile['words']} ({size} by {by})."])
        lines += wrap(plain(f"Typical: {typical}."), indent="    ")
    return lines


def _evidence(rung: Mapping[str, Any]) -> str:
    """The figures behind the verdict."""
    said = f"{rung['tried']} groups stand out most: silhouette {rung['silhouette']:.2f}, "
    said += f"against {rung['silhouette_null']:.2f} where there are no groups; "
    said += f"stability {rung['stability']:.2f}"
    if rung["stability_null"] is not None:
        said += f", against {rung['stability_null']:.2f}"
    return f"({said}.)"


def check_text(found: Mapping[str, Any]) -> str:
    """Whether all is well, and what is in force."""
    lines = ["All is well." if found["ok"] else f"{capital(found['problem'])}."]
    if "reference_id" in found:
        counts = found["counts"]
        lines += [
            f"Reference {found['reference_id']}, made by corpusreg {found['tool']}: "
            f"{counts['works']:,} works, {counts['counted']:,} of them compared with; "
            f"{plural(counts['failures'], 'file')} could not be read.",
            f"Reference file: {found['path']}",
        ]
    damaged = ", ".join(found["damaged_shards"]) or "none"
    lines += [
        f"Folder of your own data: {found['home']}",
        f"Measured files there: {plural(found['shards'], 'shard')}, damaged: {damaged}",
        f"Definitions {found['definitions']}, schema {found['schema']}",
    ]
    return "\n".join(lines)
