"""What an event is: one thing that happens in register, with the notes that prove it.

Aim
---
An event is a fact of the note table that a listener would name: where it happens, which
notes, how long the place was silent before, how far from what sounded. Detectors are
pure functions of `corpusreg.score.played.Notes` and `PlayedBars`; each returns a list of
`Event`. Everything that a sentence may claim is a field here and can be worked out again
from the notes.

Conventions
-----------
bars       played bars, counted from 0; spans are half-open.
beat       in its bar, from 1, by the felt beat.
pitch      MIDI note numbers; `low` and `high` include both ends.
lengths    in bars of the metre; silence counts only bars in which something sounds.
strength   in (0, 1], comparable within a kind only.

Order
-----
Between kinds the order is fixed (`KINDS`), within a kind the strongest is first, then
the earliest. What happens in the final cadence (the last eighth of a work, at most `FINAL`
bars) never comes first: there it counts as a high or low point only.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "KINDS", "PRINTED_KINDS", "Approach", "Direction", "Event", "Kind", "Place", "final_bar",
    "ranked",
]  # fmt: skip

Kind = Literal[
    "withheld_bass",
    "withheld_top",
    "cleared",
    "climb",
    "descent",
    "wedge",
    "pedal_point",
    "shift",
    "octave_return",
    "voice_entry",
    "high_point",
    "low_point",
    "isolated",
    "in_octaves",
    "dialogue",
    "gap",
    "crossing",
    "closing",
    "entry",
]
KINDS: tuple[Kind, ...] = get_args(Kind)  # in the order in which events are told
# Kinds that hold against annotated scores (tests/benchmarks/events.py): three clear ones in
# four are found, with three false ones in 100 bars at most. The others are not told. Of three
# clear wedges and three clear dialogues one is found; no closing register was annotated.
PRINTED_KINDS = frozenset(KINDS) - {"wedge", "dialogue", "closing"}
Direction = Literal["", "up", "down", "opening", "closing"]
Approach = Literal["", "step", "leap", "silence"]
Place = Literal["", "bass", "inner", "top"]
Ending = Literal["", "resolves", "moves off", "stops", "with the piece"]

TOGETHER = 1.25  # times as strong, with a theme, a section or a new dynamic
FINAL = 4  # bars
_FINAL_SHARE = 8  # of a short work: an eighth of its bars
_KIND_ORDER = {kind: place for place, kind in enumerate(KINDS)}


@dataclass(frozen=True)
class Event:
    """One event of the whole texture (part None) or of one part.

    Of every kind:

    first, last: played bars that the event fills, half-open. bar, beat: where it
    happens (the entry, the arrival of a climb, the end of a pedal point that ends, the
    beginning of a passage). pitches: the notes that prove it, lowest first; low, high:
    the register it is about. lasts: bars for which the new state holds (an entry's new
    register, a passage's length). players: parts that do it.

    Of silence: silence, bars for which nothing sounded in the place before; since, the
    played bar in which the place was last heard, None where it was not heard before in
    the work; edge, the note nearest to the place that sounded meanwhile (the lowest of
    all for a withheld bass, the highest for a withheld top).

    Of motion: distance, semitones from where the line or texture was; direction;
    approach of the note in its own line; steps, notes or bars of the way.

    place: where in the texture (pedal points, entries). ending: how a pedal point ends.
    by: what moved ('mass', 'top', 'bottom', 'part' for shifts; 'enters' or 'falls',
    'rises' for withheld bass and top). interval: semitones, signed (return in another
    octave, voice entry to what it imitates, width of a doubling or a gap). again: the
    played bar whose music this repeats, imitates or answers. times: how often (earlier
    peaks of the same height, alternations). bars: further played bars of the same fact.
    """

    kind: Kind
    part: int | None
    first: int
    last: int
    bar: int
    beat: float
    pitches: tuple[int, ...]
    low: int
    high: int
    strength: float
    lasts: float = 0.0
    players: tuple[int, ...] = ()
    silence: float = 0.0
    since: int | None = None
    edge: int | None = None
    distance: float = 0.0
    direction: Direction = ""
    approach: Approach = ""
    steps: int = 0
    place: Place = ""
    ending: Ending = ""
    by: str = ""
    interval: int | None = None
    again: int | None = None
    times: int = 0
    bars: tuple[int, ...] = ()
    theme: bool = False  # a voice entry imitates, a withheld note comes with earlier music
    section: bool = False  # begins where a section begins
    grazes: int = 0  # passing notes that touched the place in its silence


def final_bar(bars: int) -> int:
    """The played bar in which the final cadence of a work of so many bars begins."""
    return bars - min(FINAL, max(bars // _FINAL_SHARE, 1))


def ranked(events: Iterable[Event], new_level: NDArray[np.bool_]) -> tuple[Event, ...]:
    """Events of PRINTED_KINDS with the strongest first.

    new_level: whether each played bar is louder or softer than the one before by a mark,
    shape (bars,). What comes with that, with earlier music or where a section begins counts
    as stronger (TOGETHER). What happens in the final cadence comes last.
    """
    final = final_bar(len(new_level))

    def strength(event: Event) -> float:
        together = event.theme or event.section or new_level[event.bar]
        return event.strength * (TOGETHER if together else 1.0)

    return tuple(
        sorted(
            (each for each in events if each.kind in PRINTED_KINDS),
            key=lambda each: (
                each.bar >= final,
                _KIND_ORDER[each.kind],
                -strength(each),
                each.bar,
                each.beat,
                each.low,
            ),
        )
    )
