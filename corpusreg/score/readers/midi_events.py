"""Every event of a MIDI file in absolute ticks, notes paired with their ends."""

from __future__ import annotations

import io
import re
import struct
from collections import deque
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from corpusreg.system.errors import ReadError

__all__ = ["Events", "Stream", "collect", "load", "quarter_of"]

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
