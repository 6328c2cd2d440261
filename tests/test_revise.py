"""Options toward an intention: what they keep, what they reach, and what is said."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from conftest import Command
from hypothesis import given, settings
from hypothesis import strategies as st

from corpusreg import workflow
from corpusreg.errors import UsageError
from corpusreg.instruments import load
from corpusreg.notes import Bars, Part, Score, note_table
from corpusreg.played import Played
from corpusreg.readers import read_scores
from corpusreg.revising.heard import Heard
from corpusreg.revising.intentions import EXAMPLES, Intention, intention
from corpusreg.revising.limits import Limits
from corpusreg.revising.search import MOST, goal, options
from corpusreg.revising.units import music
from corpusreg.rewrite import Change, changed

PIECES = Path(__file__).parents[1] / "demo" / "pieces"
STAIRS = PIECES / "stairs.musicxml"
PIANO = Part("Piano", staves=2)
BARS = 24


def keyboard(hands: list[list[list[int]]], bars: int = BARS) -> Score:
    """A piano piece in 4/4, one tick a quarter: four notes a bar, cycled, for each hand."""
    rows = []
    for staff, lines in enumerate(hands, 1):
        for bar in range(bars):
            for beat, pitch in enumerate(lines[bar % len(lines)]):
                if pitch:
                    time = (bar, 4 * bar + beat, 1)
                    rows.append((0, staff, staff - 1, *time, pitch, -1, *(False,) * 4))
    labels = [str(n + 1) for n in range(bars)]
    plain = Bars.plain(labels, [4] * bars, [4] * bars, [1] * bars)
    return Score(1, (PIANO,), plain, note_table(rows))


TUNE = [[72, 74, 76, 77], [79, 77, 76, 74], [76, 74, 72, 71]]
BASS = [[48, 55, 52, 55], [47, 55, 50, 55], [48, 52, 55, 52]]


def lowest_classes(played: Played) -> dict[int, int]:
    """Lowest pitch class of every tick, one by one."""
    lowest: dict[int, int] = {}
    notes = played.notes
    for onset, lasts, pitch in zip(
        notes.onset.tolist(), notes.duration.tolist(), notes.pitch.tolist(), strict=True
    ):
        for tick in range(onset, onset + lasts):
            lowest[tick] = min(lowest.get(tick, 999), pitch)
    return {tick: pitch % 12 for tick, pitch in lowest.items()}


def found(score: Score, text: str):  # type: ignore[no-untyped-def]
    source = music(score, load())
    limits = Limits(source, melody=False)
    before = Heard(limits.played)
    aim = goal(intention(text), source, before, "piece")
    return before, aim, options(source, limits, before, aim)


@pytest.mark.parametrize(
    ("text", "kind", "bar", "bars", "side"),
    [
        ("clear before 24", "clear", "24", "", ""),
        ("Clear a register before bar 24", "clear", "24", "", ""),
        ("clear the low register before 12a", "clear", "12a", "", "low"),
        ("hold the bass back until bar 9", "hold", "9", "", ""),
        ("lift the drone at bar 7", "lift", "7", "", ""),
        ("stay low but lighter", "lighter", "", "", ""),
        ("lighter in bars 9 to 16", "lighter", "", "9-16", ""),
        ("move more", "move", "", "", ""),
        ("move more at 24", "move at", "24", "", ""),
        ("keep still but narrower", "narrower", "", "", ""),
        ("narrower in 9-16", "narrower", "", "9-16", ""),
    ],
)
def test_intentions_are_plain_words(
    text: str, kind: str, bar: str, bars: str, side: str
) -> None:
    assert intention(text) == Intention(kind, text, bar, bars, side)


@pytest.mark.parametrize(
    "text", ["", "better", "clear", "clear before", "move less", "lighter 9"]
)
def test_other_words_are_answered_with_those_that_there_are(text: str) -> None:
    with pytest.raises(
        UsageError, match=r"^--toward '.*': not known; .*clear before 24"
    ) as said:
        intention(text)
    assert "\n" not in str(said.value)
    for example in EXAMPLES:
        assert intention(example).kind


def test_moving_more_at_a_bar_shifts_there_and_keeps_the_bass() -> None:
    score = keyboard([TUNE, BASS])
    before, _, options_ = found(score, "move more at 13")
    assert not before.shifts
    assert 2 <= len(options_) <= MOST
    assert len({option.move.key for option in options_}) == len(options_)
    for option in options_:
        assert any(shift.bar == 12 for shift in option.heard.shifts)
        assert lowest_classes(option.heard.played) == lowest_classes(before.played)
        assert option.notes >= 3


def test_a_register_is_cleared_and_the_bass_held_back() -> None:
    score = keyboard([TUNE, BASS])
    _, _, cleared = found(score, "clear before 9")
    assert all(any(e.first == 8 for e in option.heard.events) for option in cleared)
    before, _, held = found(score, "hold bass until 9")
    assert held
    for option in held:
        (entry,) = (e for e in option.heard.events if e.first == 8 and e.side == "low")
        assert entry.kind in ("entry", "held_back")
        assert lowest_classes(option.heard.played) == lowest_classes(before.played)


def test_a_drone_is_lifted() -> None:
    drone = [[36, 36, 36, 36]]
    before, _, lifted = found(keyboard([TUNE, drone]), "lift drone at 9")
    assert not any(event.kind == "lift" for event in before.events)
    assert any(
        event.kind == "lift" and event.first == 8
        for option in lifted
        for event in option.heard.events
    )


def test_lighter_takes_sound_away_and_leaves_the_lowest_notes() -> None:
    rows = keyboard([TUNE, BASS]).notes.tolist()
    doubled = [(*row[:6], row[6] + 12, *row[7:]) for row in rows if row[1] == 2]
    score = keyboard([TUNE, BASS])
    score = Score(1, (PIANO,), score.bars, note_table(rows + doubled))
    before, _, lighter = found(score, "stay low but lighter")
    kinds = {option.move.key for option in lighter}
    assert {"without octave doublings", "short"} <= kinds
    for option in lighter:
        assert not option.move.change.octaves.any()
        assert option.heard.lowest == before.lowest
        now, was = (each.texture.bars.sum() for each in (option.heard, before))
        assert 1 - now / was == pytest.approx(option.gain)
        assert option.gain >= 0.05


def test_narrower_draws_in_and_stays_still() -> None:
    wide = keyboard([[[84, 86, 88, 89], [91, 89, 88, 86]], [[36, 43, 40, 43]]])
    before, _, narrower = found(wide, "keep still but narrower")
    for option in narrower:
        assert len(option.heard.shifts) <= len(before.shifts)
        core = option.heard.analysis.core
        assert core[1] - core[0] == -option.gain < -(option.before or 0)


def test_moving_more_moves_more() -> None:
    before, _, moving = found(keyboard([TUNE, BASS]), "move more")
    assert moving
    assert all(option.heard.movement > before.movement for option in moving)


@settings(max_examples=12, deadline=None)
@given(data=st.data())
def test_every_octave_option_keeps_bass_range_and_all_else(data: st.DataObject) -> None:
    bar = st.lists(st.integers(60, 84) | st.just(0), min_size=4, max_size=4)
    low = st.lists(st.integers(36, 59), min_size=4, max_size=4)
    tune = data.draw(st.lists(bar, min_size=1, max_size=3).filter(lambda b: any(map(any, b))))
    score = keyboard([tune, data.draw(st.lists(low, min_size=1, max_size=3))], bars=12)
    text = data.draw(st.sampled_from(["move more at 7", "clear before 7", "move more"]))
    before, _, options_ = found(score, text)
    for option in options_:
        change = option.move.change
        now = changed(score, change).notes
        assert ((now["pitch"] - score.notes["pitch"]) % 12 == 0).all()
        assert 21 <= now["pitch"].min() <= now["pitch"].max() <= 108
        for column in set(now.dtype.names) - {"pitch"}:
            assert (now[column] == score.notes[column]).all()
        assert lowest_classes(option.heard.played) == lowest_classes(before.played)


def test_limits_know_range_span_and_meetings() -> None:
    score = keyboard([TUNE, BASS])
    source = music(score, load())
    limits = Limits(source, melody=True)
    right, left = (score.notes["staff"] == staff for staff in (1, 2))

    def by(rows: np.ndarray, octaves: int) -> Change:
        return Change.of(len(rows), np.where(rows, octaves, 0))

    assert limits.inside(by(right, 1))
    assert not limits.inside(by(right, 3))  # beyond C8
    assert not limits.inside(by(left, 2))  # meets the right hand on its keys
    assert limits.heard(by(left, -1)) is not None
    assert limits.heard(by(right, -3)) is None  # another bass
    assert limits.heard(by(left, 4)) is None
    # A chord of a tenth stays in one hand; with a member moved it would be too wide.
    rows = score.notes.tolist()
    tenth = [(*row[:6], row[6] + 16, *row[7:]) for row in rows if row[1] == 2]
    chords = Score(1, (PIANO,), score.bars, note_table(rows + tenth))
    added = np.arange(len(chords.notes)) >= len(rows)
    upper = Limits(music(chords, load()), melody=False)
    assert not upper.inside(by(added, 1))


def test_a_note_tied_to_the_other_staff_moves_as_one() -> None:
    rows = keyboard([TUNE, BASS]).notes.tolist()
    tied = [
        (0, 2, 1, 11, 44, 4, 53, -1, False, False, True, False),
        (0, 1, 0, 12, 48, 4, 53, -1, False, True, False, False),
    ]
    score = Score(1, (PIANO,), keyboard([TUNE, BASS]).bars, note_table([*rows, *tied]))
    _, _, options_ = found(score, "move more at 13")
    assert options_
    for option in options_:
        octaves = option.move.change.octaves
        assert octaves[-1] == octaves[-2]


@pytest.mark.parametrize("text", ["move more at 9", "clear before 9", "lighter", "narrower"])
def test_what_is_predicted_is_what_compare_measures(
    in_home: Path, tmp_path: Path, text: str
) -> None:
    revised = workflow.revise(STAIRS, text, to=tmp_path)
    assert 1 <= len(revised.revisions) <= 5
    for revision in revised.revisions:
        assert revision.file is not None
        (again,) = workflow.compare_paths([revision.file]).comparisons
        for ours, theirs in zip(revision.comparison.measures, again.measures, strict=True):
            assert ours.value == theirs.value
            assert ours.placement == theirs.placement
        assert revision.comparison.stays == again.stays
        before, after = (read_scores(path)[0].notes for path in (STAIRS, revision.file))
        if text != "lighter":
            assert revision.notes_moved == (before["pitch"] != after["pitch"]).sum()
            assert ((before["pitch"] - after["pitch"]) % 12 == 0).all()
            for column in ("part", "staff", "voice", "onset", "duration", "staccato"):
                assert (before[column] == after[column]).all()


def test_options_as_json_and_as_text(run: Command, tmp_path: Path) -> None:
    asked = ["revise", STAIRS, "--toward", "move more at 9"]
    answer = json.loads(run(*asked, "--json").stdout)
    assert answer["piece"] == "Stairs"
    for option in answer["revisions"]:
        assert list(option) == ["kind", "bars", "notes_moved", "predicted", "words"]
        assert {"name", "value", "percentile"} == set(option["predicted"][0])
    shown = run(*asked, "--to", tmp_path / "new" / "folder").stdout
    assert all(len(line) <= 88 or "written:" in line for line in shown.splitlines())
    assert "They are options, not rules." in shown
    assert len(list((tmp_path / "new" / "folder").glob("stairs-option-*.musicxml"))) == len(
        answer["revisions"]
    )


def test_what_cannot_be_revised_is_said_in_one_line(run: Command, tmp_path: Path) -> None:
    narrow = tmp_path / "one.musicxml"
    narrow.write_text(line_at_its_limits(), encoding="utf-8")
    for arguments, words in [
        ((STAIRS, "--toward", "better"), "not known; write it as one of these"),
        ((STAIRS, "--toward", "clear before 99"), "no bar '99'"),
        ((STAIRS, "--toward", "clear before 1"), "nothing comes before bar 1"),
        ((narrow, "--toward", "move more"), "no small change within ranges"),
        ((tmp_path / "none.mid", "--toward", "lighter"), "no such file"),
        (
            (next(PIECES.glob("*.krn")), "--toward", "move more", "--to", tmp_path),
            "kern cannot be written back as MusicXML",
        ),
    ]:
        answer = run("revise", *arguments)
        assert answer.returncode in (1, 2)
        assert words in answer.stderr
        assert answer.stderr.count("\n") == 1
        assert not answer.stdout


def line_at_its_limits() -> str:
    """A voice of unknown name that never leaves a fifth: its own compass is its limit."""
    notes = "".join(
        f"<note><pitch><step>{step}</step><octave>4</octave></pitch><duration>1</duration>"
        "<voice>1</voice><type>quarter</type></note>"
        for step in "CDEF"
    )
    first = (
        "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type>"
        "</time></attributes>"
    )
    bars = "".join(
        f'<measure number="{n}">{first if n == 1 else ""}{notes}</measure>'
        for n in range(1, 19)
    )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Thing'
        f'</part-name></score-part></part-list><part id="P1">{bars}</part></score-partwise>'
    )
