"""Works to study: those that use register like a piece, and those that do the contrary."""

from __future__ import annotations

from collections.abc import Iterable

from corpusreg.comparison.comparison import Comparison
from corpusreg.documents.report.model import NearWork, Picture, Works
from corpusreg.documents.report.terms import Explainer
from corpusreg.norms.profiles.model import Neighbour, PlacedProfile
from corpusreg.system.phrases import capital
from corpusreg.system.plaintext import plain
from corpusreg.text.profiles import habit_words, neighbour_words, profile_words

__all__ = ["works"]


def works(c: Comparison, explain: Explainer) -> Works:
    """Near and contrary works, with what they share with the piece and where they differ."""
    placed = c.profile
    if isinstance(placed, str):
        said = f"Works near in all measures were not looked for: {placed}."
        return Works(said, (), "", (), None, explain([said]))
    words = profile_words(placed)
    said = f"{capital(words)}."
    sharing = _near(placed, placed.nearest)
    contrasting = _near(placed, placed.contrasting)
    picture = Picture(
        "nearest",
        "Every dot is a work and the diamond is this piece; numbers and letters are those "
        "of the list.",
        "The piece among the works it is compared with; the nearest are named in the list.",
    )
    habit = habit_words(placed) if contrasting else ""
    texts = [said, *(each.words for each in (*sharing, *contrasting)), habit]
    return Works(
        plain(said), sharing, habit, contrasting,
        picture if sharing else None, explain(texts),
    )  # fmt: skip


def _near(placed: PlacedProfile, found: Iterable[Neighbour]) -> tuple[NearWork, ...]:
    return tuple(
        NearWork(
            title=plain(each.title),
            composer=plain(each.composer),
            words=neighbour_words(placed.families, each.families),
            id=each.work,
        )
        for each in found
    )
