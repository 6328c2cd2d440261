"""Parts and their instruments: what each plays, and what that asks of the player."""

from __future__ import annotations

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.players import Player
from corpusreg.documents.report.model import PartLine, Parts, Picture
from corpusreg.documents.report.terms import Explainer
from corpusreg.system.plaintext import plain
from corpusreg.text import sentences
from corpusreg.text.players import asks_words, player_remarks

__all__ = ["parts"]


def parts(c: Comparison, explain: Explainer) -> Parts:
    """All sounding parts in score order, with remarks and cautions."""
    lines = tuple(map(_line, c.players.parts))
    remarks = tuple(player_remarks(c))
    picture = Picture(
        "levels",
        "Up: where a note lies in all that these instruments can play together. Across: "
        "where it lies in the range of its own instrument. The stronger the colour, the more "
        "weight.",
        "Two-level grid: position in the ensemble against position in the instrument.",
    )
    texts = [*(f"{line.asks} {line.range}" for line in lines), *remarks]
    if c.players.two_level:
        texts.append(picture.caption)
    return Parts(lines, remarks, picture if c.players.two_level else None, explain(texts))


def _line(player: Player) -> PartLine:
    lies = player.lying
    return PartLine(
        name=plain(player.name),
        instrument=lies.instrument.name if lies else "",
        notes=sentences.range_words(player.lowest, player.highest),
        range=sentences.range_words(*lies.instrument.professional) if lies else "",
        asks=asks_words(lies) if lies else "",
        staves=tuple(
            f"staff {staff.number}: {sentences.range_words(staff.lowest, staff.highest)}"
            for staff in player.staves
        ),
    )
