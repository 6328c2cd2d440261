"""Crowded low intervals, wide chords and suspected clefs, on notes written by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from by_hand import BAR, BEAT, bars_of, notes_of

from corpusreg.comparison.playing import practical
from corpusreg.comparison.practice import (
    against,
    crowded,
    misread,
    stretches,
    tessitura,
    thick_bars,
    wide_chords,
)
from corpusreg.instruments import load
from corpusreg.instruments.limits import (
    compass_of_year,
    furthest,
    levels,
    low_interval_limit,
    passaggio,
    resisting,
)
from corpusreg.score.notes import Part
from corpusreg.score.pitch import parse_note
from corpusreg.score.played import MARKS, Notes, Played


def played(notes: Notes, count: int) -> Played:
    return Played(
        BEAT, (Part("p", "Piano"),), bars_of([BAR] * count), notes, True, True, True, ()
    )


def two_hands(rows: list[tuple[float, ...]]) -> Notes:
    """Notes below 40 on the lower staff."""
    notes = notes_of(rows)
    return replace(notes, staff=np.where(notes.pitch < 40, 2, 1).astype(np.int16))


# Two published charts (see corpusreg.instruments.limits); the lower limit of the two.
@pytest.mark.parametrize(
    ("semitones", "lowest"),
    [(1, "E3"), (3, "C3"), (4, "Bb2"), (5, "A2"), (7, "Bb1"), (9, "F2")],
)
def test_low_interval_limits_are_those_of_the_charts(semitones: int, lowest: str) -> None:
    assert low_interval_limit(semitones) == parse_note(lowest)


def test_an_octave_has_no_low_limit() -> None:
    assert low_interval_limit(12) is None


@pytest.mark.parametrize("lower", range(36, 60))
def test_a_third_is_crowded_below_its_limit_only(lower: int) -> None:
    notes = notes_of([(lower, 0, BAR), (lower + 4, 0, BAR), (72, 0, BAR)])
    found = crowded(played(notes, 1))
    assert bool(found) == (lower <= parse_note("Bb2") - 2)  # charts differ by a semitone
    if found:
        assert (found[0].bar, found[0].low, found[0].beats) == (0, lower, 4.0)


def test_a_low_interval_in_passing_is_not_told() -> None:
    notes = notes_of([(36, 0, BAR), (40, 0, BEAT // 2), (60, 0, BAR)])
    assert not crowded(played(notes, 1))


def test_an_interval_with_the_lowest_note_doubled_is_found_by_its_two_pitches() -> None:
    notes = notes_of([(36, 0, BAR), (36, 0, BAR, 1.0, 1), (39, 0, BAR)])
    assert [(each.low, each.high) for each in crowded(played(notes, 1))] == [(36, 39)]


def test_the_widest_chord_of_a_bar_is_told_and_a_ninth_is_not() -> None:
    ninth, tenth, twelfth = (48, 62), (48, 64), (48, 67)
    rows = [(p, at * BEAT, BEAT) for at, chord in enumerate((ninth, tenth)) for p in chord]
    rows += [(p, BAR, BEAT) for p in twelfth]
    wide = wide_chords(two_hands([*rows, (30, 0, 2 * BAR)]), 0)
    assert [(each.bar, each.high - each.low, each.tenth) for each in wide] == [
        (0, 16, True),
        (1, 19, False),
    ]


def test_notes_struck_one_after_the_other_are_no_chord() -> None:
    assert not wide_chords(two_hands([(30, 0, BAR), (48, 0, BEAT), (67, BEAT, BEAT)]), 0)


def test_a_part_on_one_staff_has_no_hands_to_stretch() -> None:
    assert not wide_chords(notes_of([(48, 0, BEAT), (72, 0, BEAT)]), 0)


def test_a_bass_clarinet_read_in_the_wrong_octave_is_asked_about() -> None:
    # Written for bass clef at pitch, entered as if it sounded a ninth lower.
    rows = [(26 + step % 10, step * BEAT, BEAT) for step in range(66)]
    found = misread(notes_of(rows), 0, load()["bass-clarinet"])
    assert found is not None and found.interval in (12, 14) and found.notes == 66


def test_a_cello_an_octave_high_is_asked_about_and_a_high_solo_is_not() -> None:
    cello = load()["cello"]
    high = [(74 + step % 5, step * BEAT, BEAT) for step in range(20)]
    low = [(60 + step % 5, step * BEAT, BEAT) for step in range(60)]
    wrong = misread(notes_of(high), 0, cello)
    assert wrong is not None and wrong.interval == -12 and wrong.beyond == 20
    solo = low + [(pitch, 60 * BEAT + at, length) for pitch, at, length in high[:5]]
    assert misread(notes_of(solo), 0, cello) is None


def test_a_violin_may_climb_to_d7_and_one_an_octave_high_is_asked_about() -> None:
    violin = load()["violin"]
    solo = [(pitch, n * BEAT, BEAT) for n, pitch in enumerate([*[79, 83, 88] * 10, *[98] * 10])]
    assert misread(notes_of(solo), 0, violin) is None
    high = [(96 + n % 5, n * BEAT, BEAT) for n in range(20)]
    wrong = misread(notes_of(high), 0, violin)
    assert wrong is not None and wrong.interval == -12


def test_published_levels_lie_inside_what_players_reach() -> None:
    for row in load().values():
        far = furthest(row.id)
        low, high = row.professional
        if far is not None:
            assert far.low is not None and far.low <= low and far.high >= high
            low, high = far.low, far.high
        for each in levels(row.id):
            assert (each.low or low) >= low - 4 and each.high <= high and each.source


# Museum instruments and their sources: the table in corpusreg/data.
@pytest.mark.parametrize(("year", "keys"), [(1791, 61), (1794, 68), (1849, 85), (1890, 88)])
def test_keyboards_grow(year: int, keys: int) -> None:
    compass = compass_of_year(year)
    assert compass is not None and compass.high - compass.low + 1 == keys


def test_before_the_first_dated_keyboard_nothing_is_said() -> None:
    assert compass_of_year(1700) is None


def test_zones_of_change_rise_with_the_voice() -> None:
    zones = [passaggio(voice) for voice in ("bass", "bass-baritone", "baritone", "tenor")]
    assert zones == sorted(zone for zone in zones if zone)
    assert passaggio("violin") is None


def test_a_broken_third_low_down_is_thick_and_a_fifth_is_not() -> None:
    def bars(*pitches: int) -> int:
        return thick_bars(notes_of([(p, n * BEAT, BEAT) for n, p in enumerate(pitches)]))

    assert bars(36, 43, 40, 43) == 1  # C2 G2 E2 G2: the third
    assert bars(36, 48, 43, 55) == 0  # C2 C3 G2 G3: a fifth, at its limit
    assert bars(60, 64, 67, 64) == 0
    assert bars(36, 36, 36, 36) == 0


def test_the_peak_of_a_solo_voice_is_where_its_highest_note_is_longest() -> None:
    notes = notes_of(
        [(60, 0, BAR), (77, BAR, BEAT), (70, BAR + BEAT, BEAT), (77, 2 * BAR, BAR)]
    )
    loud = MARKS["f"] / 127
    strikes = [(40, 0, 3 * BAR, loud, 1), (77, BAR, BEAT, loud, 1)]
    sung, piano = played(notes, 3), played(notes_of(strikes), 3)
    voice = SimpleNamespace(misread=None, use=SimpleNamespace(instrument=load()["soprano"]))
    hands = SimpleNamespace(misread=None, use=SimpleNamespace(instrument=load()["piano"]))
    found: Any = SimpleNamespace(
        parts={
            "Soprano": SimpleNamespace(played=sung),
            "Piano": SimpleNamespace(played=piano.only(piano.notes.part == 1)),
        },
        players=SimpleNamespace(
            parts=(
                SimpleNamespace(name="Soprano", **vars(voice)),
                SimpleNamespace(name="Piano", **vars(hands)),
            )
        ),
        whole=SimpleNamespace(played=piano),
        bars=sung.bars,
    )
    (peak,) = practical(found)
    assert (peak.kind, peak.part, peak.peak, peak.bar.number) == (
        "vocal_peak",
        "Soprano",
        77,
        "3",
    )
    assert (peak.count, peak.of, [bar.number for bar in peak.bars]) == (4.0, 2, ["2", "3"])
    assert (peak.low, peak.high) == passaggio("soprano")
    assert (peak.dynamic, peak.doubled) == ("f", 25)  # C2 lasts, and one note of four is struck


def test_where_a_voice_lies_as_a_whole_and_over_time() -> None:
    climbing = notes_of(
        [(60 + bar // 2, bar * BAR, BAR) for bar in range(18)] + [(84, 18 * BAR, BEAT)]
    )
    low, middle, high = tessitura(climbing)
    assert (low, middle, high) == (60, 64, 68)  # a short high note moves no tessitura
    runs = stretches(climbing)
    assert runs == [(0, 7), (7, 13), (13, 19)]
    lies = [tessitura(climbing.take((climbing.bar >= a) & (climbing.bar < b))) for a, b in runs]
    assert [each[1] for each in lies] == sorted(each[1] for each in lies)
    assert stretches(climbing.take(climbing.bar < 9)) == []


# C4-F#4 is dull on the flute (Rimsky-Korsakov), Bb3-D4 thick on the oboe.
@pytest.mark.parametrize(
    ("instrument", "pitch", "mark", "told"),
    [
        ("flute", 62, "f", True),
        ("flute", 62, "mf", False),  # nobody asks for much
        ("flute", 74, "f", False),  # high enough to be heard
        ("oboe", 60, "pp", True),
        ("oboe", 60, "p", False),
        ("violin", 55, "pp", False),
    ],
)
def test_a_register_against_its_dynamic(
    instrument: str, pitch: int, mark: str, told: bool
) -> None:
    rows = [(77, 0, BAR, 0.5), (pitch, BAR, BAR, MARKS[mark] / 127), (77, 2 * BAR, BAR, 0.5)]
    marked = replace(played(notes_of(rows), 3), marked=True)
    found = [each for r in resisting(instrument) if (each := against(marked, r))]
    assert [(each.runs, each.mark, each.beats) for each in found] == (
        [(((1, 2),), mark, 4.0)] if told else []
    )
    # Loudness of keys that were struck is not what a composer wrote.
    assert not any(against(replace(marked, marked=False), r) for r in resisting(instrument))
