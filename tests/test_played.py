"""Small scores as they sound: order, ties, staccato, dynamics, labels, seconds.

Four ticks are a quarter note and every bar is one of 4/4 (16 ticks), unless said.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from corpusreg.score.notes import Bars, Dynamic, Part, Pedal, Score, Tempo, note_table
from corpusreg.score.played import MARKS, MOST_BEATS, UNMARKED, Played, perform
from corpusreg.system.errors import ReadError

BAR = 16


def note(pitch: int, onset: int, duration: int, **more: Any) -> tuple[Any, ...]:
    """A row of the table; its bar is the one the onset lies in, unless given."""
    row = {"part": 0, "staff": 1, "voice": 0, "bar": onset // BAR, "velocity": -1} | more
    flags = (row.get(name, False) for name in ("grace", "tie_in", "tie_out", "staccato"))
    head = (row[name] for name in ("part", "staff", "voice", "bar"))
    return (*head, onset, duration, pitch, row["velocity"], *flags)


def score(count: int, *rows: tuple[Any, ...], parts: int = 1, **more: Any) -> Score:
    """`count` bars of 4/4; names of the bars' own fields go to them, others to the score."""
    own = {name: more.pop(name) for name in list(more) if name in Bars.__dataclass_fields__}
    labels = [str(bar + 1) for bar in range(count)]
    bars = Bars.plain(labels, [BAR] * count, [BAR] * count, [4] * count, **own)
    return Score(4, tuple(Part() for _ in range(parts)), bars, note_table(list(rows)), **more)


def heard(found: Played) -> list[tuple[int, int, int]]:
    """(onset, duration, pitch) of every note."""
    notes = found.notes
    return list(
        zip(notes.onset.tolist(), notes.duration.tolist(), notes.pitch.tolist(), strict=True)
    )


def repeated(count: int, *bars: int) -> np.ndarray[Any, np.dtype[np.int64]]:
    """repeat_end with plain signs after some bars."""
    return np.array([2 if bar in bars else 0 for bar in range(count)])


# Ties


def test_a_tie_over_the_barline_is_one_note() -> None:
    found = perform(score(2, note(60, 12, 4, tie_out=True), note(60, 16, 8, tie_in=True)))
    assert heard(found) == [(12, 12, 60)]
    assert found.notes.bar.tolist() == [0]


def test_a_chain_of_ties() -> None:
    rows = [
        note(60, 0, 16, tie_out=True),
        note(60, 16, 16, tie_in=True, tie_out=True),
        note(60, 32, 4, tie_in=True),
        note(60, 36, 4),
    ]
    assert heard(perform(score(3, *rows[::-1]))) == [(0, 36, 60), (36, 4, 60)]


@pytest.mark.parametrize("where", [{"voice": 1}, {"staff": 2}, {"voice": 3, "staff": 2}])
def test_a_tie_goes_to_another_voice_or_staff_of_its_part(where: dict[str, int]) -> None:
    rows = [note(60, 0, 4, tie_out=True), note(60, 4, 4, tie_in=True, **where)]
    found = perform(score(1, *rows))
    assert heard(found) == [(0, 8, 60)]
    assert (found.notes.staff.tolist(), found.notes.voice.tolist()) == ([1], [0])


@pytest.mark.parametrize(
    "other",
    [
        note(60, 4, 4, tie_in=True, part=1),
        note(62, 4, 4, tie_in=True),
        note(60, 8, 4, tie_in=True),  # a rest between
        note(60, 4, 4),  # struck anew
    ],
)
def test_a_tie_without_its_partner_ends_there(other: tuple[Any, ...]) -> None:
    found = perform(score(1, note(60, 0, 4, tie_out=True), other, parts=2))
    assert [(o, d) for o, d, _ in heard(found)] == [(0, 4), (other[4], 4)]


def test_two_voices_tie_the_same_pitch_at_once() -> None:
    """Both are joined, once each."""
    rows = [
        note(60, 0, 8, tie_out=True),
        note(60, 4, 4, tie_out=True, voice=1),
        note(60, 8, 4, tie_in=True),
        note(60, 8, 8, tie_in=True, voice=1),
    ]
    found = heard(perform(score(1, *rows)))
    assert [onset for onset, _, _ in found] == [0, 4]
    assert sum(duration for _, duration, _ in found) == 24


def test_a_tie_into_the_repeat_sounds_on_only_when_it_is_played() -> None:
    """The first bar's note is struck the first time, and held over the second time."""
    rows = [note(60, 0, 4, tie_in=True), note(60, 12, 4, tie_out=True), note(62, 16, 16)]
    found = perform(score(2, *rows, repeat_end=repeated(2, 0)))
    assert heard(found) == [(0, 4, 60), (12, 8, 60), (28, 4, 60), (32, 16, 62)]


def test_a_tie_into_both_endings() -> None:
    rows = [
        note(60, 0, 16, tie_out=True),
        note(60, 16, 4, tie_in=True),
        note(60, 32, 8, tie_in=True),
    ]
    found = perform(score(3, *rows, repeat_end=repeated(3, 1), endings=((), (1,), (2,))))
    assert heard(found) == [(0, 20, 60), (32, 24, 60)]
    assert found.bars.written.tolist() == [0, 1, 0, 2]


# Staccato, grace notes, pedal


def test_staccato_halves() -> None:
    rows = [note(60, 0, 4, staccato=True), note(62, 4, 4), note(64, 8, 2, staccato=True)]
    assert heard(perform(score(1, *rows))) == [(0, 2, 60), (4, 4, 62), (8, 1, 64)]


def test_a_staccato_note_of_odd_length_is_halved_exactly() -> None:
    """There are twice as many ticks then, and all else keeps its place."""
    marks = (Dynamic(0, 16, "mark", "p"), Dynamic(0, 16, "cresc", end=32))
    one = score(
        2,
        note(60, 0, 1, staccato=True),
        note(62, 3, 3, staccato=True),
        note(64, 16, 4),
        note(65, 24, 4),
        dynamics=marks,
        pedals=(Pedal(0, 26, 30),),
        tempos=(Tempo(0, 60.0), Tempo(16, 120.0)),
    )
    found = perform(one)
    assert found.ticks == 8
    assert heard(found) == [(0, 1, 60), (6, 3, 62), (32, 8, 64), (48, 12, 65)]
    assert found.bars.start.tolist() == [0, 32]
    assert found.bars.beat.tolist() == [8, 8]
    assert (found.notes.loudness * 127).tolist() == pytest.approx([80, 80, 48, 56])
    assert found.seconds is not None
    assert found.seconds.tolist() == [4.0, 2.0]
    assert one.ticks == 4
    assert one.notes["onset"].tolist() == [0, 3, 16, 24]  # the page is left alone


def test_a_dot_within_a_tie_changes_nothing() -> None:
    rows = [note(60, 0, 4, tie_out=True), note(60, 4, 4, tie_in=True, staccato=True)]
    assert heard(perform(score(1, *rows))) == [(0, 8, 60)]
    rows = [
        note(60, 0, 4, tie_out=True, staccato=True),
        note(60, 4, 4, tie_in=True, staccato=True),
    ]
    assert heard(perform(score(1, *rows))) == [(0, 8, 60)]


def test_grace_notes_do_not_sound() -> None:
    found = perform(score(1, note(72, 0, 0, grace=True), note(60, 0, 4)))
    assert heard(found) == [(0, 4, 60)]


def test_a_note_without_length_does_not_sound() -> None:
    rows = [note(72, 0, 0), note(74, 0, 0, staccato=True), note(60, 0, 4)]
    assert heard(perform(score(1, *rows))) == [(0, 4, 60)]


def test_the_pedal_holds_to_its_lift() -> None:
    found = perform(score(1, note(60, 0, 4), note(64, 8, 4), pedals=(Pedal(0, 1, 10),)))
    assert heard(found) == [(0, 10, 60), (8, 4, 64)]
    assert found.pedal_known


@pytest.mark.parametrize("rows", [(), (note(60, 0, 0, grace=True),)])
def test_nothing_that_sounds_is_an_error(rows: tuple[Any, ...]) -> None:
    with pytest.raises(ReadError, match="no pitched notes"):
        perform(score(1, *rows))


# Order and labels


def test_bars_heard_again_are_labelled_so() -> None:
    ends = np.array([0, 4])
    found = perform(score(2, note(60, 0, 16), note(62, 16, 8), repeat_end=ends))
    assert found.bars.labels == (
        "1", "2", "1 (2nd time)", "2 (2nd time)", "1 (3rd time)", "2 (3rd time)",
        "1 (4th time)", "2 (4th time)",
    )  # fmt: skip
    assert found.bars.time.tolist() == [1, 1, 2, 2, 3, 3, 4, 4]
    assert found.bars.written.tolist() == [0, 1] * 4
    assert found.bars.start.tolist() == list(range(0, 128, 16))
    assert found.notes.bar.tolist() == list(range(8))
    assert found.notes.onset.tolist() == list(range(0, 128, 16))


def test_as_written_keeps_the_page() -> None:
    one = score(2, note(60, 0, 16), note(62, 16, 8), repeat_end=repeated(2, 1))
    found = perform(one, as_written=True)
    assert found.bars.labels == ("1", "2")
    assert found.notes.pitch.tolist() == [60, 62]
    assert "read as written: repeats are not unfolded" in found.assumed
    assert perform(one).notes.pitch.tolist() == [60, 62, 60, 62]


def test_what_the_order_assumes_is_told() -> None:
    one = score(2, note(60, 0, 16), repeat_end=np.array([0, 999]))
    assert any("do not come to an end" in line for line in perform(one).assumed)


def test_short_and_long_bars_keep_their_lengths() -> None:
    """An upbeat of one beat before a repeated bar of three."""
    bars = Bars.plain(["0", "1"], [4, 12], [12, 12], [4, 4], repeat_end=repeated(2, 1))
    one = Score(4, (Part(),), bars, note_table([note(60, 0, 4), note(62, 4, 12, bar=1)]))
    found = perform(one)
    assert found.bars.start.tolist() == [0, 4, 16, 20]
    assert heard(found) == [(0, 4, 60), (4, 12, 62), (16, 4, 60), (20, 12, 62)]


def test_notes_come_in_order_whatever_the_file() -> None:
    rows = [note(64, 4, 4), note(67, 0, 4), note(60, 0, 8), note(60, 0, 4, part=1)]
    found = perform(score(1, *rows, parts=2))
    assert heard(found) == [(0, 8, 60), (0, 4, 60), (0, 4, 67), (4, 4, 64)]
    only = found.only(found.notes.part == 1)
    assert heard(only) == [(0, 4, 60)]
    assert len(only.bars) == len(found.bars)


# Dynamics


def velocities(found: Played) -> list[float]:
    return (found.notes.loudness * 127).tolist()


def test_a_mark_holds_until_the_next() -> None:
    rows = [note(60, tick, 4) for tick in (0, 4, 16, 20)]
    found = perform(
        score(2, *rows, dynamics=(Dynamic(0, 4, "mark", "p"), Dynamic(0, 20, "mark", "ff")))
    )
    assert velocities(found) == pytest.approx([80, 48, 48, 112])
    assert found.dynamics_known


def test_dynamics_come_again_with_their_bars() -> None:
    """p f :| mf … : the repeat begins softly again, and not as loudly as it ended."""
    rows = [note(60, tick, 4) for tick in (0, 8, 16, 32)]
    marks = (Dynamic(0, 0, "mark", "p"), Dynamic(0, 16, "mark", "f"))
    found = perform(score(3, *rows, dynamics=marks, repeat_end=repeated(3, 1)))
    assert velocities(found) == pytest.approx([48, 48, 96, 48, 48, 96, 96])


def test_a_bar_without_marks_takes_what_is_in_force_as_played() -> None:
    """The mark stands in the second bar: the first time the first bar has none."""
    rows = [note(60, 0, 4), note(60, 16, 4)]
    marks = (Dynamic(0, 16, "mark", "pp"),)
    found = perform(score(2, *rows, dynamics=marks, repeat_end=repeated(2, 1)))
    assert velocities(found) == pytest.approx([80, 32, 32, 32])


def test_a_hairpin_rises_again_in_the_repeat() -> None:
    rows = [note(60, tick, 4) for tick in (0, 4, 8, 12)]
    marks = (Dynamic(0, 0, "mark", "p"), Dynamic(0, 0, "cresc", end=16))
    found = perform(score(2, *rows, dynamics=marks, repeat_end=repeated(2, 0)))
    assert velocities(found) == pytest.approx([48, 52, 56, 60] * 2)


def test_hairpins_without_a_mark_between_never_drift() -> None:
    """Nine '>' on nine notes (Schubert, Der Doppelgänger) are accents at one level."""
    rows = [note(60, 16 * bar, 4) for bar in range(9)]
    falling = [Dynamic(0, 16 * bar, "dim", end=16 * bar + 4) for bar in range(9)]
    found = perform(score(9, *rows, dynamics=(Dynamic(0, 0, "mark", "pp"), *falling)))
    assert velocities(found) == pytest.approx([32] + [16] * 8)
    rising = [replace(each, kind="cresc") for each in falling]
    found = perform(score(9, *rows, dynamics=(Dynamic(0, 0, "mark", "pp"), *rising)))
    assert velocities(found) == pytest.approx([32] + [48] * 8)


def test_played_velocities_count_before_marks() -> None:
    rows = [note(60, 0, 4, velocity=127), note(62, 4, 4, velocity=1), note(64, 8, 4)]
    found = perform(score(1, *rows, dynamics=(Dynamic(0, 0, "mark", "ff"),)))
    assert velocities(found) == pytest.approx([127, 1, 112])
    assert velocities(perform(score(1, *rows))) == pytest.approx([127, 1, MARKS["mf"]])


def test_without_dynamics_mezzo_forte_and_a_word_about_it() -> None:
    found = perform(score(1, note(60, 0, 4), assumed=("no metre written",)))
    assert found.notes.loudness.tolist() == [UNMARKED]
    assert not found.dynamics_known
    assert found.assumed[0] == "no metre written"
    assert any("mezzo-forte" in line for line in found.assumed)
    # A hairpin alone does not say how loud anything is.
    lonely = perform(score(1, note(60, 0, 4), dynamics=(Dynamic(0, 0, "cresc", end=8),)))
    assert not lonely.dynamics_known


# Time in seconds


def test_seconds_of_bars_follow_the_tempo() -> None:
    """Four quarters at 60 are 4 s, at 120 they are 2 s; a change may come in the middle."""
    one = score(3, note(60, 0, 4), repeat_end=repeated(3, 0))
    assert perform(one).seconds is None
    timed = replace(one, tempos=(Tempo(40, 120.0), Tempo(0, 60.0)))
    found = perform(timed)
    assert found.tempo_known
    assert found.seconds is not None
    assert found.seconds.tolist() == pytest.approx([4, 4, 4, 3])
    late = replace(one, tempos=(Tempo(16, 120.0), Tempo(32, 60.0)))
    assert perform(late).seconds == pytest.approx([2, 2, 2, 4])


def test_a_bar_longer_than_any_music_is_refused() -> None:
    labels, lengths = ["1", "2"], [BAR, 4 * (MOST_BEATS + 1)]
    bars = Bars.plain(labels, lengths, lengths, [4, 4])
    long = Score(4, (Part(),), bars, note_table([note(60, 0, 4)]))
    with pytest.raises(ReadError, match=r"50,005 beats, 50,001 of them in bar 2; look for"):
        perform(long)
