"""The MusicXML reader on the conformance files and scores inside music21's package."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path
from typing import Any

import pytest
from agreed import held
from benchmarks.readers_musicxml import bundled_files, music21_notes, our_notes

from corpusreg.score.notes import Score
from corpusreg.score.readers.musicxml import read_musicxml
from corpusreg.system.errors import ReadError

FILES = bundled_files()
SUITE = {p.name.split("-")[0]: p for p in FILES if p.parent.name == "lilypondTestSuite"}


def suite(number: str) -> Score:
    return read_musicxml(SUITE[number])


def onsets(score: Score, bar: int) -> list[float]:
    start = score.bars.start[bar]
    return [(n["onset"] - start) / score.ticks for n in score.notes if n["bar"] == bar]


def pitches(score: Score, part: int = 0) -> list[int]:
    return [int(n["pitch"]) for n in score.notes if n["part"] == part]


def source(path: Path) -> str:
    """The file's XML text."""
    if path.suffix != ".mxl":
        data = path.read_bytes()
    else:
        with zipfile.ZipFile(path) as archive:
            names = [n for n in archive.namelist() if not n.startswith("META-INF")]
            data = archive.read(next(n for n in names if n.endswith((".xml", ".musicxml"))))
    return data.decode(
        "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8", "replace"
    )


def test_the_suite_is_there() -> None:
    assert len(SUITE) > 130
    assert len(FILES) > 800


@pytest.mark.parametrize("number", sorted(SUITE))
def test_every_pitch_in_a_conformance_file_is_a_row_or_counted(number: str) -> None:
    """Each file reads, or holds no pitched note and says so in one line."""
    written = len(re.findall(r"<pitch\b", source(SUITE[number])))
    try:
        score = read_musicxml(SUITE[number])
    except ReadError as error:
        assert written == 0
        assert str(error).startswith(SUITE[number].name)
        assert "\n" not in str(error)
        return
    unpitched = len(re.findall(r"<unpitched\b", source(SUITE[number])))
    lost = {k: v for k, v in score.lost.items() if k.startswith("a note")}
    placed = len(score.notes) + sum(score.left_out.values()) + sum(lost.values())
    assert placed == written + unpitched


# What the files themselves say that they hold (their 'description' fields).


def test_01a_pitches_from_g2_to_c7_in_steps_then_sharp_then_flat() -> None:
    found = pitches(suite("01a"))
    steps = found[:32]
    assert (steps[0], steps[-1]) == (43, 96)
    assert [p + 1 for p in steps] == found[32:64]
    assert [p - 1 for p in steps] == found[64:96]


def test_01d_microtones_are_rounded_and_counted() -> None:
    score = suite("01d")
    assert score.lost == {"a microtone rounded to the semitone": len(score.notes)}


def test_03b_second_voice_starts_on_the_second_beat() -> None:
    score = suite("03b")
    second = score.notes[score.notes["voice"] == 1]
    assert (second["onset"] // score.ticks).tolist() == [1, 2]


def test_03c_divisions_change_to_8_and_to_38_inside_bars() -> None:
    score = suite("03c")
    assert score.ticks == 152
    assert (score.bars.length / score.ticks).tolist() == [4, 4]


@pytest.mark.parametrize(
    ("number", "full"),
    [
        ("11c", [2.5, 9]),  # (3+2)/8, (5+3+1)/4
        ("11d", [5.5, 10.5]),  # 3/8+2/8+3/4, 5/2+1/8
        ("11e", [5.5]),  # (3+2)/8+3/4
        ("11h", [1.5]),  # senza misura: as long as its notes
    ],
)
def test_11_compound_metres(number: str, full: list[float]) -> None:
    score = suite(number)
    assert (score.bars.full / score.ticks).tolist() == full
    assert (score.bars.length / score.ticks).tolist() == full


def test_21e_chord_after_a_pickup() -> None:
    score = suite("21e")
    assert onsets(score, 0) == [0]
    assert onsets(score, 1) == [0, 0, 0, 1, 1]


def test_21f_directions_between_chord_notes() -> None:
    score = suite("21f")
    assert onsets(score, 0)[:3] == [0, 0, 0]


def test_23_triplets_without_bracket_fill_their_bars() -> None:
    score = suite("23f")
    assert (score.bars.length == score.bars.full).all()


def test_24c_grace_notes_at_the_end_of_the_bar() -> None:
    score = suite("24c")
    assert [int(n["onset"]) / score.ticks for n in score.notes if n["grace"]] == [4, 4]


def test_31a_directions() -> None:
    score = suite("31a")
    marks = [d.mark for d in score.dynamics if d.kind == "mark"]
    assert marks[:12] == [c * n for c in "pf" for n in range(1, 7)]
    assert {"segno", "coda"} <= set().union(*score.bars.marks)
    assert len(score.pedals) == 2


def test_31c_metronome_marks() -> None:
    assert [t.quarters_per_minute for t in suite("31c").tempos] == [150, 1600, 115.5]


def test_33b_tie() -> None:
    notes = suite("33b").notes
    assert notes["tie_out"].tolist() == [True, False]
    assert notes["tie_in"].tolist() == [False, True]


def test_41a_part_order() -> None:
    assert [p.name for p in suite("41a").parts] == [f"Part {i}" for i in (1, 2, 3, 4)]


def test_43a_piano_is_one_part_of_two_staves() -> None:
    score = suite("43a")
    assert [p.staves for p in score.parts] == [2]
    assert score.notes["staff"].tolist() == [1, 2]


def test_45b_repeat_with_alternatives() -> None:
    bars = suite("45b").bars
    assert bars.endings == ((), (1,), (2,), ())
    assert bars.repeat_end.tolist() == [0, 2, 0, 0]


def test_46d_pickup_split_and_incomplete_bars() -> None:
    score = suite("46d")
    assert (score.bars.length / score.ticks).tolist() == [1.5, 2, 2, 3]


def test_46e_second_voice_starts_later() -> None:
    score = suite("46e")
    late = score.notes[score.notes["voice"] == 1]
    assert (late["onset"] - score.bars.start[1]).tolist() == [score.ticks]


def test_46f_incomplete_bars() -> None:
    score = suite("46f")
    assert (score.bars.length / score.ticks).tolist() == [2, 4, 2, 4]


def test_72a_each_plays_the_c_major_scale() -> None:
    score = suite("72a")
    scale = [60, 62, 64, 65, 67, 69, 71, 72]
    assert [pitches(score, part) for part in range(3)] == [scale] * 3


def test_72b_each_part_plays_the_same_c() -> None:
    assert set(suite("72b").notes["pitch"].tolist()) == {72}


def test_72c_transposition_changes() -> None:
    assert pitches(suite("72c")) == [63, 58, 58]


def test_73a_only_timpani_are_pitched() -> None:
    score = suite("73a")
    assert set(score.notes["part"].tolist()) == {0}
    assert score.left_out["unpitched"] == 6


def test_90a_compressed() -> None:
    assert len(suite("90a").notes) == 4


# Against music21, note for note


def fixed_sample(size: int) -> list[Path]:
    """An even sample of the bundled scores of ordinary size, conformance files aside."""
    scores = [p for p in FILES if "corpus" in p.parts and 2_000 < p.stat().st_size < 25_000]
    return scores[:: len(scores) // size][:size]


@pytest.mark.parametrize("path", fixed_sample(25), ids=lambda p: p.stem)
@pytest.mark.filterwarnings("ignore")
def test_same_notes_as_music21(path: Path) -> None:
    ours: Any = our_notes(path)
    assert ours.total() > 0

    def against_music21() -> None:
        assert ours == music21_notes(path)

    held(f"{path.parent.name}/{path.name}", sorted(ours.items()), against_music21)
