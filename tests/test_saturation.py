"""Saturation, decay, pedal and background: the required order, and what must hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from by_hand import weave
from event_pieces import BAR, BARS, TICKS, Row, line, score, split_by_ties, textures
from hypothesis import given, settings
from hypothesis import strategies as st

from corpusreg.measures.analysis import analyse
from corpusreg.measures.background import background, passages
from corpusreg.measures.saturation import Saturation, decayed
from corpusreg.score.notes import Dynamic, Part, Pedal, Score, Tempo
from corpusreg.score.played import perform

EXAMPLES = settings(max_examples=20, deadline=None)
BASS = 3  # entry of octave 2, C2 to B2


def saturation(work: Score) -> Saturation:
    return analyse(perform(work)).saturation


def low(rows: list[Row], mark: str, name: str = "", bars: int = 8) -> tuple[float, ...]:
    """Peak of octave 2 at the three time constants; a high part keeps the length equal."""
    above = [(0, bar * BAR, BAR, 79) for bar in range(bars)]
    work = score([*above, *rows], [Dynamic(1, 0, "mark", mark)])
    work = replace(work, parts=(Part("Flute"), Part(name)))
    return tuple(saturation(work).peak(0, bars)[:, BASS].tolist())


def run(bars: int = 8) -> list[Row]:
    lasts = TICKS // 4
    return [(1, at, lasts, 40 + at // lasts % 5) for at in range(0, bars * BAR, lasts)]


def short_chords(bars: int = 8) -> list[Row]:
    return [(1, at, 12, p) for at in range(0, bars * BAR, TICKS) for p in (38, 41, 45)]


@pytest.mark.parametrize("name", ["Violoncello", "Piano", "Guitar"])
def test_the_required_order(name: str) -> None:
    order = [
        low(run(), "ff", name),
        low(short_chords(), "ff", name),
        low(short_chords(), "pp", name),
        low([(1, 0, 8 * BAR, 41)], "pp", name),
        low([(1, 0, 8 * BAR, 60)], "ff", name),
    ]
    for at_one_constant in zip(*order, strict=True):
        assert list(at_one_constant) == sorted(at_one_constant, reverse=True)
        assert len(set(at_one_constant)) == 5
        assert at_one_constant[-1] == 0


NOTES = st.tuples(
    st.integers(0, 8 * 8 - 1),
    st.integers(1, 16),
    st.integers(36, 60),
    st.sampled_from((50, 90)),
)


def of_notes(notes: list[tuple[int, int, int, int]], name: str) -> np.ndarray:  # type: ignore[type-arg]
    rows = [(0, at * 12, lasts * 12, pitch) for at, lasts, pitch, _ in notes]
    work = score([*rows, (1, 0, 12 * BAR, 100)])
    work.notes["velocity"][: len(notes)] = [velocity for *_, velocity in notes]
    return saturation(replace(work, parts=(Part(name), Part("Flute")))).levels[:, :, :7]


@EXAMPLES
@given(st.lists(NOTES, min_size=1, max_size=12), st.sampled_from(("Piano", "Guitar", "Viola")))
def test_longer_louder_and_more_never_saturate_less(notes, name) -> None:  # type: ignore[no-untyped-def]
    before = of_notes(notes, name)
    (at, lasts, pitch, velocity), *rest = notes
    longer = of_notes([(at, lasts + 3, pitch, velocity), *rest], name)
    louder = of_notes([(at, lasts, pitch, velocity + 20), *rest], name)
    for more in (longer, louder):
        assert (more >= before - 1e-9).all()
    if rest:
        assert (of_notes(rest, name) <= before + 1e-9).all()


def test_ties_change_nothing_and_silence_is_zero() -> None:
    work = score(textures()[2].rows)
    assert np.allclose(saturation(work).levels, saturation(split_by_ties(work)).levels)
    assert saturation(work).levels[:, :, 8:].max() == 0


def test_seconds_where_a_tempo_is_written_and_bars_elsewhere() -> None:
    work = score(line(0, (60, 62, 64)))
    assert saturation(work).constant == "4 bars"
    quick, slow = (
        saturation(replace(work, tempos=(Tempo(0, tempo),))) for tempo in (240.0, 40.0)
    )
    assert quick.constant == slow.constant == "8 seconds"
    assert quick.levels[0, 20, 5] < slow.levels[0, 20, 5]
    played = perform(replace(work, tempos=(Tempo(2 * BAR, 120.0), Tempo(4 * BAR, 60.0))))
    assert played.seconds is not None
    assert played.seconds[:6].tolist() == [2, 2, 2, 2, 4, 4]


def test_a_claim_holds_at_half_and_double_the_time_constant() -> None:
    found = saturation(score(run(24), [Dynamic(0, 0, "mark", "fff")]))
    assert found.saturated(0, 24) == (2,)
    short = saturation(score(run(2), [Dynamic(0, 0, "mark", "fff")]))
    assert short.peak(0, 2)[1, BASS] > short.peak(0, 2)[2, BASS]
    assert short.saturated(0, 2) == ()


def test_mean_and_peak_of_some_bars_are_over_their_beats() -> None:
    found = saturation(score(run(4)))
    beats = found.levels[:, 4:12]  # bars 2 and 3, four beats each
    assert found.mean(1, 3) == pytest.approx(beats.mean(axis=1))
    assert found.peak(1, 3) == pytest.approx(beats.max(axis=1))
    assert 0 < found.mean(1, 3)[0, BASS] < found.peak(1, 3)[0, BASS]
    assert found.mean(2, 2).max() == found.peak(2, 2).max() == 0


# Decay


def test_struck_and_plucked_sounds_die_away() -> None:
    played = perform(score([(0, 0, 2 * BAR, 60)]))
    for kind, constant in (("struck", 6.0), ("plucked", 3.0)):
        pieces = decayed(played.notes, played.bars, [kind])
        assert pieces.duration.tolist() == [TICKS] * 8
        whole = (pieces.duration * pieces.loudness).sum() / TICKS
        ideal = played.notes.loudness[0] * constant * (1 - np.exp(-8 / constant))
        assert whole == pytest.approx(ideal)
    assert decayed(played.notes, played.bars, ["sustained"]) is played.notes


# Pedal


def ends(rows: list[Row], *pedals: Pedal) -> list[tuple[int, int]]:
    notes = perform(replace(score(rows), pedals=pedals)).notes
    return sorted(
        zip(notes.pitch.tolist(), (notes.onset + notes.duration).tolist(), strict=True)
    )


def test_the_pedal_holds_to_the_lift_or_the_next_attack() -> None:
    rows = [(0, 0, 24, 60), (0, 24, 24, 64), (0, 72, 24, 60), (1, 0, 24, 70), (0, 96, 96, 50)]
    assert ends(rows, Pedal(0, 0, 90)) == [(50, 192), (60, 72), (60, 96), (64, 90), (70, 24)]


def test_a_pedal_changed_on_the_beat_damps_what_was_held() -> None:
    rows = [(0, 0, 48, 60), (0, 48, 24, 64), (0, 96, 96, 50)]
    assert ends(rows, Pedal(0, 0, 48), Pedal(0, 48, 96)) == [(50, 192), (60, 48), (64, 96)]


# Background


def test_held_repeated_and_rocking_tones_are_background() -> None:
    tune = line(0, (75, 77, 79, 80))
    drone = [(1, 0, 6 * BAR, 40)]
    rocking = [
        (1, at, TICKS, 43 + 5 * (at // TICKS % 2)) for at in range(8 * BAR, 13 * BAR, TICKS)
    ]
    short = [(1, 20 * BAR, 3 * BAR, 50)]
    marked = background(analyse(perform(score([*tune, *drone, *rocking, *short]))).texture)
    assert [(b.pitch, b.first, b.last) for b in passages(marked)] == [
        (40, 0, 6), (43, 8, 13), (48, 8, 13),
    ]  # fmt: skip
    assert marked.shape == (BARS, 128)


def test_a_drone_under_a_piece_of_four_bars_is_background() -> None:
    for bars, held in ((4, 1), (3, 0)):
        rows = [(60, bar * 16, 16) for bar in range(bars)]
        rows += [(72 + bar, bar * 16 + 4, 4) for bar in range(bars)]
        assert len(passages(background(weave(rows, bars)))) == held


def test_an_ostinato_of_two_bars_is_background_when_heard_twice() -> None:
    tune = line(0, (75, 77, 79, 80, 82))
    figure = [
        (
            1,
            bar * BAR + beat * TICKS,
            TICKS,
            (40, 43, 45, 47, 38, 45, 50, 52)[bar % 2 * 4 + beat],
        )
        for bar in range(4, 8)
        for beat in range(4)
    ]
    marked = background(analyse(perform(score([*tune, *figure]))).texture)
    assert {b.pitch for b in passages(marked)} == {40, 43, 45, 47, 38, 50, 52}
    assert all(b.first >= 4 and b.last <= 8 for b in passages(marked))
