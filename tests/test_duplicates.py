"""The same music in several files: found whatever the format, key, values or length.

Real pairs are scores inside the music21 package; everything else is written here.
"""

from __future__ import annotations

import itertools
import random
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from corpusreg.corpus.catalogue import bundled
from corpusreg.score.duplicates import (
    FEWEST_SHARED,
    SAME_SHARE,
    fingerprint,
    groups,
    shingles,
)
from corpusreg.score.notes import Bars, Part, Score, note_table
from corpusreg.score.readers import read_file

QUARTET = "beethoven/opus18no1/movement1"


@cache
def real(name: str) -> Score:
    (path,) = (file.path for file in bundled() if file.relative == name)
    (score,) = read_file(path).scores
    return score


def share(a: Score, b: Score) -> float:
    """Share of the smaller one's shingles that both have, 0 where they are too few."""
    one, other = shingles(a), shingles(b)
    shared = len(np.intersect1d(one, other))
    return shared / min(len(one), len(other)) if shared >= FEWEST_SHARED else 0.0


def invented(seed: int, onsets: int = 400, parts: int = 3) -> Score:
    """Parts that wander at random, some notes shorter than others: nobody's music."""
    draw = random.Random(seed)
    rows: list[tuple[Any, ...]] = []
    at = 0
    heights = [72 - 10 * part for part in range(parts)]
    for _ in range(onsets):
        step = draw.choice((2, 4, 4, 8))
        for part in range(parts):
            if part == 0 or draw.random() < 0.6:
                heights[part] += draw.choice((-4, -2, -1, 0, 1, 2, 3))
                pitch = heights[part] = min(max(heights[part], 40), 84)
                rows.append((part, 1, 0, 0, at, step, pitch, -1, *(False,) * 4))
        at += step
    bars = Bars.plain(["1"], [at], [at], [4])
    return Score(4, tuple(Part() for _ in range(parts)), bars, note_table(rows))


def with_notes(score: Score, **columns: np.ndarray) -> Score:
    notes = score.notes.copy()
    for name, values in columns.items():
        notes[name] = values
    return replace(score, notes=notes)


# Written otherwise


def transposed(score: Score) -> Score:
    return with_notes(score, pitch=score.notes["pitch"] + 7)


def halved(score: Score) -> Score:
    """Half the values on a page whose unit is a sixth as long."""
    onset, duration = score.notes["onset"] * 3, score.notes["duration"] * 3
    return with_notes(score, onset=onset, duration=duration)


def other_parts(score: Score) -> Score:
    order = np.random.default_rng(1).permutation(len(score.notes))
    return replace(with_notes(score, part=2 - score.notes["part"]), notes=score.notes[order])


def doubled_by_another(score: Score) -> Score:
    notes = score.notes[score.notes["part"] == 1].copy()
    notes["part"] = 3
    return replace(score, notes=np.concatenate((score.notes, notes)))


def later(score: Score) -> Score:
    return with_notes(score, onset=score.notes["onset"] + 96)


def with_grace_notes(score: Score) -> Score:
    grace = score.notes[:20].copy()
    grace["grace"], grace["duration"], grace["pitch"] = True, 0, 99
    return replace(score, notes=np.concatenate((score.notes, grace)))


def other_lengths(score: Score) -> Score:
    """One edition writes rests where another holds the note."""
    return with_notes(score, duration=np.maximum(score.notes["duration"] // 2, 1))


SAME_NOTES = [
    transposed, halved, other_parts, doubled_by_another, later, with_grace_notes, other_lengths,
]  # fmt: skip


@pytest.mark.parametrize("change", SAME_NOTES, ids=lambda change: change.__name__)
def test_both_marks_are_blind_to_the_way_of_writing(change: Any) -> None:
    score = invented(1)
    other = change(score)
    assert fingerprint(score) == fingerprint(other) is not None
    assert shingles(score).tolist() == shingles(other).tolist()
    assert len(shingles(score)) > 50


@pytest.mark.parametrize("semitones", range(-11, 12))
def test_every_key(semitones: int) -> None:
    score = invented(2, 120)
    other = with_notes(score, pitch=score.notes["pitch"] + semitones)
    assert fingerprint(score) == fingerprint(other)
    assert shingles(score).tolist() == shingles(other).tolist()


def test_one_part_moved_by_an_octave_keeps_its_shingles() -> None:
    score = invented(3)
    low = score.notes["part"] == 2
    other = with_notes(score, pitch=score.notes["pitch"] - 12 * low)
    assert fingerprint(score) != fingerprint(other)
    assert share(score, other) == 1


def test_a_few_wrong_notes() -> None:
    """Eight of some seven hundred: each spoils the ten windows it stands in."""
    score = invented(4)
    pitch = score.notes["pitch"].copy()
    pitch[::90] += 1
    other = with_notes(score, pitch=pitch)
    assert fingerprint(score) != fingerprint(other)
    assert SAME_SHARE < share(score, other) < 1


def test_a_passage_of_a_longer_work() -> None:
    score = invented(5, 1200)
    onset = score.notes["onset"]
    passage = (onset >= np.quantile(onset, 0.3)) & (onset < np.quantile(onset, 0.5))
    part = replace(score, notes=score.notes[passage])
    assert share(score, part) > 0.9
    assert len(shingles(part)) < len(shingles(score)) / 3


def test_works_that_have_nothing_in_common() -> None:
    works = [invented(seed) for seed in range(10, 16)]
    assert len({fingerprint(work) for work in works}) == 6
    assert [share(a, b) for a, b in itertools.combinations(works, 2)] == [0.0] * 15


def test_the_melody_alone_is_not_the_whole() -> None:
    score = invented(6)
    melody = replace(score, notes=score.notes[score.notes["part"] == 0])
    assert share(score, melody) < SAME_SHARE


def test_another_rhythm_is_other_music() -> None:
    """The same chords, their lengths drawn anew."""
    score = invented(7)
    onsets, index = np.unique(score.notes["onset"], return_inverse=True)
    steps = np.random.default_rng(5).choice((2, 4, 8), len(onsets))
    other = with_notes(score, onset=np.cumsum(steps)[index])
    assert share(score, other) < SAME_SHARE


def test_one_note_more_is_another_fingerprint() -> None:
    score = invented(8)
    assert fingerprint(replace(score, notes=score.notes[:-1])) != fingerprint(score)
    onset = score.notes["onset"].copy()
    onset[5] += 1
    assert fingerprint(with_notes(score, onset=onset)) != fingerprint(score)


@pytest.mark.parametrize(("notes", "has"), [(15, False), (16, True)])
def test_too_short_for_a_fingerprint(notes: int, has: bool) -> None:
    score = invented(9, parts=1)
    assert (fingerprint(replace(score, notes=score.notes[:notes])) is not None) == has


@pytest.mark.parametrize("notes", [0, 1, 11])
def test_too_short_for_shingles(notes: int) -> None:
    score = invented(9, parts=1)
    assert len(shingles(replace(score, notes=score.notes[:notes]))) == 0


def test_shingles_are_few_distinct_and_in_order() -> None:
    """One in four of some 400 windows."""
    found = shingles(invented(1))
    assert found.dtype == np.uint64
    assert (np.diff(found) > 0).all()
    assert 60 <= len(found) <= 140
    assert not (found % np.uint64(4)).any()


# Real scores


@pytest.mark.parametrize("movement", [1, 2, 3, 4])
def test_one_quartet_in_two_formats(movement: int) -> None:
    name = f"beethoven/opus18no1/movement{movement}"
    assert share(real(f"{name}.mxl"), real(f"{name}.krn")) > 0.8


def test_movements_of_one_quartet_are_not_each_other() -> None:
    works = [real(f"beethoven/opus18no1/movement{n}.mxl") for n in (1, 2, 3, 4)]
    assert max(share(a, b) for a, b in itertools.combinations(works, 2)) < 0.1


def test_a_real_quartet_in_another_key_and_other_values() -> None:
    score = real(f"{QUARTET}.mxl")
    assert fingerprint(halved(transposed(score))) == fingerprint(score)
    assert share(score, halved(transposed(score))) == 1


def test_half_of_a_real_movement_is_found_in_the_other_format() -> None:
    score = real(f"{QUARTET}.krn")
    half = replace(score, notes=score.notes[score.notes["bar"] < len(score.bars) // 2])
    assert share(real(f"{QUARTET}.mxl"), half) > 0.8


@pytest.mark.parametrize(
    "settings",
    [
        # O Welt, ich muss dich lassen; O Haupt voll Blut und Wunden; Freu dich sehr, o
        # meine Seele; Herr Jesu Christ, du hoechstes Gut; Jesu, der du meine Seele.
        ("13.6", "244.10", "244.37", "392", "393", "395", "44.7"),
        ("244.15", "244.44", "244.54", "270", "271"),
        ("194.6", "30.6", "32.6", "39.7", "70.7"),
        ("113.8", "168.6", "334", "48.7"),
        ("352", "353", "354", "78.7"),
    ],
)
def test_settings_of_one_chorale_tune_stay_apart(settings: tuple[str, ...]) -> None:
    works = [real(f"bach/bwv{number}.mxl") for number in settings]
    found = {
        (a, b): share(real(f"bach/bwv{a}.mxl"), real(f"bach/bwv{b}.mxl"))
        for a, b in itertools.combinations(settings, 2)
    }
    assert max(found.values()) < SAME_SHARE, found
    # And each of them is found when it comes in another key.
    assert all(share(work, transposed(work)) == 1 for work in works)


def test_one_setting_in_two_keys_is_one_music() -> None:
    """Nos. 15 and 17 of the St Matthew Passion: one chorale, a semitone apart."""
    one, other = real("bach/bwv244.15.mxl"), real("bach/bwv244.17.mxl")
    assert abs(int(one.notes["pitch"].max()) - int(other.notes["pitch"].max())) == 1
    assert share(one, other) > 0.9


# Groups


def test_groups() -> None:
    pairs = [("d", "e"), ("a", "c"), ("c", "b"), ("e", "d"), ("x", "x")]
    assert groups(pairs) == [["a", "b", "c"], ["d", "e"], ["x"]]
    assert groups([]) == []


@given(st.lists(st.tuples(st.sampled_from("abcdefgh"), st.sampled_from("abcdefgh"))))
def test_groups_do_not_depend_on_the_order_of_pairs(pairs: list[tuple[str, str]]) -> None:
    found = groups(pairs)
    assert groups(pairs[::-1]) == found
    assert groups([(b, a) for a, b in pairs]) == found
    members = [work for group in found for work in group]
    assert sorted(members) == sorted({work for pair in pairs for work in pair})
    home = {work: number for number, group in enumerate(found) for work in group}
    assert all(home[a] == home[b] for a, b in pairs)
