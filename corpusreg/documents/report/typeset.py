"""Sheets as PDF: a template and plain data, set by typst.

Text reaches the template as data and is shown as it is: a title that holds markup is no
markup. Pictures are SVG in the data; they need a description. The PDF carries its fonts,
its text can be selected, and it is tagged for screen readers (PDF/UA-1).

The face is the one that typst brings along, so that sheets look alike everywhere. Where
it lacks a letter, fonts of the system step in; where these lack it too, the letter is
shown as an empty box and the answer says so.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any

from corpusreg.documents.pictures.look import COLOURS

__all__ = ["PAPERS", "Sheet", "typeset"]

PAPERS = {"a4": "a4", "letter": "us-letter"}
_TAGGED = "ua-1"
_NO_GLYPH = "could not be displayed"
_WHITE = "#ffffff"


@dataclass(frozen=True)
class Sheet:
    """A PDF, and what a reader must know about it."""

    pdf: bytes
    remarks: tuple[str, ...] = ()


def typeset(template: str, data: Mapping[str, Any], *, paper: str = "a4") -> Sheet:
    """Data set by a template.

    template: typst source, which follows `assets/base.typ`; that gives it `data`, `look`
    and the shapes that all sheets share. data: what JSON can hold, with 'title' for the
    document. paper: a key of PAPERS.
    """
    import typst

    base = resources.files("corpusreg.documents.report") / "assets" / "base.typ"
    source = f"{base.read_text(encoding='utf-8')}\n{template}".encode()
    given = {**_on_white(data), "look": COLOURS, "paper": PAPERS[paper]}
    inputs = {"data": json.dumps(given)}

    def compiled(*, system_fonts: bool, standards: list[str]) -> bytes:
        compiler: Any = typst.Compiler(
            source, ignore_system_fonts=not system_fonts, sys_inputs=inputs
        )
        pdf: bytes = compiler.compile(format="pdf", pdf_standards=standards)
        return pdf

    missing = ""
    for system_fonts in (False, True):
        try:
            return Sheet(compiled(system_fonts=system_fonts, standards=[_TAGGED]))
        except typst.TypstError as error:
            if _NO_GLYPH not in str(error):
                raise
            missing = str(error).partition("`")[2].partition("`")[0]
    return Sheet(
        compiled(system_fonts=True, standards=[]),
        (f"no font here has the letters {missing}: they are shown as empty boxes",),
    )


def _on_white(value: Any) -> Any:
    """Pictures with the paper's own colour, which a printer would print as a tint."""
    if isinstance(value, Mapping):
        return {name: _on_white(inner) for name, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_on_white(inner) for inner in value]
    if isinstance(value, str) and value.startswith("<svg"):
        return value.replace(COLOURS["paper"], _WHITE)
    return value
