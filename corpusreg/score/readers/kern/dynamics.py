"""Dynamic marks, hairpins and sustain pedal of a kern file.

A **dynam column belongs to the kern column with its *staff number, else to the
nearest kern column on its left (else on its right). In a part of several staves
it counts for all of them (staff 0) when it is the part's only one or says so
(*staff1/2), else for the staff it stands by.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections import Counter
from dataclasses import replace

from corpusreg.score.notes import Dynamic, Part, Pedal
from corpusreg.score.readers.kern.parts import Place
from corpusreg.score.readers.kern.spines import Table, Track
from corpusreg.score.readers.kern.timing import Timeline
from corpusreg.score.readers.kern.tokens import HairpinSign, parse_dynamics

__all__ = ["dynamics_of", "pedals_of"]


def _staff_record(track: Track) -> str:
    for record in track.records:
        if re.fullmatch(r"\*staff\d+(/\d+)*", record):
            return record
    return ""


def _owner(track: Track, table: Table, places: dict[Track, Place]) -> Track | None:
    """The kern column that a dynam column belongs to."""
    kern = [other for other in table.tracks if other in places]
    record = _staff_record(track).split("/")[0]
    same = [other for other in kern if record and _staff_record(other) == record]
    left = [other for other in kern if other.number < track.number]
    right = [other for other in kern if other.number > track.number]
    found = same or left[-1:] or right[:1]
    return found[0] if found else None


def _dynam_places(
    tracks: list[Track], table: Table, places: dict[Track, Place]
) -> dict[Track, tuple[int, int]]:
    """(part, staff) of each dynam column; staff 0 where it counts for the whole part."""
    owners = {track: _owner(track, table, places) for track in tracks}
    columns = Counter(places[owner].part for owner in owners.values() if owner)
    staves = Counter(place.part for place in places.values())
    found = {}
    for track, owner in owners.items():
        if owner is None:
            continue
        place = places[owner]
        whole = "/" in _staff_record(track) or columns[place.part] == 1
        found[track] = (place.part, 0 if whole or staves[place.part] == 1 else place.staff)
    return found


class _Line:
    """Marks of one dynam column in order of time."""

    def __init__(self, part: int, staff: int) -> None:
        self.part = part
        self.staff = staff
        self.found: list[Dynamic] = []
        self.open: int | None = None  # place of the hairpin that has not ended

    def end(self, tick: int) -> None:
        if self.open is not None:
            begun = self.found[self.open]
            self.found[self.open] = replace(begun, end=max(tick, begun.tick))
            self.open = None

    def take(self, tick: int, until: int, signs: list[str | HairpinSign]) -> None:
        for sign in signs:
            if isinstance(sign, str):
                self.end(tick)
                self.found.append(Dynamic(self.part, tick, "mark", mark=sign, staff=self.staff))
            elif sign.what == "start":
                self.end(tick)
                self.open = len(self.found)
                self.found.append(Dynamic(self.part, tick, sign.kind, staff=self.staff))
            elif self.open is not None:
                here = self.found[self.open].tick == tick  # begins and ends on one note
                self.end(until if here or sign.what == "end_late" else tick)


def dynamics_of(
    timeline: Timeline, table: Table, places: dict[Track, Place]
) -> tuple[Dynamic, ...]:
    """Dynamics by part; signs that are not understood are counted in timeline.lost."""
    tracks = [track for track in table.tracks if track.kind in ("**dynam", "**dyn")]
    where = _dynam_places(tracks, table, places)
    lines = {track: _Line(*place) for track, place in where.items()}
    for track, tick, until, token in timeline.dynam:
        signs, strange = parse_dynamics(token)
        if strange:
            timeline.lost["dynamic signs that are not understood"] += strange
        if track in lines:
            lines[track].take(tick, until, signs)
    found = [dynamic for line in lines.values() for dynamic in line.found]
    return tuple(sorted(found, key=lambda dynamic: (dynamic.tick, dynamic.part)))


def pedals_of(
    timeline: Timeline, parts: tuple[Part, ...], places: dict[Track, Place]
) -> tuple[Pedal, ...]:
    """Spans of the sustain pedal. One that is not lifted lasts until it is pressed
    again, the last one to the end of its bar; an organ's pedal sustains nothing.
    """
    down: dict[int, int] = {}
    found: list[Pedal] = []
    for track, tick, pressed in timeline.pedals:
        if track not in places:
            continue
        part = places[track].part
        if parts[part].code.startswith("Iorgan"):
            timeline.left_out["pedal sign of an organ"] += 1
            continue
        if part in down and tick > down[part]:
            found.append(Pedal(part, down[part], tick))
        down.pop(part, None)
        if pressed:
            down[part] = tick
    if down:
        held = f"the last pedal of {len(down)} parts is not lifted: to the end of its bar"
        timeline.assumed.append(held)
    ends = [measure.end for measure in timeline.measures]
    for part, tick in down.items():
        place = bisect_right(ends, tick)
        if place < len(ends):
            found.append(Pedal(part, tick, ends[place]))
    return tuple(found)
