"""Events of lines: what outer lines and written voices do, all kinds in one list."""

from __future__ import annotations

from corpusreg.measures.climbs import climbs, wedges
from corpusreg.measures.dialogues import dialogues
from corpusreg.measures.doublings import in_octaves
from corpusreg.measures.events import Event
from corpusreg.measures.outer_lines import moments
from corpusreg.measures.peaks import closing, high_and_low, isolated
from corpusreg.measures.pedal_points import pedal_points
from corpusreg.measures.returns import octave_returns
from corpusreg.measures.voices import crossings, entries
from corpusreg.score.played import Played

__all__ = ["line_events"]


def line_events(played: Played) -> list[Event]:
    """Events of lines of a work, or of one part, in order of time. Needs at least one note."""
    here = moments(played)
    found = [
        *climbs(here),
        *wedges(here),
        *pedal_points(here),
        *high_and_low(here),
        *isolated(here),
        *in_octaves(here),
        *entries(here),
        *crossings(here),
        *octave_returns(here),
        *dialogues(here),
        *closing(here),
    ]
    return sorted(found, key=lambda event: (event.bar, event.beat, event.kind, event.low))
