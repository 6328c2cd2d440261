"""A work as heard, measured only as far as a question needs.

The numbers are those of `corpusreg.measures.analysis`, from the same functions: a search asks a
few of them of very many versions.
"""

from __future__ import annotations

from functools import cached_property

from corpusreg.measures import movement
from corpusreg.measures.analysis import Analysis, analyse
from corpusreg.measures.events import Event
from corpusreg.measures.ground import ground, lasting
from corpusreg.measures.outer_lines import moments
from corpusreg.measures.pedal_points import pedal_points
from corpusreg.measures.shifts import Shift, shifts
from corpusreg.measures.silence import silences
from corpusreg.measures.stays import Stay, stays
from corpusreg.measures.texture import Texture, texture
from corpusreg.score.played import Played

__all__ = ["Heard"]


class Heard:
    """A work as heard. Needs at least one note."""

    def __init__(self, played: Played) -> None:
        self.played = played

    @cached_property
    def texture(self) -> Texture:
        """Weights of all pitches, without articulation."""
        return texture(lasting(self.played.notes, self.played.bars), self.played.bars)

    @cached_property
    def shifts(self) -> list[Shift]:
        """Shifts of the texture; moves of one player alone are not among them."""
        return shifts(self.texture)

    @cached_property
    def events(self) -> list[Event]:
        """What enters after silence, and pedal points."""
        played = self.played
        here = ground(lasting(played.notes, played.bars), played.bars)
        return [*silences(here, played.seconds), *pedal_points(moments(played))]

    @cached_property
    def stays(self) -> list[Stay]:
        """Stays of the texture."""
        return stays(self.texture)

    @cached_property
    def movement(self) -> float:
        """Mean movement from bar to bar, semitones; 0 where there is one bar."""
        steps = movement.between_bars(self.texture)
        return float(steps.mean()) if len(steps) else 0.0

    @cached_property
    def lowest(self) -> int:
        """Lowest pitch."""
        return int(self.played.notes.pitch.min())

    @cached_property
    def analysis(self) -> Analysis:
        """Everything."""
        return analyse(self.played)
