"""The data sheet of a reference as text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from corpusreg.instruments.ensembles import kinds
from corpusreg.norms.reference import MINIMUM_UNITS, MINIMUM_WORKS
from corpusreg.system.phrases import plural
from corpusreg.text.lines import item, wrap
from corpusreg.text.tabular import text_table

__all__ = ["reference_text"]

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


def _head(sheet: Mapping[str, Any]) -> list[str]:
    where = "comes with corpusreg" if sheet["ships"] else f"lies in {sheet['path']}"
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
    yield "What is missing, and whom that misleads"
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
            f"{sheet['left_out']:,} works with notes far outside their instrument are kept and "
            "count in no norm of what those notes decide: 'corpusreg query left_out'"
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
