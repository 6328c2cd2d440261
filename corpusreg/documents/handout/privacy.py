"""Names kept out of everything that is written, wherever a score or a teacher put them."""

from __future__ import annotations

import html
import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

from corpusreg.documents.handout.roster import without_names

__all__ = ["cleaned"]

T = TypeVar("T")


def cleaned(value: T, hidden: Mapping[str, str]) -> T:
    """The same data without the names that `hidden` maps to codes.

    value: text, or dataclasses, tuples and values of mappings that hold text. In SVG only
    what is read as text is changed.
    """
    if not hidden:
        return value
    found: Any = value
    if isinstance(found, str):
        found = _in_svg(found, hidden) if found[:4] == "<svg" else without_names(found, hidden)
    elif isinstance(found, tuple):
        found = tuple(cleaned(each, hidden) for each in found)
    elif isinstance(found, Mapping):
        found = {key: cleaned(each, hidden) for key, each in found.items()}
    elif is_dataclass(found) and not isinstance(found, type):
        found = replace(
            found,
            **{f.name: cleaned(getattr(found, f.name), hidden) for f in fields(found)},
        )
    return found  # type: ignore[no-any-return]


def _in_svg(svg: str, hidden: Mapping[str, str]) -> str:
    """Text between tags, and attributes that hold words."""

    def text(match: re.Match[str]) -> str:
        words = without_names(html.unescape(match[2]), hidden)
        return f"{match[1]}{html.escape(words)}{match[3]}"

    svg = re.sub(r"(>)([^<>]+)(<)", text, svg)
    return re.sub(r'((?:aria-label|data-\w+)=")([^"]*)(")', text, svg)
