"""Musical signs within text, as letters that a book face has.

The engraver writes a mark such as 'pp clair' or the note of a metronome mark as text in
its own music face, which neither a page nor a PDF has: readers would see empty boxes.
Code points: Standard Music Font Layout (SMuFL) 1.4, ranges 'Dynamics', 'Metronome marks',
'Individual notes' and 'Standard accidentals'.
"""

from __future__ import annotations

import re
from typing import Any

__all__ = ["spell_out"]

_SMALLER = 0.7  # letters of the music face are drawn so much smaller than its size
_PRIVATE = re.compile("[\ue000-\uf8ff]")
_LOUDNESS = (
    "p", "m", "f", "r", "s", "z", "n", "pppppp", "ppppp", "pppp", "ppp", "pp", "mp", "mf",
    "pf", "ff", "fff", "ffff", "fffff", "ffffff", "fp", "fz", "sf", "sfp", "sfpp", "sfz",
    "sfzp", "sffz", "rf", "rfz",
)  # fmt: skip
_DYNAMICS = dict(enumerate(_LOUDNESS, start=0xE520))
# Stems up and down look alike as letters. A minim and what is longer has none.
_NOTES = ("double whole note", "double whole note", "whole note", *2 * ("half note",),
          *2 * ("\N{QUARTER NOTE}",), *2 * ("\N{EIGHTH NOTE}",), *2 * ("16th note",),
          *2 * ("32nd note",))  # fmt: skip
_OTHERS = {
    **dict(enumerate(_NOTES, start=0xECA0)),
    **dict(enumerate(_NOTES, start=0xE1D0)),
    0xECB7: ".",
    0xE1E7: ".",
    0xE260: "\N{MUSIC FLAT SIGN}",
    0xE261: "\N{MUSIC NATURAL SIGN}",
    0xE262: "\N{MUSIC SHARP SIGN}",
}


def spell_out(element: Any) -> None:
    """Replace signs of the music face in the text of an SVG element; unknown ones go.

    Dynamics are set bold and slanted, as they are printed.
    """
    text = element.text or ""
    if not _PRIVATE.search(text):
        return
    element.text = text.translate(_DYNAMICS).translate(_OTHERS)
    element.text = _PRIVATE.sub("", element.text)
    if size := re.match(r"[\d.]+", element.get("font-size") or ""):
        element.set("font-size", f"{float(size[0]) * _SMALLER:g}px")
    if any(ord(sign) in _DYNAMICS for sign in text):
        element.set("font-style", "italic")
        element.set("font-weight", "bold")
