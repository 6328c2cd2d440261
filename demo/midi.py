"""A demo piece as a Standard MIDI File, as a keyboard with a pedal would save it."""

from __future__ import annotations

import io

from mido import Message, MetaMessage, MidiFile, MidiTrack, bpm2tempo
from notation import MARKS, Bar, Part, Piece, parse_voice

__all__ = ["midi"]

_EIGHTH = 240  # ticks
_MAJOR_KEYS = "Cb Gb Db Ab Eb Bb F C G D A E B F# C#"
_PEDAL = 64


class _Loudness:
    """Key velocity at any time; a hairpin runs in a straight line to the mark at its end."""

    def __init__(self, bars: list[Bar], full: int) -> None:
        signs = [
            (index * full + sign.start, sign.text[1:])
            for index, bar in enumerate(bars)
            for sign in bar.signs
        ]
        self.marks = {time: MARKS[name] for time, name in signs if name in MARKS}
        starts = [time for time, name in signs if name in ("<", ">")]
        ends = [time for time, name in signs if name == "="]
        self.hairpins = list(zip(starts, ends, strict=True))
        if missing := [time for time in ends if time not in self.marks]:
            raise ValueError(f"no dynamic mark where the hairpins end: {missing}")

    def at(self, time: int) -> int:
        """Velocity of a key struck at `time`, in eighths from the beginning."""
        base = self.marks[max(t for t in self.marks if t <= time)]
        for start, end in self.hairpins:
            if start <= time < end:
                return round(base + (self.marks[end] - base) * (time - start) / (end - start))
        return base


def midi(piece: Piece) -> bytes:
    """Format 1: tempo and metre in the first track, the whole piano in the second.

    Raises ValueError for a piece that is not in a major key.
    """
    if piece.mode != "major":
        raise ValueError(f"{piece.title}: only major keys are written to MIDI")
    (part,) = piece.parts
    words, beat, rate = piece.tempo
    first = MidiTrack(
        [
            MetaMessage("track_name", name=piece.title),
            MetaMessage("text", text=f"{piece.student}; {words}"),
            MetaMessage("copyright", text="CC0 1.0"),
            MetaMessage("time_signature", numerator=piece.metre[0], denominator=piece.metre[1]),
            MetaMessage("key_signature", key=_MAJOR_KEYS.split()[piece.fifths + 7]),
            MetaMessage("set_tempo", tempo=bpm2tempo(rate * beat / 2)),
        ]
    )
    second = MidiTrack(
        [
            MetaMessage("track_name", name=part.name),
            Message("program_change", program=part.program - 1),
        ]
    )
    now = 0
    for tick, message in _events(part, piece.bar_length):
        second.append(message.copy(time=tick - now))
        now = tick
    buffer = io.BytesIO()
    MidiFile(type=1, ticks_per_beat=2 * _EIGHTH, tracks=[first, second]).save(file=buffer)
    return buffer.getvalue()


def _events(part: Part, full: int) -> list[tuple[int, Message]]:
    """Keys and pedal in order of time; at one time releases, then pedal, then keys."""
    hands = [parse_voice(staff.voices[0], full) for staff in part.staves]
    loudness = _Loudness(hands[0], full)
    events: list[tuple[int, int, Message]] = []
    for bars in hands:
        for index, bar in enumerate(bars):
            for note in bar.notes:
                start = index * full + note.start
                end = start + note.eighths
                for pitch in note.pitches:
                    key, velocity = pitch.midi, loudness.at(start)
                    struck = Message("note_on", note=key, velocity=velocity)
                    released = Message("note_off", note=key, velocity=64)
                    events += [(start * _EIGHTH, 2, struck), (end * _EIGHTH, 0, released)]
    for index in range(len(hands[0])):
        down, up = index * full * _EIGHTH, (index + 1) * full * _EIGHTH
        for tick, value in ((down, 127), (up - 20, 0)):
            pedal = Message("control_change", control=_PEDAL, value=value)
            events.append((tick, 1, pedal))
    events.sort(key=lambda event: (event[0], event[1], event[2].bytes()))
    return [(tick, message) for tick, _, message in events]
