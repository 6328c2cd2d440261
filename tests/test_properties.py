"""What must hold for all music: property tests of the measures on generated scores.

Common practice as properties, no single source; where a library computes the same thing
(Wasserstein distance, least-squares segmentation) the two are held against each other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from validity.changes import twice
from validity.notation import (
    REWRITTEN,
    differences,
    double_values,
    halve_values,
    write_repeats_out,
)

from corpusreg.measures.analysis import Analysis, analyse
from corpusreg.measures.stays import PENALTY, expected_dwell, segment
from corpusreg.measures.texture import distances, quantiles, texture
from corpusreg.score.notes import Bars, Dynamic, Part, Score, felt_beat, note_table
from corpusreg.score.played import Notes, Played, PlayedBars, perform

TICKS = 24  # a quarter note
BAR = 4 * TICKS
EXAMPLES = settings(max_examples=20, deadline=None)


# Generated scores


@st.composite
def scores(draw: st.DrawFn, low: int = 40, high: int = 84) -> Score:
    """Four to fourteen bars of 4/4 for one to three parts, with dynamics and repeats."""
    count = draw(st.integers(4, 14))
    players = draw(st.integers(1, 3))
    rows = []
    for part in range(players):
        for bar in range(count):
            at = bar * BAR
            while at < (bar + 1) * BAR:
                duration = draw(st.sampled_from((12, 24, 48, 96)))
                duration = min(duration, (bar + 1) * BAR - at)
                if draw(st.integers(0, 4)):
                    dotted = draw(st.booleans())
                    rows.append(
                        row(part, bar, at, duration, draw(st.integers(low, high)), dotted)
                    )
                at += duration
    assume(rows)
    ends = np.zeros(count, np.int64)
    if draw(st.booleans()):
        ends[draw(st.integers(0, count - 1))] = 2
    mark = st.tuples(st.integers(0, count * BAR - 1), st.sampled_from(("pp", "mp", "f")))
    marks = draw(st.lists(mark, max_size=3))
    dynamics = tuple(Dynamic(0, tick, "mark", mark) for tick, mark in marks)
    return score_of(rows, count, players, repeat_end=ends, dynamics=dynamics)


def row(part: int, bar: int, onset: int, duration: int, pitch: int, dotted: bool = False):  # type: ignore[no-untyped-def]
    return (part, 1, 0, bar, onset, duration, pitch, -1, False, False, False, dotted)


def score_of(
    rows: list[tuple[int, ...]],
    count: int,
    players: int = 1,
    dynamics: tuple[Dynamic, ...] = (),
    **marks: NDArray[np.int64],
) -> Score:
    labels = [str(bar + 1) for bar in range(count)]
    bars = Bars.plain(labels, [BAR] * count, [BAR] * count, [TICKS] * count, **marks)
    parts = tuple(Part(f"Part {index}") for index in range(players))
    return Score(TICKS, parts, bars, note_table(rows), dynamics=dynamics)


def melody(bars: list[list[int]]) -> Played:
    """One line: each bar is a list of pitches of equal length."""
    rows = [
        row(0, bar, bar * BAR + index * BAR // len(own), BAR // len(own), pitch)
        for bar, own in enumerate(bars)
        for index, pitch in enumerate(own)
    ]
    return perform(score_of(rows, len(bars)))


def chords(bars: list[tuple[int, ...]]) -> Played:
    """One held chord a bar."""
    rows = [row(0, b, b * BAR, BAR, pitch) for b, own in enumerate(bars) for pitch in own]
    return perform(score_of(rows, len(bars)))


def moved(score: Score, semitones: int) -> Score:
    notes = score.notes.copy()
    notes["pitch"] += semitones
    return replace(score, notes=notes)


def same(a: float | None, b: float | None) -> bool:
    """Equal but for the last digits, or both without a value."""
    return a == b or (a is not None and b is not None and bool(np.isclose(a, b, atol=1e-9)))


# Height


@EXAMPLES
@given(scores(), st.integers(-30, 30))
def test_transposing_changes_nothing_but_the_height(score: Score, semitones: int) -> None:
    a, b = analyse(perform(score)), analyse(perform(moved(score, semitones)))
    assert (b.lowest, b.highest) == (a.lowest + semitones, a.highest + semitones)
    assert b.core == (a.core[0] + semitones, a.core[1] + semitones)
    for name, value in a.values.items():
        if name not in ("octaves_in_use", "cleared_entries"):  # cut at fixed octaves
            assert same(b.values[name].value, value.value), name
    assert [(s.first, s.last, s.low + semitones, s.high + semitones) for s in a.stays] == [
        (s.first, s.last, s.low, s.high) for s in b.stays
    ]
    assert [(s.bar, s.by, s.direction) for s in a.shifts] == [
        (s.bar, s.by, s.direction) for s in b.shifts
    ]


@EXAMPLES
@given(scores(), st.integers(-2, 2))
def test_octaves_leave_the_number_of_octaves_in_use(score: Score, octaves: int) -> None:
    a, b = analyse(perform(score)), analyse(perform(moved(score, 12 * octaves)))
    assert b.values["octaves_in_use"].value == pytest.approx(a.values["octaves_in_use"].value)
    assert np.allclose(np.roll(a.band_shares, octaves), b.band_shares)


@EXAMPLES
@given(scores(), st.integers(-1, 1))
def test_a_part_moved_by_octaves_keeps_its_own_stays(score: Score, octaves: int) -> None:
    own = perform(score).notes.part == 0
    assume(own.any())
    notes = score.notes.copy()
    notes["pitch"][notes["part"] == 0] += 12 * octaves
    other = perform(replace(score, notes=notes))
    a = analyse(perform(score).only(own))
    b = analyse(other.only(other.notes.part == 0))
    assert [(s.first, s.last) for s in a.stays] == [(s.first, s.last) for s in b.stays]
    assert b.lowest == a.lowest + 12 * octaves


@pytest.mark.parametrize("semitones", [-24, -7, 0, 12, 31])
@pytest.mark.parametrize("chord", [(60,), (60, 64, 67), (48, 72)])
def test_a_constant_register_is_minimally_varied_at_any_height(
    chord: tuple[int, ...], semitones: int
) -> None:
    found = analyse(chords([tuple(p + semitones for p in chord)] * 20))
    for name in ("movement_beat", "movement_bar", "movement_phrase", "travel", "shift_rate"):
        assert found.values[name].value == pytest.approx(0, abs=1e-9)
    assert [(s.first, s.last) for s in found.stays] == [(0, 20)]
    assert found.values["expected_dwell"].value == 20


# Notation


@EXAMPLES
@given(scores())
@pytest.mark.parametrize("rewrite", list(REWRITTEN.values()), ids=list(REWRITTEN))
def test_notation_changes_nothing(rewrite: Callable[[Score], Score], score: Score) -> None:
    assert differences(analyse(perform(score)), analyse(perform(rewrite(score)))) == []


@EXAMPLES
@given(scores(), st.integers(1, 3))
def test_notation_changes_compose(score: Score, times: int) -> None:
    other = write_repeats_out(score)
    for _ in range(times):
        other = double_values(halve_values(double_values(other)))
    assert differences(analyse(perform(score)), analyse(perform(other))) == []


@given(st.integers(1, 24), st.sampled_from((1, 2, 4, 8, 16)))
def test_the_felt_beat_doubles_with_the_values(count: int, unit: int) -> None:
    assert felt_beat(count, unit, 96) == 2 * felt_beat(count, 2 * unit, 96)


def test_a_repeat_sign_is_the_music_written_twice() -> None:
    """By hand, with no rewriting function between: bars 1 2 :| 3 are 1 2 1 2 3."""
    pitches = (50, 74, 62)
    signs = score_of(
        [row(0, b, b * BAR, BAR, p) for b, p in enumerate(pitches)],
        3,
        repeat_end=np.array([0, 2, 0]),
    )
    written = [pitches[b] for b in (0, 1, 0, 1, 2)]
    plain = score_of([row(0, b, b * BAR, BAR, p) for b, p in enumerate(written)], 5)
    assert differences(analyse(perform(signs)), analyse(perform(plain))) == []


# Doubling


@EXAMPLES
@given(scores(low=62, high=90), st.integers(1, 3))
def test_a_doubled_piece_keeps_its_shares(score: Score, _: int) -> None:
    played = perform(score)
    a, b = analyse(played), analyse(twice(played))
    assert np.allclose(a.band_shares, b.band_shares)
    assert (a.core, a.lowest, a.highest) == (b.core, b.lowest, b.highest)
    for name in ("span", "core_span", "octaves_in_use", "hollow_share"):
        assert same(b.values[name].value, a.values[name].value), name


@EXAMPLES
@given(st.lists(st.tuples(st.integers(2, 6), st.integers(0, 4)), min_size=2, max_size=6))
def test_a_doubled_piece_keeps_its_cuts_and_its_expected_dwell(
    blocks: list[tuple[int, int]],
) -> None:
    """Where beginning and end are not one stay; else they join, in music as on the page."""
    heights = [40 + 12 * place for _, place in blocks]
    assume(heights[0] != heights[-1])
    bars = [[h, h + 3] for (length, _), h in zip(blocks, heights, strict=True)
            for _ in range(length)]  # fmt: skip
    played = melody(bars)
    once, both = analyse(played), analyse(twice(played))
    cuts = [s.first for s in once.stays]
    assert [s.first for s in both.stays] == [*cuts, *(cut + len(bars) for cut in cuts)]
    assert dwell(both) == pytest.approx(dwell(once))


def dwell(found: Analysis) -> float:
    return expected_dwell(np.array([stay.bars for stay in found.stays], float))


# Movement


@EXAMPLES
@given(st.integers(40, 60), st.integers(9, 30), st.integers(2, 5))
def test_abab_shifts_more_than_aabb(low: int, apart: int, length: int) -> None:
    a, b = [[low, low + 2]] * length, [[low + apart, low + apart + 2]] * length
    alternating, grouped = analyse(melody(a + b + a + b)), analyse(melody(a + a + b + b))
    assert len(alternating.moves) > len(grouped.moves)
    assert dwell(alternating) < dwell(grouped)
    assert (alternating.lowest, alternating.highest) == (grouped.lowest, grouped.highest)


@EXAMPLES
@given(scores())
def test_stays_cover_the_piece_and_only_the_piece(score: Score) -> None:
    found = analyse(perform(score))
    ends = [0, *(stay.last for stay in found.stays)]
    assert [stay.first for stay in found.stays] == ends[:-1]
    assert ends[-1] == len(found.played.bars)
    assert sorted(found.ranking) == list(range(len(found.stays)))
    assert 1 <= dwell(found) <= len(found.played.bars)


def test_a_slow_climb_is_not_one_stay() -> None:
    found = analyse(melody([[40 + step] for step in range(36)]))
    assert len(found.stays) > 2
    assert max(stay.bars for stay in found.stays) < 18


# Weight


@EXAMPLES
@given(scores(), st.floats(0.1, 1), st.data())
def test_softer_shorter_or_fewer_never_raises_weight(
    score: Score, factor: float, data: st.DataObject
) -> None:
    played = perform(score)
    notes = played.notes
    before = weights(notes, played.bars)
    count = len(notes)
    some = np.array(data.draw(st.lists(st.booleans(), min_size=count, max_size=count)))
    softer = replace(notes, loudness=np.where(some, notes.loudness * factor, notes.loudness))
    shorter = replace(
        notes,
        duration=np.where(
            some, np.maximum((notes.duration * factor).astype(int), 1), notes.duration
        ),
    )
    for less in (softer, shorter, notes.take(~some)):
        if len(less):
            assert (weights(less, played.bars) <= before + 1e-9).all()


def weights(notes: Notes, bars: PlayedBars) -> NDArray[np.float64]:
    woven = texture(notes, bars)
    return np.vstack((woven.beats, woven.bars))


@EXAMPLES
@given(scores())
def test_doubling_a_part_at_the_unison_adds_no_weight(score: Score) -> None:
    """Doublings do not multiply time."""
    again = score.notes.copy()
    doubled = replace(score, notes=np.concatenate((score.notes, again)))
    a, b = perform(score), perform(doubled)
    assert np.allclose(weights(a.notes, a.bars), weights(b.notes, b.bars))


@EXAMPLES
@given(scores())
def test_weight_lies_between_none_and_a_pitch_sounding_throughout(score: Score) -> None:
    played = perform(score)
    found = weights(played.notes, played.bars)
    assert found.min() >= 0
    assert found.max() <= 1 + 1e-9
    woven = texture(played.notes, played.bars)
    assert np.allclose(
        woven.bars * BAR, woven.beats.reshape(len(woven.bars), 4, -1).sum(1) * TICKS
    )


# Against other libraries


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.integers(0, 20), min_size=128, max_size=128),
    st.lists(st.integers(0, 20), min_size=128, max_size=128),
)
def test_distances_are_scipys_wasserstein_distances(a: list[int], b: list[int]) -> None:
    from scipy.stats import wasserstein_distance

    assume(any(a) and any(b))
    p, q = np.array(a) / sum(a), np.array(b) / sum(b)
    found = float(distances(np.cumsum(p), np.cumsum(q)))
    pitch = np.arange(128)
    assert found == pytest.approx(wasserstein_distance(pitch, pitch, p, q), abs=1e-9)


def test_distances_have_their_closed_forms() -> None:
    """Point masses: the distance; a shift by c: c; even on 0-1 and 0-2 in steps: .5."""

    def mass(*pitches: int) -> NDArray[np.float64]:
        return np.cumsum(np.bincount(pitches, minlength=128) / len(pitches))

    assert distances(mass(40), mass(57)) == pytest.approx(17)
    assert distances(mass(40, 44, 51), mass(47, 51, 58)) == pytest.approx(7)
    assert distances(mass(*range(50)), mass(*range(100))) == pytest.approx(25)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.integers(0, 9), min_size=128, max_size=128), st.floats(0.01, 0.99))
def test_quantiles_are_the_lowest_pitch_that_reaches_the_share(
    counts: list[int], share: float
) -> None:
    assume(any(counts))
    profile = np.array(counts) / sum(counts)
    found = int(quantiles(np.cumsum(profile)[None], (share,))[0, 0])
    assert profile[: found + 1].sum() >= share - 1e-6
    assert found == 0 or profile[:found].sum() < share + 1e-6


SIGNALS = st.lists(
    st.lists(st.integers(30, 90), min_size=5, max_size=5), min_size=4, max_size=40
)


@settings(max_examples=20, deadline=None)
@given(SIGNALS, st.sampled_from((10.0, PENALTY, 400.0)))
def test_segmentation_costs_what_ruptures_finds_cheapest(
    rows: list[list[int]], penalty: float
) -> None:
    import ruptures

    signal = np.array(rows, float)
    ours = segment(signal, penalty)
    pelt = ruptures.Pelt(model="l2", min_size=1, jump=1).fit(signal).predict(pen=penalty)
    assert ours[-1] == len(signal)
    assert cost(signal, ours) + penalty * len(ours) == pytest.approx(
        cost(signal, pelt) + penalty * len(pelt), abs=1e-6
    )
    if 1 < len(ours) < len(signal):
        exact = ruptures.Dynp(model="l2", min_size=1, jump=1).fit(signal)
        best = exact.predict(n_bkps=len(ours) - 1)
        assert cost(signal, ours) == pytest.approx(cost(signal, best), abs=1e-6)


def cost(signal: NDArray[np.float64], ends: list[int]) -> float:
    starts = [0, *ends[:-1]]
    return float(
        sum(
            ((signal[a:b] - signal[a:b].mean(axis=0)) ** 2).sum()
            for a, b in zip(starts, ends, strict=True)
        )
    )


@settings(max_examples=25, deadline=None)
@given(SIGNALS.filter(lambda rows: len(rows) <= 9))
def test_segmentation_is_the_best_of_all(rows: list[list[int]]) -> None:
    """Every way of cutting a short signal, tried one by one."""
    signal = np.array(rows, float)
    n = len(signal)
    ways = (
        [i for i in range(1, n) if bits >> (i - 1) & 1] + [n] for bits in range(2 ** (n - 1))
    )
    best = min(cost(signal, ends) + PENALTY * len(ends) for ends in ways)
    ours = segment(signal, PENALTY)
    assert cost(signal, ours) + PENALTY * len(ours) == pytest.approx(best, abs=1e-6)
