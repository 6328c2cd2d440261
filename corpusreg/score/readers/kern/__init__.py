"""Humdrum kern files -> Score.

Spines, tokens and parts are read in `spines`; times, barlines, sections and played order in
`timing`; **dynam and **text columns and pedals here. Columns of any other kind (figured bass,
fingering, alternative readings) are passed over.

Conventions: kern pitch is sounding pitch. *ITr (how a transposing instrument is
notated), octave clefs (*clefGv2) and ottava lines (*8va) change nothing; *Tr (the
encoding was moved) is taken back; see `spines`. Hidden notes (yy) sound,
notes between *cue and *Xcue are left out and counted.

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
from pathlib import Path

from corpusreg.score.notes import Dynamic, Part, Pedal, Score, Sign, Tempo, note_table
from corpusreg.score.readers.kern.spines import (
    HairpinSign,
    KernPlace,
    KernTable,
    Track,
    changes_of_instrument,
    parse_dynamics,
    place_tracks,
    read_table,
)
from corpusreg.score.readers.kern.timing import (
    KernMeasure,
    Timeline,
    bar_table,
    expansion_list,
    run_table,
)
from corpusreg.system.errors import ReadError

__all__ = ["read_kern", "read_kern_all"]


def _staff_record(track: Track) -> str:
    for record in track.records:
        if re.fullmatch(r"\*staff\d+(/\d+)*", record):
            return record
    return ""


def _owner(track: Track, table: KernTable, places: dict[Track, KernPlace]) -> Track | None:
    """The kern column that a dynam column belongs to."""
    kern = [other for other in table.tracks if other in places]
    record = _staff_record(track).split("/")[0]
    same = [other for other in kern if record and _staff_record(other) == record]
    left = [other for other in kern if other.number < track.number]
    right = [other for other in kern if other.number > track.number]
    found = same or left[-1:] or right[:1]
    return found[0] if found else None


def _dynam_places(
    tracks: list[Track], table: KernTable, places: dict[Track, KernPlace]
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
    timeline: Timeline, table: KernTable, places: dict[Track, KernPlace]
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


def with_words(
    parts: tuple[Part, ...], table: KernTable, places: dict[Track, KernPlace]
) -> tuple[Part, ...]:
    """Parts with their syllables counted, of the first verse under each kern column."""
    verses: dict[Track, Track] = {}
    for track in table.tracks:
        if track.kind == "**text" and (owner := _owner(track, table, places)):
            verses.setdefault(owner, track)
    if not verses:
        return parts
    part_of = {verse: places[owner].part for owner, verse in verses.items()}
    syllables = Counter(
        part_of[spine.track]
        for row in table.rows
        if row.kind == "data"
        for column, spine in row.layout.text
        if spine.track in part_of and any(map(str.isalpha, row.fields[column]))
    )
    return tuple(replace(part, lyrics=syllables[n]) for n, part in enumerate(parts))


def pedals_of(
    timeline: Timeline, parts: tuple[Part, ...], places: dict[Track, KernPlace]
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


_MAX_BYTES = 64_000_000  # the largest open kern file seen is under 1 MB
_SEGMENT = "!!!!SEGMENT"
_MAPPED = (
    ("composer", ("COM",)),
    ("lyricist", ("LYR",)),
    ("rights", ("YEC", "YEM")),
    ("date", ("ODT", "PDT")),
    ("encoder", ("ENC", "EED")),
)


def read_kern(path: Path) -> Score:
    """The score of a kern file; of several segments, the first.

    Raises ReadError (file, line, what to do) where there is no note, the columns
    do not add up, or the file cannot be read.
    """
    name, segments = _segments(path)
    return _score(segments[0], name)


def read_kern_all(path: Path) -> list[Score]:
    """One Score for each !!!!SEGMENT of a file, in order; raises as `read_kern`."""
    name, segments = _segments(path)
    return [_score(segment, name) for segment in segments]


def _text(path: Path) -> str:
    """The file as text: UTF-8, with or without a mark, else Latin-1."""
    try:
        if path.stat().st_size > _MAX_BYTES:
            raise ReadError(f"{path.name}: over {_MAX_BYTES} bytes; split the file")
        data = path.read_bytes()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise ReadError(f"{path.name}: cannot be read ({reason}); check the path") from error
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _segments(path: Path) -> tuple[str, list[list[tuple[int, str]]]]:
    """The file's name and the numbered lines of each segment that has columns."""
    path = Path(path)
    segments: list[list[tuple[int, str]]] = [[]]
    open_columns = False
    for number, line in enumerate(_text(path).split("\n"), 1):
        if line.startswith(_SEGMENT) and open_columns:
            segments.append([])
            open_columns = False
        open_columns = open_columns or line.startswith("**")
        segments[-1].append((number, line))
    if not open_columns and len(segments) > 1:
        segments.pop()
    if not open_columns and len(segments) == 1:
        raise ReadError(f"{path.name}: no ** line begins a column; give a Humdrum kern file")
    return path.name, segments


def _metadata(table: KernTable) -> dict[str, str]:
    """Reference records under their own keys, and the keys used everywhere."""
    found: dict[str, list[str]] = {}
    for key, value in table.references:
        if value:
            found.setdefault(key, []).append(value)
    metadata = {key: "; ".join(values) for key, values in found.items()}
    for name, keys in _MAPPED:
        text = "; ".join(metadata[key] for key in keys if key in metadata)
        if text:
            metadata[name] = text if name == "rights" else text.split("; ")[0]
    titles = {"title": "OTL", "movement": "OMV", "number": "ONM"}
    if "OPR" in metadata:  # a movement or piece of a larger work
        titles = {"title": "OPR", "movement": "OTL", "number": "OMV"}
    metadata.update({name: metadata[key] for name, key in titles.items() if key in metadata})
    return metadata


def _wanted(table: KernTable) -> list[str] | None:
    """The default expansion list, where the file has one."""
    for track in table.tracks:
        for record in track.records:
            labels = expansion_list(record)
            if labels is not None:
                return labels
    return None


def _score(lines: list[tuple[int, str]], name: str) -> Score:
    table = read_table(lines, name)
    metadata = _metadata(table)
    parts, places = place_tracks(
        table, metadata.get("AIN", ""), metadata.get("system-decoration", "")
    )
    timeline = run_table(table, places)
    if not timeline.rows:
        raise ReadError(f"{name}: no **kern notes; nothing to measure in this file")
    count = len(timeline.measures)
    labels = [(bar, label) for bar, label in timeline.labels if bar < count and label]
    dynamics = dynamics_of(timeline, table, places)
    pedals = pedals_of(timeline, parts, places)
    bars, assumed = bar_table(timeline.measures, labels, _wanted(table), timeline.ticks)
    changed = changes_of_instrument(table)
    if changed:
        assumed.append(f"{changed} columns change instrument: the first one is kept")
    other = Counter(track.kind for track in table.tracks if "kern" in track.kind)
    del other["**kern"]
    left_out = timeline.left_out + Counter({f"spine {kind}": n for kind, n in other.items()})
    return Score(
        ticks=timeline.ticks,
        parts=with_words(parts, table, places),
        bars=bars,
        notes=note_table(timeline.rows),
        dynamics=dynamics,
        pedals=pedals,
        tempos=tuple(Tempo(tick, speed) for tick, speed in dict(timeline.tempos).items()),
        metadata=metadata,
        assumed=tuple(assumed + timeline.assumed),
        lost=dict(timeline.lost),
        left_out=dict(left_out),
        format="kern",
        signs=_signs(timeline.measures),
        keys=tuple(timeline.keys),
    )


def _signs(measures: list[KernMeasure]) -> tuple[Sign, ...]:
    """What shows where movements end and begin: final barlines, new metres."""
    found = []
    for bar, measure in enumerate(measures):
        if bar and measure.metre != measures[bar - 1].metre:
            found.append(Sign(bar, "metre"))
        if measure.final:
            found.append(Sign(bar, "final"))
    return tuple(found)
