"""Pitch, tuning, General MIDI, loudness and compass against standards and textbooks."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from corpusreg.instruments import load
from corpusreg.score.notes import Part
from corpusreg.score.pitch import band_of, frequency, note_name, parse_note
from corpusreg.score.played import MARKS
from corpusreg.score.readers import read_file


# ISO 16:1975 (A4 = 440 Hz) and equal temperament, f = 440 x 2^((n - 69) / 12), as in
# the MIDI 1.0 Detailed Specification 4.2 (value from memory).
@pytest.mark.parametrize(
    ("pitch", "hertz"), [(69, 440.0), (21, 27.5), (60, 261.6256), (108, 4186.0090)]
)
def test_tuning(pitch: int, hertz: float) -> None:
    assert frequency(pitch) == pytest.approx(hertz, abs=1e-4)


# Young 1939, JASA 11:134 (value from memory): the octave number changes between B and
# C and belongs to the letter, whatever its accidental.
@pytest.mark.parametrize(
    ("name", "pitch"),
    [
        *[
            ("C4", 60),
            ("Cb4", 59),
            ("B#3", 60),
            ("A4", 69),
            ("B3", 59),
            ("C-1", 0),
            ("G9", 127),
        ],
        *[("Fb4", 64), ("E#4", 65), ("Cbb5", 70), ("F##4", 67)],
    ],
)
def test_pitch_numbering(name: str, pitch: int) -> None:
    assert parse_note(name) == pitch


def test_every_key_has_a_name_in_its_octave() -> None:
    # Young 1939: MIDI = 12 x (octave + 1) + pitch class.
    for pitch in range(128):
        octave = int(note_name(pitch).lstrip("ABCDEFG#b"))
        assert pitch - 12 * (octave + 1) in range(12)
        assert (octave, parse_note(note_name(pitch))) == (band_of(pitch), pitch)


def test_the_piano_has_88_keys_from_a0_to_c8() -> None:
    # Common practice, no source.
    low, high = load()["piano"].professional
    assert (note_name(low), note_name(high), high - low + 1) == ("A0", "C8", 88)
    assert (low, high) == (21, 108)


def test_the_medieval_gamut() -> None:
    # Guidonian gamut: Gamma ut to e la, G2 to E5.
    assert (parse_note("G2"), parse_note("E5")) == (43, 76)


# General MIDI Level 1 prints programs as 1-128; files hold bytes 0-127.
GENERAL_MIDI = {
    "piano": 1, "harpsichord": 7, "celesta": 9, "glockenspiel": 10, "vibraphone": 12,
    "marimba": 13, "xylophone": 14, "tubular-bells": 15, "dulcimer": 16, "violin": 41,
    "viola": 42, "cello": 43, "double-bass": 44, "harp": 47, "timpani": 48, "trumpet": 57,
    "trombone": 58, "tuba": 59, "horn": 61, "soprano-saxophone": 65, "alto-saxophone": 66,
    "tenor-saxophone": 67, "baritone-saxophone": 68, "oboe": 69, "english-horn": 70,
    "bassoon": 71, "clarinet": 72, "piccolo": 73, "flute": 74, "recorder": 75,
    "shakuhachi": 78, "banjo": 106, "shamisen": 107, "koto": 108,
}  # fmt: skip


@pytest.mark.parametrize(("name", "printed"), GENERAL_MIDI.items())
def test_general_midi_program(name: str, printed: int) -> None:
    # No name is given, so the byte alone decides; two staves, because byte 0 on one
    # staff is what software writes when it knows nothing.
    found = load().match(Part(staves=2, program=printed - 1))
    assert found is not None
    assert found.id == name


def test_a_library_that_counts_programs_from_0_agrees() -> None:
    # music21 holds the byte and not the printed number.
    from music21 import instrument

    classes = {"violin": "Violin", "cello": "Violoncello", "horn": "Horn", "flute": "Flute"}
    classes |= {"piccolo": "Piccolo", "bassoon": "Bassoon", "oboe": "Oboe", "harp": "Harp"}
    for name, kind in classes.items():
        assert getattr(instrument, kind)().midiProgram in load()[name].programs, name


def test_channel_10_is_percussion(tmp_path: Path) -> None:
    # General MIDI Level 1: key 60 on channel 10 is a bongo and no middle C.
    from mido import Message, MidiFile, MidiTrack

    for channel, printed in ((8, 9), (9, 10), (10, 11)):
        track = MidiTrack(
            Message(kind, note=60, velocity=64, time=time, channel=channel)
            for kind, time in (("note_on", 0), ("note_off", 480))
        )
        other = MidiTrack(
            Message(kind, note=72, velocity=64, time=time, channel=0)
            for kind, time in (("note_on", 0), ("note_off", 480))
        )
        file = MidiFile(type=1, tracks=[other, track])
        path = tmp_path / f"channel{printed}.mid"
        file.save(path)
        (score,) = read_file(path).scores
        pitches = sorted(score.notes["pitch"].tolist())
        assert pitches == ([72] if printed == 10 else [60, 72]), f"channel {printed}"


# MusicXML 4.0 (W3C Community Group 2021): the attribute `dynamics` is a percentage of
# the default forte velocity, 90.
@pytest.mark.parametrize(("percent", "velocity"), [("100", 90), ("106.67", 96), ("50", 45)])
def test_musicxml_dynamics(tmp_path: Path, percent: str, velocity: int) -> None:
    path = tmp_path / "score.musicxml"
    path.write_text(
        '<score-partwise version="4.0"><part-list><score-part id="P1">'
        '<part-name>Flute</part-name></score-part></part-list><part id="P1">'
        '<measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats>'
        f'<beat-type>4</beat-type></time></attributes><sound dynamics="{percent}"/><note>'
        "<pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note>"
        "</measure></part></score-partwise>",
        encoding="utf-8",
    )
    (score,) = read_file(path).scores
    (mark,) = score.dynamics
    assert mark.velocity == pytest.approx(velocity, abs=0.51)


def test_dynamic_marks_rise() -> None:
    # No standard gives velocities; any mapping must rise (common practice, no source).
    order = ("ppp", "pp", "p", "mp", "mf", "f", "ff", "fff")
    assert all(MARKS[softer] < MARKS[louder] for softer, louder in pairwise(order))
    assert all(1 <= velocity <= 127 for velocity in MARKS.values())
