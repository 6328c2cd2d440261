"""Technical words, each explained in one line where a reader meets it first."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from corpusreg.documents.report.model import Term
from corpusreg.measures.definitions import Measure

__all__ = ["TERMS", "Explainer"]

# How a word is found in running text (whole words, any case), then the word as it is
# explained, and the line. The longest words come first where one holds another.
_WORDS: tuple[tuple[str, str, str], ...] = (
    (
        r"[A-G][#b]?-?\d",
        "C4",
        "middle C; C5 is the octave above it, and B4 the note below C5",
    ),
    (r"semitones?", "semitone", "from one key of the piano to the next; an octave has twelve"),
    (r"as played", "as played", "repeats and endings are followed, as a listener hears them"),
    (
        r"registers?",
        "register",
        "a part of the space from low to high, such as the octave from C4 to B4",
    ),
    (
        r"stays?|staying",
        "stay",
        "a stretch of bars that keeps one register",
    ),
    (
        r"narrow",
        "narrow, wide",
        "a stay is narrow within two octaves (a single line: within one), otherwise wide",
    ),
    (
        r"shifts?",
        "shift",
        "a bar in which the register is clearly another than in the bar before",
    ),
    (r"the whole", "the whole", "all parts together"),
    (
        r"weight",
        "weight",
        "how much of the time a note fills and how loud it is",
    ),
    (
        r"[Gg]aps? between the (?:voices|hands)",
        "gap between the voices",
        "more than an octave without a note between two neighbouring voices, kept for bars",
    ),
    (
        r"withheld",
        "withheld",
        "the bass (or the top) keeps out of a register for long, and then enters there",
    ),
    (
        r"edge of (?:its|the) range|at the edge|its edge|an edge",
        "edge of a range",
        "the lowest and highest tenth of what an instrument plays, and all beyond its "
        "comfortable notes",
    ),
    (
        r"where it tires|tiring zones?",
        "where it tires",
        "notes that tire a voice or a player when they last",
    ),
    (
        r"profiles?|kinds? of register use",
        "profile",
        "a kind of register use that many works share",
    ),
    (
        r"rank",
        "rank",
        "of 100 such works in order of a measure, how many lie below the piece",
    ),
    (
        r"interval",
        "interval",
        "with other works of the same kind the rank would lie in it about 19 times in 20",
    ),
)
TERMS = tuple(Term(word, meaning) for _, word, meaning in _WORDS)
_FOUND = tuple(
    (
        re.compile(rf"(?<![\w#])(?:{pattern})(?![\w#])", 0 if word == "C4" else re.IGNORECASE),
        term,
    )
    for (pattern, word, _), term in zip(_WORDS, TERMS, strict=True)
)


class Explainer:
    """Remembers which words a reader has met."""

    def __init__(self) -> None:
        self._known: set[str] = set()

    def __call__(
        self, texts: Sequence[str], measures: Iterable[Measure] = ()
    ) -> tuple[Term, ...]:
        """Words that are met in these texts for the first time, in the order they come.

        measures: those that the texts name without saying what they mean.
        """
        text = "\n".join(texts)
        met = [(text.find(each.title), Term(each.title, each.meaning)) for each in measures]
        for pattern, term in _FOUND:
            found = pattern.search(text)
            if found:
                met.append((found.start(), term))
        met.sort(key=lambda each: each[0])
        new = {term.word: term for _, term in met if term.word not in self._known}
        self._known.update(new)
        return tuple(new.values())

    def met(self, measures: Iterable[Measure]) -> None:
        """Note measures whose meaning is told beside them."""
        self._known.update(each.title for each in measures)
