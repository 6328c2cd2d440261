"""What stands below a table of a measure by group."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from corpusreg.measures.definitions import BY_NAME
from corpusreg.norms.asking import GROUPS
from corpusreg.store import sql
from corpusreg.text.lines import wrap

__all__ = ["table_text"]

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
        yield f"Works that stand in no row, since no {noun} is known: {groupless:,}."
    if valueless:
        yield (
            "Works that stand in no row, since they are too short for this measure or it "
            f"does not apply to them: {valueless:,}."
        )
    if by in ("period", "ensemble"):
        single = [row["group"] for row in rows if row["collections"] == 1]
        if single:
            yield (
                "Of one collection, and so a picture of that rather than of the "
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
