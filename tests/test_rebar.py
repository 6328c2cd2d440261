"""Half and double bars: the same music barred in another way gives the same numbers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corpusreg.measures.analysis import analyse
from corpusreg.measures.rebar import REBARRED, doubled, halved, likely, rebarred
from corpusreg.score.notes import Part
from corpusreg.score.played import Notes, Played, PlayedBars

BEAT = 4


def bars_of(lengths: list[int], full: int, sections: tuple[int, ...] = (0,)) -> PlayedBars:
    count = len(lengths)
    return PlayedBars(
        written=np.arange(count),
        time=np.ones(count, np.int64),
        start=np.concatenate(([0], np.cumsum(lengths)[:-1])),
        length=np.array(lengths),
        full=np.full(count, full),
        beat=np.full(count, BEAT),
        section=np.isin(np.arange(count), sections),
        printed=tuple(str(bar + 1) for bar in range(count)),
    )


def played(pitches: list[int], bars: PlayedBars) -> Played:
    """One note a beat on each pitch, and a fifth below it."""
    onset = np.repeat(np.arange(len(pitches)) * BEAT, 2)
    pitch = np.stack((np.array(pitches) - 7, pitches), axis=1).ravel()
    same = np.zeros(len(pitch), np.int16)
    notes = Notes(
        part=same,
        staff=same,
        voice=same,
        bar=np.searchsorted(bars.start, onset, side="right") - 1,
        onset=onset,
        duration=np.full(len(pitch), BEAT),
        pitch=pitch,
        loudness=np.full(len(pitch), 0.5),
        written=np.full(len(pitch), BEAT),
    )
    return Played(BEAT, (Part("Piano"),), bars, notes, False, False, False, ())


@given(st.lists(st.integers(0, 8).map(lambda step: 40 + 6 * step), min_size=12, max_size=12))
@settings(max_examples=25, deadline=None)
def test_bars_of_another_metre_are_measured_as_if_written(places: list[int]) -> None:
    """Written in 2/4 and doubled, it is what is written in 4/4; and the other way round."""
    pitches = [place + beat % 3 for place in places for beat in range(8)]
    short = played(pitches, bars_of([2 * BEAT] * 48, 2 * BEAT))
    long = played(pitches, bars_of([4 * BEAT] * 24, 4 * BEAT))
    direct_short, direct_long = analyse(short).values, analyse(long).values
    double, half = rebarred(short)["double"], rebarred(long)["half"]
    assert set(double) == set(half) == set(REBARRED)
    # Values are in bars as written: two short ones for each long one.
    units = {"movement_bar": 1.0, "shift_rate": 0.5}
    for name in REBARRED:
        unit = units.get(name, 2.0)
        assert double[name] == pytest.approx(direct_long[name].value * unit)
        assert half[name] == pytest.approx(direct_short[name].value / unit)


def test_pairs_begin_after_an_upbeat_and_at_sections() -> None:
    bars = bars_of([4, 16, 16, 16, 16, 12, 4, 16, 16], 16, sections=(0, 6))
    assert doubled(bars).tolist() == [0, 1, 3, 5, 6, 7]


def test_halves_cover_every_tick() -> None:
    bars = bars_of([5, 16, 1, 12], 16)
    cut = halved(bars)
    assert cut.length.tolist() == [2, 3, 8, 8, 0, 1, 6, 6]
    assert (cut.start[1:] == (cut.start + cut.length)[:-1]).all()
    assert cut.start[-1] + cut.length[-1] == bars.start[-1] + bars.length[-1]


def test_odd_bars_and_a_bar_of_one_tick_are_measured() -> None:
    bars = bars_of([5, 16, 1, 12, 14], 16)
    found = rebarred(played([60, 62, 80, 64, 50, 52, 40, 60, 62, 64], bars))
    for values in found.values():
        assert all(np.isfinite(value) for value in values.values())
        assert values["longest_dwell"] <= len(bars)


def test_one_window_has_no_movement() -> None:
    found = rebarred(played([60, 60], bars_of([8], 8)))
    assert "movement_bar" not in found["double"]
    assert found["double"]["longest_dwell"] == 1


@pytest.mark.parametrize(
    ("beats", "other"), [(1, "double"), (2, "double"), (3, None), (4, "half")]
)
def test_the_metre_says_which_other_bars_are_likely(beats: int, other: str | None) -> None:
    bars = bars_of([4 * beats] * 6, 4 * beats)
    assert likely(replace(bars, beat=np.full(6, 4))) == other
