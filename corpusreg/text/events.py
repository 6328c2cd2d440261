"""Events in plain sentences where there is no placed piece, and which of them to tell first."""

from __future__ import annotations

from corpusreg.comparison.findings import PieceFacts, bare_event
from corpusreg.measures.events import Event
from corpusreg.score.played import PlayedBars
from corpusreg.text.findings import sentence

__all__ = ["event_words"]

# A piece of which no more is known than its bars: players go without a name.
_NAMELESS = PieceFacts("", "", "", "", (), (), 0, 0, False, 0, 0)


def event_words(event: Event, bars: PlayedBars) -> str:
    """One event as a sentence without its full stop."""
    return sentence(bare_event(event, bars), _NAMELESS).removesuffix(".")
