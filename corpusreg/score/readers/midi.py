"""Standard MIDI files (formats 0, 1 and 2) by way of mido.

mido hands over every event, so that nothing is paired, cut or dropped out of
sight; see tests/benchmarks/results/readers_abc_midi.md for what was compared.

Conventions
-----------
- A part is one channel of one track; channel 10 is percussion (General MIDI) and
  left out. Two hands on one keyboard are joined to one part with two staves.
- A note ends at the first note-off of its pitch that no earlier note has used.
- Times stay as they are in the file, played or quantised; bars follow from the
  time signatures, 4/4 where there is none (Standard MIDI Files 1.0).
- Time code division (SMPTE) has no quarter notes: half a second is one.
"""

from __future__ import annotations

import io
import re
import struct
from bisect import bisect_right
from collections import deque
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import gcd, lcm
from pathlib import Path
from typing import Any

import numpy as np

from corpusreg.score.notes import Bars, Part, Pedal, Score, Tempo, felt_beat, note_table
from corpusreg.system.errors import ReadError

__all__ = ["load", "read_midi"]

_SUSTAIN = 64


@dataclass
class Stream:
    """What one channel of one track plays.

    notes: (onset, end, pitch, velocity, number of the note-on in the file).
    """

    track: int
    channel: int
    name: str
    notes: list[tuple[int, int, int, int, int]] = field(default_factory=list)
    programs: list[tuple[int, int]] = field(default_factory=list)
    pedal: list[tuple[int, bool]] = field(default_factory=list)


@dataclass
class Events:
    """All events of a file, in absolute ticks."""

    streams: dict[tuple[int, int], Stream] = field(default_factory=dict)
    metres: list[tuple[int, int, int]] = field(default_factory=list)
    tempos: list[tuple[int, int]] = field(default_factory=list)
    names: dict[int, str] = field(default_factory=dict)
    rights: str = ""
    end: int = 0
    begun: int = 0
    unended: int = 0
    unbegun: int = 0
    instant: int = 0


def load(path: Path) -> tuple[int, int, list[Any]]:
    """Format, division and tracks; everything mido can raise is caught here."""
    import mido
    from mido.midifiles.meta import KeySignatureError

    data = _chunks(path, path.read_bytes())
    try:
        found = mido.MidiFile(file=io.BytesIO(data))
        return int(found.type), int(found.ticks_per_beat), list(found.tracks)
    except (
        ArithmeticError,
        AttributeError,
        EOFError,
        KeySignatureError,
        LookupError,
        MemoryError,
        OSError,
        TypeError,
        ValueError,
        struct.error,
    ) as error:
        reason = " ".join(str(error).split()) or "it ends too early"
        raise ReadError(f"{path}: damaged MIDI file ({reason}); export it again") from error


def _chunks(path: Path, data: bytes) -> bytes:
    """Header and tracks alone: other chunks are to be ignored, RIFF wraps are undone."""
    at = data.find(b"MThd", 0, 64)
    if at < 0 or len(data) < at + 14:
        raise ReadError(
            f"{path}: not a MIDI file, it does not begin with MThd; export it again"
        )
    size = struct.unpack(">L", data[at + 4 : at + 8])[0]
    header, at = data[at + 8 : at + 14], at + 8 + size
    tracks = []
    while at + 8 <= len(data):
        size = struct.unpack(">L", data[at + 4 : at + 8])[0]
        if data[at : at + 4] == b"MTrk":
            if at + 8 + size > len(data):
                raise ReadError(
                    f"{path}: damaged MIDI file (a track is cut off); export it again"
                )
            tracks.append(data[at : at + 8 + size])
        at += 8 + size
    count = struct.pack(">h", min(len(tracks), 32767))
    return b"MThd\0\0\0\6" + header[:2] + count + header[4:6] + b"".join(tracks)


def quarter_of(path: Path, division: int, assumed: list[str]) -> tuple[int, int]:
    """Ticks of the file in a quarter note, and the factor that makes them whole.

    division: from the file's header; negative for time code. What is taken for granted
    is added to `assumed`. Raises ReadError for a division that MIDI does not define.
    """
    if division > 0:
        return division, 1
    frames, parts = -(division >> 8), division & 0xFF
    if frames not in (24, 25, 29, 30) or not parts:
        raise ReadError(
            f"{path}: MIDI time division {division} is not defined; export it again"
        )
    assumed.append("time code instead of beats: half a second read as a quarter note")
    return (30 if frames == 29 else frames) * parts, 2


def collect(tracks: list[Any], *, chained: bool) -> Events:
    """Go through every track once; chained sequences begin where the one before ended."""
    events = Events()
    for index, track in enumerate(tracks):
        tick = events.end if chained else 0
        waiting: dict[tuple[int, int], deque[tuple[int, int, int]]] = {}
        for message in track:
            tick += message.time
            if message.is_meta:
                _meta(events, index, tick, message)
            elif message.type in ("note_on", "note_off"):
                _note(events, index, tick, message, waiting)
            elif message.type == "program_change":
                _stream(events, index, message.channel).programs.append((tick, message.program))
            elif message.type == "control_change" and message.control == _SUSTAIN:
                down = message.value >= 64
                _stream(events, index, message.channel).pedal.append((tick, down))
        for (channel, pitch), open_notes in waiting.items():
            events.unended += len(open_notes)
            for onset, velocity, source in open_notes:
                _sound(events, index, channel, (onset, tick, pitch, velocity, source))
        events.end = max(events.end, tick)
    return events


def _stream(events: Events, track: int, channel: int) -> Stream:
    key = track, channel
    if key not in events.streams:
        events.streams[key] = Stream(track, channel, "")
    return events.streams[key]


def _meta(events: Events, track: int, tick: int, message: Any) -> None:
    if message.type in ("track_name", "instrument_name"):
        name = _text(message.name)
        if message.type == "track_name" or track not in events.names:
            events.names[track] = name
    elif message.type == "set_tempo" and message.tempo > 0:
        events.tempos.append((tick, message.tempo))
    elif message.type == "time_signature":
        events.metres.append((tick, message.numerator, message.denominator))
    elif message.type == "copyright":
        events.rights = _text(message.text)


def _text(found: str) -> str:
    """Text of a meta event: UTF-8 where it is that, else Latin-1; one line."""
    with suppress(UnicodeError):
        found = found.encode("latin-1").decode("utf-8")
    return " ".join(re.sub(r"[\x00-\x1f\x7f]", " ", found).split())


def _note(
    events: Events,
    track: int,
    tick: int,
    message: Any,
    waiting: dict[tuple[int, int], deque[tuple[int, int, int]]],
) -> None:
    key = message.channel, message.note
    if message.type == "note_on" and message.velocity:
        waiting.setdefault(key, deque()).append((tick, message.velocity, events.begun))
        events.begun += 1
    elif waiting.get(key):
        onset, velocity, source = waiting[key].popleft()
        _sound(events, track, message.channel, (onset, tick, message.note, velocity, source))
    else:
        events.unbegun += 1


def _sound(
    events: Events, track: int, channel: int, note: tuple[int, int, int, int, int]
) -> None:
    if note[0] == note[1]:
        events.instant += 1
        note = note[0], note[1] + 1, *note[2:]
    _stream(events, track, channel).notes.append(note)


_PERCUSSION = 9
_MOST_BARS = 200_000
_UNSIGNED = (False, False, False, False)  # no grace, ties, dots: a file of sounds has none
_KEYBOARDS = frozenset((None, *range(9), *range(16, 21)))  # pianos, celesta, organs
_RIGHT = re.compile(r"\b(right|rh|r\.h\.?|upper|treble|rechte?|droite)\b", re.IGNORECASE)
_LEFT = re.compile(r"\b(left|lh|l\.h\.?|lower|bass|linke?|gauche)\b", re.IGNORECASE)


def read_midi(path: Path) -> Score:
    """The notes of a MIDI file as written in its tracks.

    Raises ReadError when the file is damaged or has no quarter notes to count in.
    """
    kind, division, tracks = load(path)
    assumed: list[str] = []
    quarter, factor = quarter_of(path, division, assumed)
    events = collect(tracks, chained=kind == 2)
    if factor == 2:
        events.tempos = [(0, 500_000)]  # what half a second to the quarter note means
    if kind == 2:
        assumed.append("independent sequences (format 2): read one after another")
    scale = factor * _scale(events, quarter)
    ticks = quarter * scale // factor
    bars = _bars(path, events, ticks, scale, assumed)
    return _score(events, bars, ticks, scale, assumed)


def _scale(events: Events, quarter: int) -> int:
    """Factor on ticks that makes every bar of the file's metres a whole number."""
    parts = [1]
    for _, numerator, denominator in events.metres:
        if _sensible(numerator, denominator):
            parts.append(denominator // gcd(4 * quarter, denominator))
    return lcm(*parts)


def _sensible(numerator: int, denominator: int) -> bool:
    return 0 < numerator <= 128 and denominator in (1, 2, 4, 8, 16, 32, 64)


def _metres(events: Events, scale: int) -> dict[int, tuple[int, int]]:
    """Metre by the tick where it begins, 4/4 before the first; repetitions do not count."""
    metres = {0: (4, 4)}
    given = {t * scale: (n, d) for t, n, d in events.metres if _sensible(n, d)}
    now = None
    for tick in sorted(given):
        if given[tick] != now:
            metres[tick] = now = given[tick]
    return metres


def _bars(path: Path, events: Events, ticks: int, scale: int, assumed: list[str]) -> Bars:
    metres = _metres(events, scale)
    if 0 not in {t for t, n, d in events.metres if _sensible(n, d)}:
        assumed.append("no metre: read as 4/4")
    last = max((n[1] for s in events.streams.values() for n in s.notes), default=0) * scale
    length: list[int] = []
    full: list[int] = []
    beat: list[int] = []
    edges = [*sorted(tick for tick in metres if tick < last or tick == 0), last]
    for begin, end in pairwise(edges):
        numerator, denominator = metres[begin]
        bar = 4 * ticks * numerator // denominator
        whole, rest = divmod(end - begin, bar)
        if len(length) + whole > _MOST_BARS:
            raise ReadError(f"{path}: more than {_MOST_BARS:,} bars; is a time mistyped?")
        lengths = [bar] * whole + [rest] * (rest > 0)
        if end == last and rest:
            lengths[-1] = bar  # the last bar is filled with silence
        length += lengths
        full += [bar] * len(lengths)
        beat += [felt_beat(numerator, denominator, ticks)] * len(lengths)
    return Bars.plain([str(n + 1) for n in range(len(length))], length, full, beat)


def _score(events: Events, bars: Bars, ticks: int, scale: int, assumed: list[str]) -> Score:
    streams = [s for s in events.streams.values() if s.notes]
    drums = sum(len(s.notes) for s in streams if s.channel == _PERCUSSION)
    streams = [s for s in streams if s.channel != _PERCUSSION]
    parts, seats = _parts(events, streams, assumed)
    starts = bars.start.tolist()
    rows = []
    for stream, (part, staff) in zip(streams, seats, strict=True):
        for on, off, pitch, velocity, source in stream.notes:
            bar = bisect_right(starts, on * scale) - 1
            times = on * scale, (off - on) * scale
            place = part, staff, staff - 1, bar
            rows.append((*place, *times, pitch, velocity, *_UNSIGNED, source))
    if events.unended:
        assumed.append(f"{events.unended} notes without an end: held to the end of their track")
    if events.instant:
        assumed.append(f"{events.instant} notes without length: given one tick")
    tempos = {t * scale: Tempo(t * scale, 60e6 / us) for t, us in events.tempos}
    return Score(
        ticks=ticks,
        parts=parts,
        bars=bars,
        notes=note_table(rows),
        pedals=tuple(_pedals(events, streams, seats, scale)),
        tempos=tuple(tempos[t] for t in sorted(tempos)),
        metadata=_metadata(events, streams),
        assumed=tuple(assumed),
        lost=_lost(events),
        left_out={"unpitched": drums} if drums else {},
        format="midi",
    )


def _lost(events: Events) -> dict[str, int]:
    ignored = sum(not _sensible(n, d) for _, n, d in events.metres)
    found = {
        "note-offs without a note": events.unbegun,
        "time signatures that make no sense": ignored,
    }
    return {reason: count for reason, count in found.items() if count}


def _metadata(events: Events, streams: list[Stream]) -> dict[str, str]:
    """The name of a first track that plays nothing is the title, as is that of the only one."""
    silent = 0 not in {s.track for s in streams} or len({s.track for s in streams}) == 1
    title = events.names.get(0, "") if silent else ""
    return {k: v for k, v in (("title", title), ("rights", events.rights)) if v}


def _program(events: Events, stream: Stream) -> int | None:
    """Program in force at the stream's first note, set in its track or for its channel."""
    first = min(note[0] for note in stream.notes)
    same = [s for s in events.streams.values() if s.channel == stream.channel]
    for programs in (stream.programs, [p for s in same for p in s.programs]):
        if before := [program for tick, program in sorted(programs) if tick <= first]:
            return before[-1]
        if programs:
            return sorted(programs)[0][1]
    return None


def _parts(
    events: Events, streams: list[Stream], assumed: list[str]
) -> tuple[tuple[Part, ...], list[tuple[int, int]]]:
    """Parts, and (part, staff) of each stream."""
    alone = [Part(events.names.get(s.track, ""), program=_program(events, s)) for s in streams]
    if any(len({p for _, p in s.programs}) > 1 for s in streams):
        assumed.append("a part changes its instrument: the first one is taken")
    parts: list[Part] = []
    seats: list[tuple[int, int]] = []
    joined = False
    for index, part in enumerate(alone):
        if index and not joined and _two_hands(alone, index):
            below = _is_lower(streams, alone, index)
            seats[-1] = len(parts) - 1, 1 if below else 2
            seats.append((len(parts) - 1, 2 if below else 1))
            parts[-1] = replace(parts[-1], name=_shared(alone, index), staves=2)
            assumed.append("two tracks of one keyboard: read as the two hands of one player")
            joined = True
        else:
            seats.append((len(parts), 1))
            parts.append(part)
            joined = False
    return tuple(parts), seats


def _two_hands(parts: list[Part], index: int) -> bool:
    """Whether a part and the one before it are two hands on one keyboard."""
    a, b = parts[index - 1], parts[index]
    if a.program != b.program or a.program not in _KEYBOARDS:
        return False
    named = (_RIGHT.search(a.name) and _LEFT.search(b.name)) or (
        _LEFT.search(a.name) and _RIGHT.search(b.name)
    )
    if named:
        return True
    same = sum(p.name == a.name and p.program == a.program for p in parts)
    return bool(a.name) and a.name == b.name and same == 2


def _is_lower(streams: list[Stream], parts: list[Part], index: int) -> bool:
    """Whether the second of two hands is the left one, by name or else by pitch."""
    if _LEFT.search(parts[index].name) and not _RIGHT.search(parts[index].name):
        return True
    if _RIGHT.search(parts[index].name):
        return False
    a, b = (np.mean([n[2] for n in streams[i].notes]) for i in (index - 1, index))
    return bool(b <= a)


def _shared(parts: list[Part], index: int) -> str:
    """Name of the instrument without the hands."""
    name = _LEFT.sub("", _RIGHT.sub("", parts[index - 1].name))
    name = re.sub(r"\b(hand|staff|main)\b", "", name, flags=re.IGNORECASE)
    return " ".join(re.sub(r"[()\[\],:\-]", " ", name).split())


def _pedals(
    events: Events, streams: list[Stream], seats: list[tuple[int, int]], scale: int
) -> Iterator[Pedal]:
    """Times at which the pedal is down; a channel's pedal holds in all tracks that use it."""
    done = set()
    for stream, (part, _) in zip(streams, seats, strict=True):
        if (part, stream.channel) in done:
            continue
        done.add((part, stream.channel))
        same = [s for s in events.streams.values() if s.channel == stream.channel]
        since: int | None = None
        for tick, down in sorted(change for s in same for change in s.pedal):
            if down and since is None:
                since = tick
            elif not down and since is not None:
                yield Pedal(part, since * scale, tick * scale)
                since = None
        if since is not None and since < events.end:
            yield Pedal(part, since * scale, events.end * scale)
