"""Options toward an intention: what they keep, what they reach, and what is said."""

from __future__ import annotations

import json
import re
from pathlib import Path

import direct
import numpy as np
import pytest
from conftest import Command
from hypothesis import given, settings
from hypothesis import strategies as st

from corpusreg.comparison.examples import Example
from corpusreg.instruments import load
from corpusreg.measures.analysis import is_narrow
from corpusreg.revision.intentions import EXAMPLES, Intention, intention
from corpusreg.revision.limits import MoveLimits
from corpusreg.revision.search import MOST, goals, options
from corpusreg.revision.units import HandGroup, LazyAnalysis, music
from corpusreg.score.notes import Bars, Part, Score, note_table
from corpusreg.score.played import Played
from corpusreg.score.readers import read_scores
from corpusreg.score.rewrite import Change, changed
from corpusreg.system.errors import UsageError
from corpusreg.text.examples import examples_text, toward
from corpusreg.text.options import option_words
from corpusreg.text.revision import revised_document, revised_text

PIECES = Path(__file__).parents[1] / "demo" / "pieces"
STAIRS = PIECES / "stairs.musicxml"
TRIO = PIECES / "three-at-a-table.musicxml"
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
# Spaced as an octave lower still bears it.
OPEN = [[48, 55, 60, 55], [50, 57, 62, 57], [48, 60, 55, 60]]


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
    limits = MoveLimits(source, melody=False)
    before = LazyAnalysis(limits.played)
    aims = goals(intention(text), source, before, "piece")
    return before, aims, options(source, limits, before, aims)


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


@pytest.mark.parametrize(
    ("text", "like", "work", "there", "bar"),
    [
        ("shift as in bundled:a/b.mxl bar 24", "shift", "bundled:a/b.mxl", "24", ""),
        ("as in own: my bar 3/x.abc#2 bar 5 at 9", "", "own: my bar 3/x.abc#2", "5", "9"),
        ("cleared as in w:p bar 8 (2nd time) at bar 3", "cleared", "w:p", "8 (2nd time)", "3"),
    ],
)
def test_a_passage_to_be_like_is_named(
    text: str, like: str, work: str, there: str, bar: str
) -> None:
    wanted = Intention("as in", text, bar, like=like, work=work, there=there)
    assert intention(text) == wanted


def test_what_cannot_be_aimed_at_is_refused_with_what_can() -> None:
    with pytest.raises(UsageError, match="'gap' as in a passage; there are shift, cleared, "):
        intention("gap as in bundled:a/b.mxl bar 24")


def test_moving_more_at_a_bar_shifts_there_and_keeps_the_bass() -> None:
    score = keyboard([TUNE, BASS])
    before, _, options_ = found(score, "move more at 13")
    assert not before.shifts
    assert 2 <= len(options_) <= MOST
    assert len({option.move.key for option in options_}) == len(options_)
    for option in options_:
        assert any(shift.bar == 12 for shift in option.measured.shifts)
        assert lowest_classes(option.measured.played) == lowest_classes(before.played)
        assert option.notes >= 3


def test_a_register_is_cleared_and_the_bass_held_back() -> None:
    score = keyboard([TUNE, BASS])
    _, _, cleared = found(score, "clear before 9")
    assert all(any(e.bar == 8 for e in option.measured.events) for option in cleared)
    before, _, held = found(score, "hold bass until 9")
    assert held
    for option in held:
        (entry,) = (e for e in option.measured.events if e.bar == 8 and e.place == "bass")
        assert entry.kind == "withheld_bass"
        if option.move.change.octaves.any():
            assert lowest_classes(option.measured.played) == lowest_classes(before.played)
    assert {"the left hand rests"} < {option.move.key for option in held}


def test_low_chords_are_respaced_within_the_hand() -> None:
    """By hand: C2 and E2 struck together in every bar; C2 and E3 are within a tenth."""
    rows = keyboard([TUNE, [[36, 0, 36, 0]]]).notes.tolist()
    thirds = [(*row[:6], 40, *row[7:]) for row in rows if row[1] == 2]
    score = keyboard([TUNE])
    score = Score(1, (PIANO,), score.bars, note_table(rows + thirds))
    _, _, spaced = found(score, "respace in 5-8")
    option = next(each for each in spaced if each.move.key == "low chords respaced")
    moved = option.move.change.octaves != 0
    assert set(score.notes["pitch"][moved]) == {40}
    assert set(score.notes["bar"][moved]) == {4, 5, 6, 7}
    assert (option.before, option.gain) == (-4.0, 0.0)
    assert not found(keyboard([TUNE, OPEN]), "respace")[2]


def test_a_drone_is_lifted() -> None:
    drone = [[36, 36, 36, 36]]
    before, _, lifted = found(keyboard([TUNE, drone]), "lift drone at 9")
    assert not any(event.kind == "pedal_point" and event.bar == 8 for event in before.events)
    assert any(
        event.kind == "pedal_point" and event.bar == 8
        for option in lifted
        for event in option.measured.events
    )


def test_lighter_takes_sound_away_and_leaves_the_lowest_notes() -> None:
    rows = keyboard([TUNE, BASS]).notes.tolist()
    doubled = [(*row[:6], row[6] + 12, *row[7:]) for row in rows if row[1] == 2]
    score = keyboard([TUNE, BASS])
    score = Score(1, (PIANO,), score.bars, note_table(rows + doubled))
    before, _, lighter = found(score, "stay low but lighter")
    kinds = {option.move.key for option in lighter}
    assert kinds == {"without octave doublings", "figure thinned"}
    for option in lighter:
        assert not option.move.change.octaves.any()
        assert option.measured.lowest == before.lowest
        now, was = (each.played.notes.duration.sum() for each in (option.measured, before))
        assert 1 - now / was == pytest.approx(option.gain)
        assert option.gain >= 0.05
        notes, gone = score.notes, option.move.change.silent
        for bar in range(BARS):
            here = notes["bar"] == bar
            assert notes["pitch"][here & ~gone].min() == notes["pitch"][here].min()


def test_lighter_lets_an_inner_part_rest() -> None:
    middle = [[60, 60, 60, 60]]
    rows = keyboard([TUNE, middle, BASS]).notes.tolist()
    parts = tuple(Part(name) for name in ("Violin", "Viola", "Cello"))
    notes = note_table([(row[1] - 1, 1, *row[2:]) for row in rows])
    _, _, lighter = found(Score(1, parts, keyboard([TUNE]).bars, notes), "lighter")
    (rest,) = [each for each in lighter if each.move.key == "an inner part rests"]
    gone = rest.move.change.silent
    assert set(notes["part"][gone]) == {1}
    assert 0 < len(set(notes["bar"][gone])) < BARS


def test_a_line_goes_to_a_player_whom_it_suits(in_home: Path, tmp_path: Path) -> None:
    (before,) = read_scores(TRIO)
    flute, clarinet, bassoon = range(3)
    revised = direct.revise(TRIO, "give bassoon in 5-8", to=tmp_path)
    first = revised.revisions[0]
    assert first.kind == "to Clarinet in Bb" and first.file is not None
    (after,) = read_scores(first.file)

    def line(score: Score, part: int, inside: bool) -> list[tuple[int, ...]]:
        notes = score.notes[score.notes["part"] == part]
        there = (notes["bar"] >= 4) & (notes["bar"] < 8)
        return sorted(notes[["onset", "pitch", "duration"]][there == inside].tolist())

    assert line(after, clarinet, True) == line(before, bassoon, True)
    assert line(after, bassoon, True) == line(before, clarinet, True)
    for part in (flute, clarinet, bassoon):
        assert line(after, part, False) == line(before, part, False)
    assert "for 0 beats instead of" in " ".join(first.words)
    assert intention("give the trumpet in C in bars 9-16").part == "trumpet in c"
    for asked, said in (
        ("give bassoon in 5-40", "has no bar '40'"),
        ("give clarinet", "does not lie outside what is comfortable for long"),
        ("give oboe", "has no part 'oboe'"),
        ("give flute in 5-5", "does not lie outside what is comfortable in bars 5-5"),
    ):
        with pytest.raises(UsageError, match=said):
            direct.revise(TRIO, asked)


def test_narrower_draws_in_and_stays_still() -> None:
    wide = keyboard([[[84, 86, 88, 89], [91, 89, 88, 86]], [[36, 43, 40, 43]]])
    before, _, narrower = found(wide, "keep still but narrower")
    for option in narrower:
        assert len(option.measured.shifts) <= len(before.shifts)
        core = option.measured.analysis.core
        assert core[1] - core[0] == -option.gain < -(option.before or 0)


def test_moving_more_moves_more() -> None:
    before, _, moving = found(keyboard([TUNE, BASS]), "move more")
    assert moving
    assert all(option.measured.movement > before.movement for option in moving)


def test_lines_are_moved_as_a_whole_rather_than_broken() -> None:
    """The right hand rests at the end of bar 12, and nowhere else."""
    right = [list(TUNE[n % 3]) for n in range(BARS)]
    right[11][3] = 0
    piece = keyboard([right, BASS * 8])
    source = music(piece, load())
    _, _, there = found(piece, "move more at 9")
    (option,) = [each for each in there if each.move.what == "the right hand an octave lower"]
    assert (option.move.first, option.move.last) == (8, 12)
    assert {source.leaps(each.move.change, 8) for each in there} == {0}
    rows = source.passage(HandGroup((1,), ""), 8, 10)
    broken = Change.of(len(rows), np.where(rows, -1, 0))
    # From F4 up to G5 in bar 11, which is bar 10 from 0.
    assert source.leaps(broken, 8) == 1
    assert source.leaps(broken, 10) == 0


def test_what_is_there_already_is_said() -> None:
    """The right hand rests up to bar 8 and enters in bar 9, from which all is higher."""
    left = [[p + 12 * (n >= 8) for p in OPEN[n % 3]] for n in range(BARS)]
    for text, rests, words in (
        ("clear before 9", (4, 5, 6, 7), ", as now but more strongly."),
        ("move more at 9", (6, 7), "; now the texture rises by about "),
    ):
        right = [[0, 0, 0, 0] if n in rests else TUNE[n % 3] for n in range(BARS)]
        piece = keyboard([right, left])
        source = music(piece, load())
        before, _, there = found(piece, text)
        told = [" ".join(option_words(source, option, before)) for option in there]
        assert any(words in each for each in told)
    piece = keyboard([TUNE * 8, OPEN * 8])
    source = music(piece, load())
    before, _, there = found(piece, "move more at 9")
    assert there and not any(
        "now" in each for o in there for each in option_words(source, o, before)
    )


def test_one_change_is_offered_once_and_of_hands_that_sound() -> None:
    """Where a hand rests, moving it too is no other option."""
    still = [[0, 0, 0, 0]]
    alone = keyboard([TUNE * 8, BASS * 4 + still * 12])
    _, _, found_there = found(alone, "move more at 17")
    assert found_there
    changes = [option.move.change.octaves.tobytes() for option in found_there]
    assert len(set(changes)) == len(changes)
    for option in found_there:
        if option.move.first >= 12:
            assert "the right hand" in option.move.what
            assert "left" not in option.move.what


@settings(max_examples=8, deadline=None)
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
        if change.silent.any():
            assert set(option.measured.played.notes.bar) == set(before.played.notes.bar)
            continue
        now = changed(score, change).notes
        assert ((now["pitch"] - score.notes["pitch"]) % 12 == 0).all()
        assert 21 <= now["pitch"].min() <= now["pitch"].max() <= 108
        for column in set(now.dtype.names) - {"pitch"}:
            assert (now[column] == score.notes[column]).all()
        assert lowest_classes(option.measured.played) == lowest_classes(before.played)


def test_limits_know_range_span_and_meetings() -> None:
    score = keyboard([TUNE, BASS])
    source = music(score, load())
    limits = MoveLimits(source, melody=True)
    right, left = (score.notes["staff"] == staff for staff in (1, 2))

    def by(rows: np.ndarray, octaves: int) -> Change:
        return Change.of(len(rows), np.where(rows, octaves, 0))

    assert limits.inside(by(right, 1))
    assert not limits.inside(by(right, 3))  # beyond C8
    assert not limits.inside(by(left, 2))  # meets the right hand on its keys
    assert limits.performed(by(left, -1)) is None  # C2 G2 E2 G2 would be too thick
    spread = music(keyboard([TUNE, OPEN]), load())
    lower = spread.score.notes["staff"] == 2
    assert MoveLimits(spread, melody=True).performed(by(lower, -1)) is not None
    assert limits.performed(by(right, -3)) is None  # another bass
    assert limits.performed(by(left, 4)) is None
    # A chord of a tenth stays in one hand; with a member moved it would be too wide.
    rows = score.notes.tolist()
    tenth = [(*row[:6], row[6] + 16, *row[7:]) for row in rows if row[1] == 2]
    chords = Score(1, (PIANO,), score.bars, note_table(rows + tenth))
    added = np.arange(len(chords.notes)) >= len(rows)
    upper = MoveLimits(music(chords, load()), melody=False)
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
    revised = direct.revise(STAIRS, text, to=tmp_path)
    assert 1 <= len(revised.revisions) <= 5
    for revision in revised.revisions:
        assert revision.file is not None
        (again,) = direct.compare_paths([revision.file]).comparisons
        for ours, theirs in zip(revision.comparison.measures, again.measures, strict=True):
            assert ours.value == theirs.value
            assert ours.placement == theirs.placement
        assert revision.comparison.stays == again.stays
        before, after = (read_scores(path)[0].notes for path in (STAIRS, revision.file))
        if len(before) == len(after):
            assert revision.notes_moved == (before["pitch"] != after["pitch"]).sum()
            assert ((before["pitch"] - after["pitch"]) % 12 == 0).all()
            for column in ("part", "staff", "voice", "onset", "duration", "staccato"):
                assert (before[column] == after[column]).all()


def model(kind: str, **facts: object) -> Example:
    """A passage with only what the search asks of it."""
    known = {"bars": None, "size": None, "silence": None, "lowest": 40, "highest": 80}
    return Example(
        kind, "w", "", "", None, None, "", "", "", "", 0, 1, 0, "1", "bar 1", None, "", 50.0,
        False, "",
        known | facts,
    )  # fmt: skip


def like(score: Score, passage: Example, at: str = ""):  # type: ignore[no-untyped-def]
    source = music(score, load())
    limits = MoveLimits(source, melody=False)
    before = LazyAnalysis(limits.played)
    wanted = Intention("as in", "as in w bar 1", at, work="w", there="1")
    aims = goals(wanted, source, before, "piece", passage)
    return before, options(source, limits, before, aims)


@pytest.mark.parametrize("direction", ["up", "down"])
@pytest.mark.parametrize("at", ["", "13"])
def test_a_shift_as_in_a_passage_has_its_direction_and_about_its_size(
    direction: str, at: str
) -> None:
    passage = model("shift", size=12.0, direction=direction, moved="mass")
    before, options_ = like(keyboard([TUNE, BASS]), passage, at)
    assert not before.shifts
    assert options_
    for option in options_:
        here = [shift for shift in option.measured.shifts if shift.bar == option.goal.first]
        assert [shift.direction for shift in here] == [direction]
        assert 8 <= here[0].mass <= 18
        assert not at or here[0].bar == 12
    far = model("shift", size=40.0, direction=direction, moved="mass")
    assert not like(keyboard([TUNE, BASS]), far, at)[1]


@pytest.mark.parametrize("waits", [4, 8])
@pytest.mark.parametrize("kind", ["withheld-bass", "withheld-top"])
def test_a_register_is_kept_empty_for_about_as_long_as_in_a_passage(
    waits: int, kind: str
) -> None:
    _, options_ = like(keyboard([TUNE, BASS]), model(kind, silence=float(waits)))
    assert options_ or kind == "withheld-top"  # the tune is kept
    for option in options_:
        here = [
            event
            for event in option.measured.events
            if event.bar == option.goal.first and event.kind == kind.replace("-", "_")
        ]
        assert any(2 / 3 <= event.silence / waits <= 3 / 2 for event in here)


def test_a_stay_as_in_a_passage_is_narrow_and_about_as_long() -> None:
    score = keyboard([TUNE, [[n - 12 for n in line] for line in BASS]])
    before, options_ = like(score, model("dwell", bars=8.0))
    assert not any(is_narrow(stay, False) for stay in before.stays)
    assert options_
    for option in options_:
        stays = [
            stay
            for stay in option.measured.stays
            if abs(stay.first - option.goal.first) <= 1 and is_narrow(stay, False)
        ]
        assert any(6 <= stay.bars <= 12 for stay in stays)
    with pytest.raises(UsageError, match=r"about 90 bars .* \(the piece has 24\)"):
        like(score, model("dwell", bars=90.0))


def test_a_bar_that_is_like_the_passage_already_is_said() -> None:
    higher = [line if bar < 12 else [n + 12 for n in line] for bar, line in enumerate(TUNE * 8)]
    lower = [line if bar < 12 else [n + 12 for n in line] for bar, line in enumerate(BASS * 8)]
    passage = model("shift", size=12.0, direction="up", moved="mass")
    with pytest.raises(UsageError, match="bar 13 is like that passage already"):
        like(keyboard([higher, lower]), passage, "13")


@pytest.mark.parametrize("kind", ["shift", "withheld-bass"])
def test_what_examples_print_can_be_aimed_at(in_home: Path, tmp_path: Path, kind: str) -> None:
    several = direct.examples(kind, count=40)
    shown = examples_text(several)
    # A piece of 32 bars has no room for the longest waits.
    for each in sorted(several.passages, key=lambda e: e.facts["silence"] or 0):
        assert f"revise PIECE --toward '{toward(each)}'" in shown
        try:
            revised = direct.revise(STAIRS, each.name, to=tmp_path)
            break
        except UsageError as said:
            assert "choose another passage" in str(said) or "try another passage" in str(said)
    assert revised.model is not None
    assert (revised.model.work, revised.model.name) == (each.work, each.name)
    assert revised_document(revised)["model"]["toward"] == each.name
    assert "The passage to be like:" in revised_text(revised)
    for revision in revised.revisions:
        assert revision.file is not None
        (again,) = direct.compare_paths([revision.file]).comparisons
        for ours, theirs in zip(revision.comparison.measures, again.measures, strict=True):
            assert (ours.value, ours.placement) == (theirs.value, theirs.placement)


def test_passages_that_are_not_there_are_said_in_one_line(run: Command) -> None:
    for text in (
        "as in bundled:none.mxl bar 3",
        "cleared as in bundled:bach/bwv846.mxl bar 999",
    ):
        answer = run("revise", STAIRS, "--toward", text)
        assert answer.returncode == 2
        assert "no such passage in the reference" in answer.stderr
        assert answer.stderr.count("\n") == 1


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


def test_a_measure_that_reads_the_same_is_not_told_as_changed(in_home: Path) -> None:
    told = revised_text(direct.revise(STAIRS, "hold bass until 9"))
    pairs = re.findall(r": ([\d.]+)\D+?instead\s+of\s+([\d.]+)", told)
    assert pairs and all(after != now for after, now in pairs)


def two_movements() -> str:
    """A viola plays two movements of 16 bars."""
    first = "<attributes><divisions>1</divisions></attributes>"
    metre = "<attributes><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
    end = '<barline location="right"><bar-style>light-heavy</bar-style></barline>'
    bars = ""
    for head, steps in (("I. Allegro", "CDEF"), ("II. Adagio", "GFED")):
        for n in range(1, 17):
            words = f"<direction-type><words>{head}</words></direction-type>"
            top = f'<print new-page="yes"/>{metre}<direction>{words}</direction>'
            note = (
                f"<note><pitch><step>{steps[n % 4]}</step><octave>4</octave></pitch>"
                "<duration>4</duration><type>whole</type></note>"
            )
            bars += (
                f'<measure number="{n}">{first if not bars else ""}{top if n == 1 else ""}'
                f"{note}{end if n == 16 else ''}</measure>"
            )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Viola'
        f'</part-name></score-part></part-list><part id="P1">{bars}</part></score-partwise>'
    )


def test_one_movement_of_a_file_is_revised_and_the_others_stay(
    run: Command, in_home: Path, tmp_path: Path
) -> None:
    piece = tmp_path / "two.musicxml"
    piece.write_text(two_movements(), encoding="utf-8")
    for arguments, said in (
        ((), "holds several works; choose with --number: 1, 2"),
        (("--number", "3"), "has no work 3; choose with --number: 1, 2"),
    ):
        answer = run("revise", piece, "--toward", "move more at 9", *arguments)
        assert (answer.returncode, answer.stdout) == (2, "")
        assert said in answer.stderr
    answer = run("contrast", STAIRS, "--number", "2")
    assert "has no work 2; leave --number out" in answer.stderr
    (still, moving) = read_scores(piece)
    revised = direct.revise(piece, "move more at 9", to=tmp_path, number="2")
    assert revised.revisions
    for revision in revised.revisions:
        assert revision.file is not None
        first, second = read_scores(revision.file)
        assert (first.notes == still.notes).all()
        assert (second.notes["pitch"] != moving.notes["pitch"]).sum() == revision.notes_moved
        again = direct.compare_paths([revision.file]).comparisons[1]
        for ours, theirs in zip(revision.comparison.measures, again.measures, strict=True):
            assert (ours.value, ours.placement) == (theirs.value, theirs.placement)


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
