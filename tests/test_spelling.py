"""How a piece spells its notes."""

from __future__ import annotations

import numpy as np
import pytest

from corpusreg.score.notes import note_table
from corpusreg.score.pitch import note_name, parse_note, signature, spelled, written_note


def spelling_of(tune: str, key: int | None = None) -> tuple[str, ...]:
    """The spelling of a tune of crotchets, four times over."""
    pitches = [parse_note(name) for name in tune.split()] * 4
    rows = [
        (0, 1, 0, at // 4, 4 * at, 4, pitch, -1, False, False, False, False)
        for at, pitch in enumerate(pitches)
    ]
    return spelled(note_table(rows), () if key is None else [(0, key)])


@pytest.mark.parametrize(
    ("tune", "named"),
    [
        ("E4 F#4 G#4 A4 B4 C#5 D#5 E5", {68: "G#4", 73: "C#5", 63: "D#4"}),  # E major
        ("A4 B4 C5 D5 E5 F5 E5 G#4", {68: "G#4"}),  # A minor
        ("C4 Eb4 D4 G4 Ab4 G4 F4 B3", {68: "Ab4", 59: "B3", 63: "Eb4"}),  # C minor
        ("C4 E4 G4 Ab4 G4 F4 D4 C4", {68: "Ab4"}),  # C major, a lowered sixth
        ("C4 E4 G#4 A4 G4 F4 D4 C4", {68: "G#4"}),  # C major, a raised fifth
        ("G4 B4 D5 C#5 D5 A4 F#4 G4", {61: "C#4", 66: "F#4"}),
        ("C#4 D#4 E4 F#4 G#4 A4 B#3 C#4", {60: "B#3", 61: "C#4"}),  # C sharp minor
    ],
)
def test_by_key_and_where_it_leads(tune: str, named: dict[int, str]) -> None:
    spelling = spelling_of(tune)
    assert {pitch: note_name(pitch, spelling) for pitch in named} == named


def test_written_key_decides_between_equals() -> None:
    tune = "F#4 G#4 A#4 B4 C#5 D#5 E#5 F#5"
    assert note_name(70, spelling_of(tune, 6)) == "A#4"
    assert note_name(70, spelling_of(tune, -6)) == "Bb4"
    assert note_name(71, spelling_of(tune, -6)) == "Cb5"
    # A file that says C major of everything decides nothing.
    assert signature(np.array([61, 63, 65, 66, 68, 70, 72]), [(0, 0)]) == -5


def test_a_middle_section_in_another_key_names_what_it_has() -> None:
    """D flat major with a middle part in C sharp minor: its E is no F flat."""
    bars = [
        "Db4 F4 Ab4 Gb4 Db4 Gb4 Ab4 Gb4",
        "C#4 B3 G#4 B3",
        "F#4 B3 E4 D#4",
        "Db4 Gb4 F4 Db4 Ab4 Gb4",
    ]
    rows = [
        (0, 1, 0, bar, 16 * bar + 2 * at, 2, parse_note(name), -1, *4 * (False,))
        for bar, tune in enumerate(bars)
        for at, name in enumerate(tune.split())
    ]
    assert note_name(40, spelled(note_table(rows), [(0, -5), (1, 4), (3, -5)])) == "E2"
    assert note_name(40, spelled(note_table(rows), [(0, -5)])) == "Fb2"


def test_names_lead_back_to_their_notes() -> None:
    for key in range(-7, 8):
        scale = [60 + 7 * place % 12 for place in range(key - 1, key + 6)]
        rows = [(0, 1, 0, 0, at, 1, pitch, -1, *4 * (False,)) for at, pitch in enumerate(scale)]
        spelling = spelled(note_table(rows), [(0, key)])
        assert all(parse_note(note_name(pitch, spelling)) == pitch for pitch in range(128))
        assert all(abs(written_note(pitch, spelling)[1]) <= 2 for pitch in range(12))
