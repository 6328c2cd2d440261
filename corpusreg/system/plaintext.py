"""Text from scores, tables and file names, made harmless where it leaves for people.

A title may hold signs that a terminal obeys, or begin like a formula, which a spreadsheet
would work out. Inside, and in JSON, text stays as it was read.
"""

from __future__ import annotations

import json
from typing import Any

__all__ = ["from_spreadsheet", "listed", "plain", "spreadsheet"]

# What spreadsheet programs take for the beginning of a formula, also in its wide form.
_FORMULA = tuple("=+-@\t\r＝＋－＠")
# What makes them take a cell for text; they show it in the cell's own line only.
_TEXT = "'"


def plain(text: str) -> str:
    """Text on one line, without signs that a terminal would obey.

    >>> plain("Tune\\x1b[2J  in\\nC")
    'Tune [2J in C'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def spreadsheet(value: Any) -> Any:
    """A value as a cell of a table in CSV: text is plain, and never a formula.

    >>> [spreadsheet(each) for each in ("=1+1", "-3", -3.5, "- 3 songs", None)]
    ["'=1+1", '-3', -3.5, "'- 3 songs", None]
    """
    if not isinstance(value, str):
        return value
    text = plain(value)
    formula = value.startswith(_FORMULA) or text.startswith(_FORMULA)
    return f"{_TEXT}{text}" if formula and not _is_number(text) else text


def listed(value: Any) -> Any:
    """A list of texts or numbers as one text, its items apart by semicolons; what is nested as
    JSON, anything else as it is.

    >>> listed(["high", 2]), listed([{"bar": "3"}]), listed(4)
    ('high; 2', '[{"bar": "3"}]', 4)
    """
    if isinstance(value, list | tuple) and not any(isinstance(v, list | dict) for v in value):
        return "; ".join(map(str, value))
    return json.dumps(value) if isinstance(value, list | tuple | dict) else value


def from_spreadsheet(cell: str) -> str:
    """The text that `spreadsheet` made a cell of."""
    return cell[1:] if cell.startswith(_TEXT) and cell[1:].startswith(_FORMULA) else cell


def _is_number(text: str) -> bool:
    """Whether it is a number written out, which has to stay one."""
    try:
        float(text)
    except ValueError:
        return False
    return True
