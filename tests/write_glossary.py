"""Write the table of measures in the glossary anew, and print what changed.

    python tests/write_glossary.py

The table is between two marks in corpusreg/data/glossary.md and comes from
corpusreg.measures.definitions; the words around it are written by hand.
"""

from __future__ import annotations

import difflib
import sys
from pathlib import Path

from corpusreg.measures.definitions import MEASURES

GLOSSARY = Path(__file__).parents[1] / "corpusreg" / "data" / "glossary.md"
BEGIN, END = "<!-- measures -->\n", "<!-- end of measures -->\n"


def table() -> str:
    """The measures as a Markdown table, in the order of the definitions."""
    lines = ["| Measure | Name | Unit | What it says | Placed from |", "|---|---|---|---|---|"]
    for m in MEASURES:
        asked = f"{m.minimum_bars} bars" + (f", {m.needs}" if m.needs else "")
        lines.append(f"| {m.title} | `{m.name}` | {m.unit} | {m.meaning} | {asked} |")
    return "\n".join(lines) + "\n"


def renewed(text: str) -> str:
    """The glossary with its table made anew."""
    before, rest = text.split(BEGIN)
    _, after = rest.split(END)
    return before + BEGIN + table() + END + after


def main() -> None:
    """Rewrite the file."""
    old = GLOSSARY.read_text(encoding="utf-8")
    new = renewed(old)
    sys.stdout.writelines(difflib.unified_diff(old.splitlines(True), new.splitlines(True)))
    GLOSSARY.write_text(new, encoding="utf-8")


if __name__ == "__main__":
    main()
