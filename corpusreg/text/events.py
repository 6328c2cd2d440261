"""Events in plain sentences where there is no placed piece, and which of them to tell first."""

from __future__ import annotations

from corpusreg.comparison.comparison import Comparison
from corpusreg.comparison.findings import PieceFacts, bare_event
from corpusreg.measures.events import Event
from corpusreg.score.played import PlayedBars
from corpusreg.text.findings import sentence

__all__ = ["event_words", "told_events"]

# A piece of which no more is known than its bars: players go without a name.
_NAMELESS = PieceFacts("", "", "", "", (), (), 0, 0, False, 0, 0)


def told_events(c: Comparison, number: int) -> list[Event]:
    """The first events of the whole in their order, one for each printed bar.

    Shifts are told as such and are not among them.
    """
    best: dict[int, Event] = {}
    for each in c.events:
        if each.part is None and each.event.kind != "shift":
            best.setdefault(int(c.bars.written[each.event.bar]), each.event)
    return sorted(list(best.values())[:number], key=lambda event: event.bar)


def event_words(event: Event, bars: PlayedBars) -> str:
    """One event as a sentence without its full stop."""
    return sentence(bare_event(event, bars), _NAMELESS).removesuffix(".")
