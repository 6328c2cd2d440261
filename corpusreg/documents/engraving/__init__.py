"""Bars of a score as notation: SVG that a page or a PDF takes in many times.

`engrave` draws one passage and `engrave_all` several, in one bounded child process,
because the engraver (verovio) is native code and the score may be a stranger's. Where
bars cannot be drawn, or where what was drawn does not hold exactly the notes that were
read, the answer is a line that says why, and never a wrong picture.

Conventions
-----------
bars      written positions in file order, from 0, half-open, as `PlayedBars.written`.
svg       a whole <svg> whose <use> elements name symbols that are not inside it: the
          shapes of clefs and heads, the same for every passage. A page holds them once,
          by `glyph_sheet`; a picture of its own is made by `standalone`.
ids       there are none but those of the shapes ('glyph-E0A4'), so passages never clash.
colour    `currentColor` throughout: notation takes the colour of the text around it.
size      millimetres; a full line is TEXT_WIDTH wide, a staff 5.8 high.
"""

from __future__ import annotations

from corpusreg.documents.engraving.drawing import engrave_here
from corpusreg.documents.engraving.passage import TEXT_WIDTH, Engraved, Passage
from corpusreg.documents.engraving.svg import glyph_sheet, standalone

__all__ = [
    "TEXT_WIDTH",
    "Engraved",
    "Passage",
    "engrave",
    "engrave_all",
    "glyph_sheet",
    "standalone",
]

_SECONDS = 60.0  # of computing for all passages of a call


def engrave(passage: Passage) -> Engraved | str:
    """One passage drawn, or in one line why it cannot be; see `engrave_all`."""
    return engrave_all([passage])[0]


def engrave_all(passages: list[Passage]) -> list[Engraved | str]:
    """Each passage drawn, or in one line why it cannot be, in the order given.

    Passages of one file share its reading. All are drawn in one child process; should
    that crash, each is tried once more in a child of its own, so that one bad score costs
    no other its picture. What takes too long is not tried again.
    """
    from corpusreg.system.isolate import Limits, StoppedError, call

    if not passages:
        return []
    limits = Limits(cpu_seconds=_SECONDS, wall_seconds=4 * _SECONDS)
    try:
        drawn: list[Engraved | str] = call(engrave_here, passages, limits)
    except StoppedError as error:
        if len(passages) > 1 and error.kind != "time":
            return [engrave(passage) for passage in passages]
        return [f"{passage.path.name}: cannot be engraved ({error})" for passage in passages]
    return drawn
