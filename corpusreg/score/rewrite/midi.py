"""MIDI: a changed file written back, and a work as heard written anew.

A MIDI file is changed event by event: note numbers move, notes that are taken out lose
their two events, and everything else stays. Of other formats the work as heard is
written: repeats played, ties joined, loudness as velocity, tempo where one is written.

Source: Standard MIDI Files 1.0 (division up to 32767, time signature in powers of two).
"""

from __future__ import annotations

import io
from collections import deque
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from corpusreg.score.notes import Score, felt_beat
from corpusreg.score.played import Notes, Played
from corpusreg.score.readers.midi import load
from corpusreg.score.rewrite.change import Change

__all__ = ["edited_midi", "played_midi"]

_PERCUSSION = 9
_CHANNELS = tuple(channel for channel in range(16) if channel != _PERCUSSION)
_QUARTER = 0.6  # seconds of a quarter note where no tempo is written
_FINEST = 32_767
_ROUNDED = 10_080  # ticks in a quarter note where the score's are too fine for MIDI
_UNITS = (4, 8, 2, 16, 1, 32, 64)


def edited_midi(path: Path, score: Score, change: Change) -> bytes:
    """The bytes of a MIDI file with the change in it."""
    import mido

    rows = score.notes["source"].tolist()
    octaves = dict(zip(rows, change.octaves.tolist(), strict=True))
    silent = set(score.notes["source"][change.silent].tolist())
    kind, division, tracks = load(path)
    file = mido.MidiFile(type=kind, ticks_per_beat=division)
    begun = 0
    for track in tracks:
        begun = _edit_track(track, octaves, silent, begun)
        file.tracks.append(track)
    return _bytes(file)


def _edit_track(track: Any, octaves: dict[int, int], silent: set[int], begun: int) -> int:
    """Change one track in place; the number of the next note-on."""
    sounding: dict[tuple[int, int], deque[int]] = {}
    kept, waited = [], 0
    for message in track:
        source = None
        if message.type == "note_on" and message.velocity:
            source = begun
            sounding.setdefault((message.channel, message.note), deque()).append(begun)
            begun += 1
        elif message.type in ("note_on", "note_off"):
            queue = sounding.get((message.channel, message.note))
            source = queue.popleft() if queue else None
        if source in silent:
            waited += message.time
            continue
        changed = message.copy(time=message.time + waited)
        if source is not None:
            changed.note += 12 * octaves.get(source, 0)
        kept.append(changed)
        waited = 0
    track[:] = kept
    return begun


def played_midi(played: Played, programs: Sequence[int | None] = ()) -> bytes:
    """A MIDI file of a work as heard: a track a staff, a channel a part.

    programs: General MIDI bytes 0-127 by part, for parts that the score gives none.
    """
    import mido

    division = played.ticks if played.ticks <= _FINEST else _ROUNDED
    scale = division / played.ticks
    file = mido.MidiFile(type=1, ticks_per_beat=division)
    file.tracks.append(_clock(played, scale))
    notes = played.notes
    for part, staff in sorted(set(zip(notes.part.tolist(), notes.staff.tolist(), strict=True))):
        own = notes.take((notes.part == part) & (notes.staff == staff))
        given = programs[part] if part < len(programs) else None
        head = played.parts[part]
        program = head.program if head.program is not None else given
        channel = _CHANNELS[part % len(_CHANNELS)]
        track = _track(own, channel, scale)
        track.insert(0, mido.Message("program_change", channel=channel, program=program or 0))
        track.insert(0, mido.MetaMessage("track_name", name=_latin(head.name)))
        file.tracks.append(track)
    return _bytes(file)


def _track(notes: Notes, channel: int, scale: float) -> Any:
    """Notes in order of time; one that is struck again while it sounds ends there."""
    import mido

    events: list[tuple[int, int, int, int]] = []  # tick, on, pitch, velocity
    sounds: dict[int, int] = {}
    rows = zip(
        np.rint(notes.onset * scale).astype(int).tolist(),
        np.rint((notes.onset + notes.duration) * scale).astype(int).tolist(),
        notes.pitch.tolist(),
        np.clip(np.rint(notes.loudness * 127), 1, 127).astype(int).tolist(),
        strict=True,
    )
    for on, off, pitch, velocity in rows:
        last = sounds.get(pitch)
        if last is not None and events[last][0] > on:
            events[last] = (on, 0, pitch, 0)
        events.append((on, 1, pitch, velocity))
        sounds[pitch] = len(events)
        events.append((max(off, on + 1), 0, pitch, 0))
    track, now = mido.MidiTrack(), 0
    for tick, on, pitch, velocity in sorted(events):
        kind = "note_on" if on else "note_off"
        track.append(
            mido.Message(kind, channel=channel, note=pitch, velocity=velocity, time=tick - now)
        )
        now = tick
    return track


def _clock(played: Played, scale: float) -> Any:
    """Tempo and metre of every bar in which they change."""
    import mido

    track, now = mido.MidiTrack(), 0
    metre, tempo = (4, 4), None
    for bar in range(len(played.bars)):
        tick = round(int(played.bars.start[bar]) * scale)
        length = int(played.bars.length[bar])
        found = _metre(length, int(played.bars.beat[bar]), played.ticks)
        quarters = length / played.ticks
        seconds = _QUARTER
        if played.seconds is not None and quarters:
            seconds = float(played.seconds[bar]) / quarters
        speed = min(max(round(seconds * 1e6), 1), 0xFFFFFF)
        if found and (found != metre or not bar):
            metre = found
            track.append(
                mido.MetaMessage(
                    "time_signature", numerator=found[0], denominator=found[1], time=tick - now
                )
            )
            now = tick
        if speed != tempo:
            tempo = speed
            track.append(mido.MetaMessage("set_tempo", tempo=speed, time=tick - now))
            now = tick
    return track


def _metre(length: int, beat: int, ticks: int) -> tuple[int, int] | None:
    """A metre for a bar of this length, with this felt beat where there is one."""
    fitting = [
        (length * unit // (4 * ticks), unit)
        for unit in _UNITS
        if length and not (length * unit) % (4 * ticks) and not (4 * ticks) % unit
    ]
    fitting = [metre for metre in fitting if metre[0] <= 128]
    felt = [metre for metre in fitting if felt_beat(*metre, ticks) == beat]
    return next(iter(felt + fitting), None)


def _latin(text: str) -> str:
    """Text as MIDI files hold it."""
    return text.encode("latin-1", "replace").decode("latin-1")


def _bytes(file: Any) -> bytes:
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()
